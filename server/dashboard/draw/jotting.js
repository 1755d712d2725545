// The journal's quick lines: one tap for what is noted most, with a way to take it back.

import { readNumber, writeNumber } from "../core/card.js";
import { chooseDepth, dayOf, timeOf } from "../core/season.js";
import { isCustomary } from "../core/units.js";
import { element, option, setText } from "./element.js";

const UNITS = { water: ["mm", "in"], warmth: ["°C", "°F"], depth: ["cm", "in"] };

function makeAmount(id, label, units) {
  const input = element("input", { id, type: "text", inputmode: "decimal", autocomplete: "off" });
  const select = element("select", { "aria-label": `Unit of: ${label}` }, ...units.map((unit) => option(unit, unit, false)));
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
  const undo = element("button", { type: "button", hidden: true }, "Take it back");
  const water = makeAmount("jot-water", "Depth of water", UNITS.water);
  const warmth = makeAmount("jot-warmth", "Soil temperature", UNITS.warmth);
  const depth = makeAmount("jot-depth", "Measured at a depth of", UNITS.depth);
  const isMean = element("input", { id: "jot-mean", type: "checkbox" });
  const note = async (kind, words, more) => {
    try {
      const now = new Date();
      const body = { day: dayOf(now), time: timeOf(now), kind, site: about.site(), ...more() };
      const made = await feed.ask("/works", { method: "POST", body });
      setText(said, `Written down: ${words}, ${body.time}.`);
      undo.hidden = false;
      undo.onclick = async () => {
        await feed.ask(`/works/${made.number}?version=${made.version}`, { method: "DELETE" }).then(() => setText(said, "Taken back."), (problem) => setText(said, problem.message));
        undo.hidden = true;
        about.onNote();
      };
      about.onNote();
    } catch (problem) {
      setText(said, `Not written down. ${problem.message}`);
    }
  };
  const tap = (words, kind, more = () => ({})) => element("button", { type: "button", onclick: () => note(kind, words.toLowerCase(), more) }, words);
  const rain = () => ({ water: water.read(), site: null });
  const soil = () => ({ temperature: warmth.read(), depth: depth.read(), is_mean: isMean.checked });
  const root = element("section", { class: "card-part jotting" }, element("h2", {}, "What was done?"),
    element("div", { class: "button-line" }, tap("Mowed today", "mowing"), tap("Cored today", "coring")),
    element("div", { class: "jot" }, water.row, element("div", { class: "button-line" },
      tap("Watered today", "watering", () => ({ water: water.read() })), tap("It rained today", "rain", rain))),
    said, undo,
    element("details", {}, element("summary", {}, "Soil temperature"), element("div", { class: "jot" }, warmth.row, depth.row,
      element("div", { class: "field" }, element("label", { for: "jot-mean" }, "It is the mean of 24 hours"), isMean),
      element("div", { class: "button-line" }, tap("Note the soil temperature", "soil_temperature", soil)))),
    element("p", { class: "small" }, "Other days, zones and works: in the journal below."));
  return { root, offer: (matters) => {
    const isUs = isCustomary(store.units);
    water.offer(chooseDepth(matters, store.units));
    warmth.offer({ value: null, unit: isUs ? "°F" : "°C" });
    depth.offer(isUs ? { value: 4, unit: "in" } : { value: 10, unit: "cm" });
  } };
}
