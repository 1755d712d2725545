// What a sheet is for: treatment, sprayer, zones, how far to fill, what is to spare, the flow.

import { readNumber } from "../core/card.js";
import { say } from "../core/say.js";
import { convert, revert, unitOf } from "../core/units.js";
import { formatNumber } from "../core/format.js";
import { element, option, setText } from "./element.js";

const NUMBERS = [
  ["fill_l", say("fill.up_to"), "volume", say("fill.up_to_hint")],
  ["spare_l", say("fill.spare"), "volume", say("fill.spare_hint")],
  ["flow_l_per_min", say("fill.flow"), "flow", say("fill.flow_hint")],
  ["area_m2", say("fill.area"), "area", say("fill.area_hint")],
];

function makeNumber([key, label, quantity, hint], set, value_si) {
  const id = `sheet-${key}`;
  const typed = value_si === null ? "" : formatNumber(convert(value_si, quantity, set), 4);
  const input = element("input", { id, type: "text", inputmode: "decimal", autocomplete: "off", value: typed, "aria-describedby": `${id}-hint ${id}-wrong` });
  const wrong = element("span", { class: "wrong", id: `${id}-wrong` });
  const read = () => {
    setText(wrong, "");
    input.setAttribute("aria-invalid", "false");
    const number = readNumber(input.value);
    if (input.value === typed) return value_si;
    return number === null ? null : revert(number, quantity, set);
  };
  const row = element("div", { class: "field" }, element("label", { for: id }, `${label}, ${unitOf(quantity, set)}`), input,
    element("span", { class: "hint", id: `${id}-hint` }, hint), wrong);
  const tell = (words) => {
    setText(wrong, words);
    input.setAttribute("aria-invalid", "true");
    input.focus();
  };
  return { key, row, read, tell };
}

function makeZones(zones, chosen) {
  if (zones.length === 0) return null;
  return element("fieldset", { class: "zones" }, element("legend", {}, say("fill.zones")), ...zones.map((name) => element("label", { class: "tick" },
    element("input", { type: "checkbox", value: name, checked: chosen.length === 0 || chosen.includes(name) }), name)));
}

/** The form, and a refusal at its field; `choice` in SI, `onChange(choice)` when something was chosen, `onTreatment(number)` when another treatment was. */
export function makeSheetForm({ treatments, sprayers, zones }, choice, set, { onChange, onTreatment }) {
  const treatment = element("select", { id: "sheet-treatment" }, ...treatments.map(({ number, card }) => option(String(number), card.name, number === choice.treatment)));
  const sprayer = element("select", { id: "sheet-sprayer" }, option("", say("fill.as_planned"), choice.sprayer === null),
    ...sprayers.map(({ number, card }) => option(String(number), card.name, number === choice.sprayer)));
  const numbers = NUMBERS.map((about) => makeNumber(about, set, choice[about[0]]));
  const boxes = makeZones(zones, choice.zones);
  const read = (event) => {
    event?.preventDefault();
    const found = { ...choice, sprayer: sprayer.value === "" ? null : Number(sprayer.value) };
    for (const each of numbers) {
      try {
        found[each.key] = each.read();
      } catch (problem) {
        each.tell(problem.message);
        return;
      }
    }
    const ticks = boxes ? [...boxes.querySelectorAll("input")] : [];
    const names = ticks.filter((tick) => tick.checked).map((tick) => tick.value);
    found.zones = names.length === ticks.length ? [] : names;
    onChange(found);
  };
  treatment.addEventListener("change", () => onTreatment(Number(treatment.value)));
  const field = (label, input) => element("div", { class: "field" }, element("label", { for: input.id }, label), input);
  const refuse = (key, words) => numbers.find((each) => each.key === key || each.key.startsWith(`${key}_`))?.tell(words);
  const form = element("form", { class: "sheet-form", novalidate: true, onsubmit: read }, field(say("fill.treatment"), treatment),
    element("details", { open: choice.isOpen }, element("summary", {}, say("fill.chosen")),
      element("div", { class: "sheet-fields" }, field(say("fill.sprayer"), sprayer), ...numbers.map(({ row }) => row), boxes),
      element("button", { type: "submit", class: "main" }, say("fill.work_it_out"))));
  return { form, refuse };
}
