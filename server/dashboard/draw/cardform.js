// The form of a card: made from the service's description of its fields, read back with what is wrong said at the field.

import { firstUnit, hintOfField, readNumber, readNumbers, readTexts, wordsOfChoice, writeNumber } from "../core/card.js";
import { element, option, setText } from "./element.js";
import { say } from "../core/say.js";

let formsMade = 0;

const TEXTS = {
  number: { write: writeNumber, read: readNumber },
  numbers: { write: (value) => (value ?? []).map(writeNumber).join(" "), read: readNumbers },
  texts: { write: (value) => (value ?? []).join(", "), read: readTexts },
  text: { write: (value) => value ?? "", read: (text) => text.trim() },
};

function makeText(field, id, value) {
  const { write, read } = TEXTS[field.kind];
  const about = { id, autocomplete: "off" };
  const type = field.text === "day" ? { type: "date" } : { type: "text", inputmode: field.kind.startsWith("number") ? "decimal" : "text" };
  const input = field.text === "note" ? element("textarea", { ...about, rows: 3 }) : element("input", { ...about, ...type });
  input.value = write(value ?? field.default);
  return { input, boxes: [input], read: () => read(input.value) };
}

function makeStated(field, id, value, set) {
  const unit = value?.unit ?? firstUnit(field, set);
  const input = element("input", { id, type: "text", inputmode: "decimal", autocomplete: "off", value: writeNumber(value?.value) });
  const units = element("select", { "aria-label": say("cards.unit_of", { what: field.label }) }, ...Object.keys(field.units).map((each) => option(each, each, each === unit)));
  const read = () => {
    const number = readNumber(input.value);
    return number === null ? null : { value: number, unit: units.value };
  };
  return { input, boxes: [input, units], read, units };
}

function makeChoice(field, id, value) {
  const chosen = value ?? field.default;
  const input = element("select", { id }, ...(field.is_needed ? ["", ...field.choices] : field.choices)
    .map((each) => option(each, each === "" ? say("cards.choose") : wordsOfChoice(each), each === chosen)));
  return { input, boxes: [input], read: () => (input.value === "" ? null : input.value) };
}

function makeFlag(field, id, value) {
  const input = element("input", { id, type: "checkbox", checked: value ?? field.default ?? false });
  return { input, boxes: [input], read: () => input.checked };
}

function makeReference(field, id, value, set, names) {
  const isList = field.kind === "numbers";
  const chosen = isList ? value ?? [] : [value];
  const known = names[field.refers] ?? [];
  const lead = isList ? [] : [option("", say("cards.none"), value === null || value === undefined)];
  const input = element("select", { id, multiple: isList }, ...lead,
    ...known.map(({ number, name }) => option(String(number), name, chosen.includes(number))));
  const read = () => (isList ? [...input.selectedOptions].map(({ value: each }) => Number(each)) : input.value === "" ? null : Number(input.value));
  return { input, boxes: [input], read };
}

function makeRows(field, id, value, set, names) {
  const list = element("div", { class: "rows" });
  const parts = [];
  const add = (row) => {
    const part = makeFields(field.rows, row, set, names, `${id}-${formsMade += 1}`);
    const box = element("div", { class: "row" }, ...part.rows);
    box.append(element("button", { type: "button", onclick: () => { box.remove(); parts.splice(parts.indexOf(part), 1); } }, say("cards.take_out")));
    parts.push(part);
    list.append(box);
  };
  for (const row of value ?? []) add(row);
  const input = element("button", { type: "button", id, onclick: () => add({}) }, say("cards.add_one"));
  const tell = (path, problem) => parts[Number(path[0])]?.tell(path.slice(1), problem) ?? false;
  return { input, boxes: [list, input], read: () => parts.map((part) => part.read()), tell };
}

function makeField(field, id, value, set, names) {
  const make = field.refers ? makeReference : { stated: makeStated, choice: makeChoice, flag: makeFlag, rows: makeRows }[field.kind] ?? makeText;
  const made = make(field, id, value, set, names);
  const wrong = element("span", { class: "wrong", id: `${id}-wrong` });
  const hint = element("span", { class: "hint", id: `${id}-hint` });
  const showHint = () => setText(hint, hintOfField(field, made.units?.value));
  showHint();
  made.units?.addEventListener("change", showHint);
  made.input.setAttribute("aria-describedby", `${id}-hint ${id}-wrong`);
  const box = made.units ? element("div", { class: "with-unit" }, ...made.boxes) : element("div", {}, ...made.boxes);
  const row = element("div", { class: "field" }, element("label", { for: id }, field.label), box, hint, wrong);
  const tell = (path, problem) => {
    if (path.length > 0 && made.tell?.(path, problem)) return true;
    setText(wrong, problem);
    made.input.setAttribute("aria-invalid", problem === "" ? "false" : "true");
    if (problem !== "") made.input.focus();
    return true;
  };
  return { key: field.key, row, read: made.read, tell };
}

/** The fields of a record: `rows` to show, `read` the record (null where a field is no number, told at it), `tell` what is wrong at a path. */
export function makeFields(described, card, set, names, id = `card-${formsMade += 1}`) {
  const fields = described.map((field) => makeField(field, `${id}-${field.key}`, card[field.key], set, names));
  const tell = (path, problem) => fields.find(({ key }) => key === path[0])?.tell(path.slice(1), problem) ?? false;
  const read = () => {
    const record = {};
    for (const field of fields) {
      field.tell([], "");
      try {
        const value = field.read();
        if (value !== null) record[field.key] = value;
      } catch (problem) {
        field.tell([], problem.message);
        throw problem;
      }
    }
    return record;
  };
  return { rows: fields.map(({ row }) => row), read, tell };
}
