// The page's own sounds: an echo of the alarm, and the beat of the right step.

import { STEP_M, holdStep } from "../core/beat.js";
import { readNumber } from "../core/card.js";
import { formatFixed, formatQuantity } from "../core/format.js";
import { say } from "../core/say.js";
import { convert, revert, unitOf } from "../core/units.js";
import { element, setText } from "./element.js";

/** The switches and the step's length; `show()` reads the store. */
export function makeSounds(store, sound) {
  const alarm = element("button", { type: "button", class: "wide", onclick: () => sound.toggle() });
  const ticks = element("button", { type: "button", class: "wide", onclick: () => sound.toggleTicks() });
  const label = element("label", { for: "step-length" });
  const step = element("input", { id: "step-length", type: "text", inputmode: "decimal", autocomplete: "off", onchange: () => keep() });
  const write = () => {
    setText(label, say("sound.step", { unit: unitOf("length", store.units) }));
    step.value = formatFixed(convert(store.step_m, "length", store.units), 2);
  };
  const said = element("p", { class: "said", role: "status" });
  const inUnits = (step_m) => formatQuantity(step_m, "length", store.units, 2);
  const read = () => {
    try {
      const typed = readNumber(step.value);
      return typed === null ? STEP_M.first : revert(typed, "length", store.units); // emptied: as in the beginning
    } catch {
      return null; // no number: the one before stays
    }
  };
  function keep() {
    const wanted_m = read();
    const step_m = wanted_m === null ? null : holdStep(wanted_m);
    if (step_m !== null) store.chooseStep(step_m);
    const step_now = inUnits(store.step_m);
    if (step_m === null) setText(said, say("sound.no_step", { step: step_now }));
    else setText(said, step_m === wanted_m ? "" : say("sound.held_step", { least: inUnits(STEP_M.least), most: inUnits(STEP_M.most), step: step_now }));
    write();
  }
  const show = () => {
    setText(alarm, say(`sound.${store.isSoundOn ? "off" : "on"}`));
    setText(ticks, say(`sound.ticks_${store.isTicking ? "off" : "on"}`));
    if (document.activeElement !== step) write();
  };
  const part = element("section", { class: "advice", "aria-label": say("sound.sounds") }, alarm, element("p", {}, say("sound.advice")), ticks,
    element("div", { class: "field step-field" }, label, step), said, element("p", {}, say("sound.ticks_advice")));
  show();
  return { part, show };
}
