// The parts of the air's page: how long a time, earlier and later, the drawing with its cursor, the same as a table.

import { SPANS, writeFrom, writeStanding, writeStep } from "../core/past.js";
import { formatFixed, formatPercent } from "../core/format.js";
import { say } from "../core/say.js";
import { convert, unitOf } from "../core/units.js";
import { placeOn } from "./canvas.js";
import { element } from "./element.js";

const CURSOR = say("air.cursor");

/** The steps as a table; the sideways scroll can be reached by keyboard. */
export function makeAirTable(steps, set) {
  if (steps.length === 0) return element("p", {}, say("air.nothing"));
  const speed = (value_mps) => formatFixed(convert(value_mps, "speed", set), 1);
  const spread = ({ mean_sd_mps }) => (mean_sd_mps === null ? "" : ` ± ${speed(mean_sd_mps)}`);
  const unit = unitOf("speed", set);
  const heads = [say("air.when"), say("air.mean_scatter", { unit }), say("air.highest_gust", { unit }), say("air.from"), say("air.the_rig"), say("air.known"), say("air.too_calm")];
  const rows = steps.map((step) => element("tr", {}, element("th", { scope: "row" }, writeStep(step)),
    ...[`${speed(step.mean_mps)}${spread(step)}`, speed(step.gust_3s_mps), writeFrom(step), writeStanding(step),
      formatPercent(step.known), formatPercent(step.below)].map((text) => element("td", {}, text))));
  return element("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": say("air.table") },
    element("table", {}, element("thead", {}, element("tr", {}, ...heads.map((head) => element("th", { scope: "col" }, head)))),
      element("tbody", {}, ...rows)));
}

/** The buttons that choose the time: `acts` are span(name), step(direction) and newest(). */
export function makeTimeButtons(acts) {
  const press = (text, act, more = {}) => element("button", { type: "button", ...more, onclick: act }, text);
  const spans = Object.entries(SPANS).map(([span, name]) => press(name, () => acts.span(span), { "data-span": span }));
  const later = press(`${say("air.later")} ▶`, () => acts.step(1), { "aria-label": say("air.later") });
  const earlier = press(`◀ ${say("air.earlier")}`, () => acts.step(-1), { "aria-label": say("air.earlier") });
  return {
    spanRow: element("div", { class: "span-row", role: "group", "aria-label": say("air.how_long") }, ...spans),
    moveRow: element("div", { class: "move-row" }, earlier, press(say("air.newest"), acts.newest), later),
    show: (span, hasLater) => {
      for (const button of spans) button.setAttribute("aria-pressed", button.dataset.span === span);
      later.disabled = !hasLater;
    },
  };
}

/** The drawing as one thing to step through; `keys` act by the name of the key, `press(x_px)` by a press. */
export function makeCursor(keys, press) {
  const speeds = element("canvas", { class: "air" });
  const directions = element("canvas", { class: "air-from", "aria-hidden": "true" });
  const cursor = element("div", { class: "cursor", tabindex: "0", role: "slider", "aria-label": CURSOR, "aria-orientation": "horizontal" }, speeds, directions);
  cursor.addEventListener("keydown", (event) => {
    if (!Object.hasOwn(keys, event.key) || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    keys[event.key]();
  });
  cursor.addEventListener("click", (event) => press(placeOn(speeds, event)[0]));
  const tell = (place, count, text) => {
    const told = { valuemin: 0, valuemax: count, valuenow: place + 1, valuetext: text };
    for (const [name, value] of Object.entries(told)) cursor.setAttribute(`aria-${name}`, value);
  };
  return { cursor, speeds, directions, tell };
}
