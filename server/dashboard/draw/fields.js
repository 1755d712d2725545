// Fields of the settings form: what was typed, what is wrong with it, and how it is carried to other units.

import {
  LIMIT_KEY, LIMIT_UNITS, fieldUnit, hintOf, limitChanges, limitParts, readKey, textOf, valueOf, wordsOf,
} from "../core/form.js";
import { say } from "../core/say.js";
import { element, option, setText } from "./element.js";

function makeInput(entry, id, text) {
  if (entry.choices) {
    return element("select", { id }, ...["", ...entry.choices].map((choice) => option(choice, choice || say("form.not_set"), choice === text)));
  }
  if (entry.text === "date") return element("input", { id, type: "date", value: text });
  return element("input", { id, type: "text", inputmode: "decimal", autocomplete: "off", value: text });
}

function layOut(entry, id, hint, unit, ...inputs) {
  const wrong = element("span", { class: "wrong", id: `${id}-wrong` });
  const [input] = inputs;
  input.setAttribute("aria-describedby", `${id}-hint ${id}-wrong`);
  const label = element("label", { for: id }, wordsOf(entry.key), unit ? element("span", { class: "unit" }, ` (${unit})`) : null);
  const box = inputs.length > 1 ? element("div", { class: "with-unit" }, ...inputs) : input;
  const row = element("div", { class: "field" }, label, box, element("span", { class: "hint", id: `${id}-hint` }, hint), wrong);
  const tell = (problem) => {
    setText(wrong, problem);
    input.setAttribute("aria-invalid", problem === "" ? "false" : "true");
    if (problem !== "") input.focus();
  };
  return { row, tell };
}

function makePlainField(entry, setup, set) {
  const text = textOf(readKey(setup, entry.key), entry.key, set);
  const id = `field-${entry.key.replace(".", "-")}`;
  const input = makeInput(entry, id, text);
  const isTouched = () => input.value !== text; // untouched fields keep the digits they had
  return {
    entry, ...layOut(entry, id, hintOf(entry, set), fieldUnit(entry, set), input), isTouched,
    read: () => ({ [entry.key]: valueOf(input.value, entry, set) }),
    keep: () => {
      try {
        return { value: valueOf(input.value, entry, set) };
      } catch {
        return { text: input.value }; // no number yet: the same letters in the new unit
      }
    },
    restore: (kept) => { input.value = kept.text ?? textOf(kept.value, entry.key, set); },
  };
}

function makeLimitField(entry, setup, set) {
  const { number, unit } = limitParts(setup, set);
  const id = `field-${entry.key.replace(".", "-")}`;
  const input = element("input", { id, type: "text", inputmode: "decimal", autocomplete: "off", value: number });
  const units = element("select", { id: `${id}-unit`, "aria-label": say("form.limit_unit") },
    ...LIMIT_UNITS.map((each) => option(each, each, each === unit)));
  const isTouched = () => input.value !== number || (units.value !== unit && input.value.trim() !== "");
  return {
    entry, ...layOut(entry, id, say("form.limit_hint", { hint: hintOf(entry, set), unit: fieldUnit(entry, set) }), "", input, units), isTouched,
    read: () => limitChanges(input.value, units.value),
    keep: () => ({ number: input.value, unit: units.value }),
    restore: (kept) => { [input.value, units.value] = [kept.number, kept.unit]; },
  };
}

/** A setting's field: `row` to show, `isTouched`, `read` its changes (an Error where it is no number), `tell` what is
 * wrong, `keep` what was typed and `restore` it in other units. */
export function makeField(entry, setup, set) {
  return entry.key === LIMIT_KEY ? makeLimitField(entry, setup, set) : makePlainField(entry, setup, set);
}

/** The same settings in other fields' units, with what was typed into the fields before and not yet saved. */
export function carryFields(before, after) {
  for (const field of after) {
    const old = before.find(({ entry }) => entry.key === field.entry.key);
    if (old?.isTouched()) field.restore(old.keep());
  }
  return after;
}
