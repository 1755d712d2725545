// The readings of a calibration under way, and the record of those that were made, as tables.

import { formatFixed, formatInstant, formatNumber, formatSpeed } from "../core/format.js";
import { convert, unitOf } from "../core/units.js";
import { element } from "./element.js";

const WAYS = { references: "beside a reference", walk: "by a walk" };

function makeTable(label, heads, rows) {
  return element("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": label }, element("table", {},
    element("thead", {}, element("tr", {}, ...heads.map((head) => element("th", { scope: "col" }, head)))),
    element("tbody", {}, ...rows)));
}

/** The readings so far; `told` is what the service made of each, null while it is asked. */
export function makeReadings(readings, told, set, drop) {
  if (readings.length === 0) return element("p", {}, "No reading yet.");
  const rows = readings.map((reading, place) => {
    const mean = told?.[place];
    const count = mean ? mean.refusal || `${formatNumber(mean.hz, 4)} Hz in ${mean.seconds} s` : "…";
    const remove = element("button", { type: "button", onclick: () => drop(place), "aria-label": `Remove reading ${place + 1}` }, "Remove");
    return element("tr", {}, element("th", { scope: "row" }, String(place + 1)),
      element("td", {}, `${reading.speeds.join(" ")} ${reading.unit}`), element("td", {}, count), element("td", {}, remove));
  });
  return makeTable("Readings so far", ["No.", "Reference", "Cup", ""], rows);
}

function tellUse(made, apply) {
  if (!made.is_usable) return element("td", { class: "wide" }, `refused: ${made.refusal}`);
  if (made.applied_utc !== null) return element("td", {}, `in use since ${formatInstant(made.applied_utc)}`);
  return element("td", {}, element("button", { type: "button", onclick: () => apply(made) }, "Use this line"));
}

/** All calibrations, the newest first: day, way, line, how sure, whether applied. */
export function makeRecord(record, set, apply) {
  if (record.length === 0) return element("p", {}, "None yet.");
  const heads = ["Day", "Way", `Slope, ${unitOf("cup", set)}`, `Offset, ${unitOf("speed", set)}`, "Sure to", "In use"];
  const newest = record.find((made) => made.applied_utc !== null);
  const rows = record.map((made) => element("tr", {}, element("th", { scope: "row" }, formatInstant(made.made_utc)),
    element("td", {}, WAYS[made.way] ?? made.way), element("td", {}, formatNumber(convert(made.mps_per_hz, "cup", set), 4)),
    element("td", {}, formatFixed(convert(made.offset_mps, "speed", set), 2)),
    element("td", {}, made.scale_sd === null ? "not known" : `± ${formatNumber(100 * made.scale_sd, 2)} % at ${formatSpeed(made.at_mps, set)}`),
    made.applied_utc !== null && made !== newest
      ? element("td", {}, element("button", { type: "button", onclick: () => apply(made) }, "Use it again")) : tellUse(made, apply)));
  return makeTable("Record of calibrations", heads, rows);
}
