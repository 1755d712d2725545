// The journal's quick lines: one tap for what is noted most, with a way to take it back.

import { readNumber, writeNumber } from "../core/card.js";
import { say } from "../core/say.js";
import { chooseDepth, dayOf, timeOf } from "../core/season.js";
import { isCustomary } from "../core/units.js";
import { element, option, setText } from "./element.js";

const UNITS = { water: ["mm", "in"], warmth: ["°C", "°F"], depth: ["cm", "in"] };

function makeAmount(id, label, units) {
  const input = element("input", { id, type: "text", inputmode: "decimal", autocomplete: "off" });
  const select = element("select", { "aria-label": say("cards.unit_of", { what: label }) }, ...units.map((unit) => option(unit, unit, false)));
  let isTouched = false;
  input.addEventListener("input", () => { isTouched = true; });
  const row = element("div", { class: "field" }, element("label", { for: id }, label), element("div", { class: "with-unit" }, input, select));
  const read = () => {
    const value = readNumber(input.value);
    return value === null ? null : { value, unit: select.value };
  };
  const offer = ({ value, unit }) => {
    if (isTouched) return;
    input.value = writeNumber(value);
    select.value = unit;
  };
  return { row, read, offer };
}

/** The part; `about.site()` the lawn's number or null, `about.onNote()` after each change. */
export function makeJotting({ feed, store }, about) {
  const said = element("p", { class: "said", role: "status" });
  const undo = element("button", { type: "button", hidden: true }, say("season.take_back"));
  const water = makeAmount("jot-water", say("season.water"), UNITS.water);
  const warmth = makeAmount("jot-warmth", say("season.warmth"), UNITS.warmth);
  const depth = makeAmount("jot-depth", say("season.depth"), UNITS.depth);
  const isMean = element("input", { id: "jot-mean", type: "checkbox" });
  const note = async (kind, more) => {
    try {
      const now = new Date();
      const body = { day: dayOf(now), time: timeOf(now), kind, site: about.site(), ...more() };
      const made = await feed.ask("/works", { method: "POST", body });
      setText(said, say("season.written", { what: say(`season.wrote_${kind}`), time: body.time }));
      undo.hidden = false;
      undo.onclick = async () => {
        await feed.ask(`/works/${made.number}?version=${made.version}`, { method: "DELETE" }).then(() => setText(said, say("season.taken_back")), (problem) => setText(said, problem.message));
        undo.hidden = true;
        about.onNote();
      };
      about.onNote();
    } catch (problem) {
      setText(said, say("season.not_written", { why: problem.message }));
    }
  };
  const tap = (kind, more = () => ({})) => element("button", { type: "button", onclick: () => note(kind, more) }, say(`season.tap_${kind}`));
  const rain = () => ({ water: water.read(), site: null });
  const soil = () => ({ temperature: warmth.read(), depth: depth.read(), is_mean: isMean.checked });
  const root = element("section", { class: "card-part jotting" }, element("h2", {}, say("season.what_done")),
    element("div", { class: "button-line" }, tap("mowing"), tap("coring")),
    element("div", { class: "jot" }, water.row, element("div", { class: "button-line" },
      tap("watering", () => ({ water: water.read() })), tap("rain", rain))),
    said, undo,
    element("details", {}, element("summary", {}, say("season.warmth")), element("div", { class: "jot" }, warmth.row, depth.row,
      element("div", { class: "field" }, element("label", { for: "jot-mean" }, say("season.is_mean")), isMean),
      element("div", { class: "button-line" }, tap("soil_temperature", soil)))),
    element("p", { class: "small" }, say("season.other_days")));
  return { root, offer: (matters) => {
    const isUs = isCustomary(store.units);
    water.offer(chooseDepth(matters, store.units));
    warmth.offer({ value: null, unit: isUs ? "°F" : "°C" });
    depth.offer(isUs ? { value: 4, unit: "in" } : { value: 10, unit: "cm" });
  } };
}
