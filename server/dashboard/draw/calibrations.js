// The readings of a calibration under way, and the record of those that were made, as lists that fit a phone.

import { describeLine } from "../core/cup.js";
import { formatInstant, formatNumber } from "../core/format.js";
import { element } from "./element.js";

const WAYS = { references: "beside a reference", walk: "by a walk" };

function button(text, onclick, label = null) {
  return element("button", { type: "button", onclick, "aria-label": label }, text);
}

/** The readings so far; `told` is what the service made of each, null while it is asked. */
export function makeReadings(readings, told, drop) {
  if (readings.length === 0) return element("p", {}, "No reading yet.");
  return element("ol", { class: "entries", "aria-label": "Readings so far" }, ...readings.map((reading, place) => {
    const mean = told?.[place];
    const count = mean ? mean.refusal || `${formatNumber(mean.hz, 4)} Hz in ${mean.seconds} s` : "…";
    return element("li", {}, element("span", {}, element("strong", {}, `${reading.speeds.join(" ")} ${reading.unit}`), `; cup: ${count}`),
      button("Remove", () => drop(place), `Remove reading ${place + 1}`));
  }));
}

function tellUse(made, isNewest, apply) {
  if (!made.is_usable) return null;
  if (made.applied_utc === null) return button("Use this line", () => apply(made));
  if (isNewest) return element("strong", {}, `in use since ${formatInstant(made.applied_utc)}`);
  return button("Use it again", () => apply(made));
}

/** All calibrations, the newest first: day, way, line, how sure, whether applied. */
export function makeRecord(record, set, apply) {
  if (record.length === 0) return element("p", {}, "None yet.");
  const used = record.filter((made) => made.applied_utc !== null).sort((a, b) => b.applied_utc - a.applied_utc);
  return element("ul", { class: "entries", "aria-label": "Record of calibrations" }, ...record.map((made) => {
    const line = describeLine(made, set);
    const words = made.is_usable ? `${line}.` : `refused: ${made.refusal}${line ? ` (${line})` : ""}`;
    return element("li", {}, element("span", {}, element("strong", {}, `${formatInstant(made.made_utc)}, ${WAYS[made.way] ?? made.way}`),
      `: ${words}`), tellUse(made, made === used[0], apply));
  }));
}
