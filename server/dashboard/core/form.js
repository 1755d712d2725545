// The settings form: keys of the settings file as fields in the user's units, and back.

import { formatNumber } from "./format.js";
import { convert, quantityOf, revert, unitOf } from "./units.js";

const TABLES = {
  sprayer: "Sprayer", flow_meter: "Flow meter", anemometer: "Wind cup", receiver: "Receiver",
  treatment: "Treatment", grid: "Map",
};
const WORDS = {
  "sprayer.swath_m": "Width of a pass, line to line",
  "sprayer.pattern": "Shape of the spray across the pass",
  "sprayer.pattern_top_m": "Width of the even middle, for a trapezoid",
  "sprayer.nozzle_forward_m": "Nozzle ahead of the antenna",
  "sprayer.nozzle_right_m": "Nozzle to the right of the antenna",
  "sprayer.delay_s": "Time from flow meter to ground",
  "sprayer.tank_l": "Tank, when full",
  "flow_meter.pulses_per_l": "Pulses for a volume; one figure or a list",
  "flow_meter.flow_l_per_min": "Flows of that list, rising",
  "flow_meter.sd_percent": "Uncertainty of the flow meter",
  "anemometer.mps_per_hz": "Wind for each pulse a second",
  "anemometer.offset_mps": "Wind at which the cup's line begins",
  "anemometer.threshold_mps": "Least wind that turns the cup",
  "anemometer.distance_constant_m": "Wind run until the cup follows a step",
  "anemometer.height_m": "Height of the cup",
  "anemometer.scale_sd_percent": "Uncertainty of the cup's line, by its calibration",
  "anemometer.calibrated_on": "Day of that calibration",
  "receiver.class": "What kind of fixes to expect",
  "receiver.latency_s": "How late a fix comes",
  "treatment.target_l_per_m2": "Rate wanted",
  "treatment.directions": "Directions, 2: half the rate in each",
  "treatment.under_fraction": "Too little, below this share of the rate",
  "treatment.over_fraction": "Too much, above this share of the rate",
  "treatment.wind_limit_mps": "Wind limit, from the label or the law",
  "treatment.wind_notice_mps": "Wind at which to give notice",
  "treatment.wind_reference_height_m": "Height that the limit is meant for",
  "treatment.wind_averaging_s": "Time over which the limit is meant to be averaged",
  "grid.cell_m": "Cell of the dose map",
};

/** The heading of a table of settings. */
export function titleOf(table) {
  return TABLES[table] ?? table;
}

/** A key in words. */
export function wordsOf(key) {
  return WORDS[key] ?? key.split(".").at(-1).replaceAll("_", " ");
}

/** A setting's value by its dotted key; undefined where it is not set. */
export function readKey(setup, key) {
  const [table, name] = key.split(".");
  return setup[table]?.[name] ?? undefined;
}

/** A stored value as the text of its field. */
export function textOf(value, key, set) {
  if (value === undefined || value === null) return "";
  if (typeof value === "string") return value;
  const quantity = quantityOf(key);
  const numbers = Array.isArray(value) ? value : [value];
  return numbers.map((each) => formatNumber(quantity ? convert(each, quantity, set) : each, 6)
    .replace("−", "-").replace(/(\.\d*?)0+$/, "$1").replace(/\.$/, "")).join(", ");
}

/** The text of a field as a value to store: undefined when empty; an Error in plain words when it is no number. */
export function valueOf(text, entry, set) {
  const trimmed = text.trim();
  if (trimmed === "") return undefined;
  if (entry.choices || entry.text) return trimmed;
  const quantity = quantityOf(entry.key);
  const numbers = trimmed.split(/[;\s]+|,\s+/).filter(Boolean).map((part) => Number(part.replace(",", ".")));
  if (numbers.some((number) => !Number.isFinite(number))) throw new Error(`“${trimmed}” is not a number.`);
  const values = numbers.map((number) => (quantity ? revert(number, quantity, set) : number));
  return values.length === 1 ? values[0] : values;
}

/** The unit of a field in the user's set; empty where it has none. */
export function fieldUnit(entry, set) {
  const quantity = quantityOf(entry.key);
  if (quantity) return unitOf(quantity, set);
  return { _s: "s", percent: "%" }[Object.keys({ _s: 0, percent: 0 }).find((end) => entry.key.endsWith(end))] ?? "";
}

/** What may be entered, and what holds when nothing is. */
export function hintOf(entry, set) {
  const parts = [];
  if (entry.range) parts.push(entry.range.map((end) => Number(Number(textOf(end, entry.key, set)).toPrecision(3))).join(" to "));
  if (entry.default !== null && entry.default !== undefined) parts.push(`if left empty: ${textOf(entry.default, entry.key, set)}`);
  return parts.join("; ");
}

/** Changes that alter the cup's line by hand take the calibration's figures with them, unless they are given anew. */
export function forgetCalibration(changes) {
  const isAltered = ["anemometer.mps_per_hz", "anemometer.offset_mps"].some((key) => Object.hasOwn(changes, key));
  return isAltered ? { "anemometer.scale_sd_percent": undefined, "anemometer.calibrated_on": undefined, ...changes } : changes;
}

/** The settings with the changed fields put in; tables that are not in the form stay as they are. */
export function mergeSetup(setup, changes) {
  const merged = structuredClone(setup);
  for (const [key, value] of Object.entries(changes)) {
    const [table, name] = key.split(".");
    merged[table] = merged[table] ?? {};
    if (value === undefined) delete merged[table][name];
    else merged[table][name] = value;
  }
  return merged;
}

export const LIMIT_KEY = "treatment.wind_limit_mps";
export const LIMIT_STATED_KEY = "treatment.wind_limit_stated";
export const LIMIT_UNITS = ["m/s", "km/h", "mph", "kn"];

/** The wind limit as its field shows it: in the label's own number and unit, else in the user's. */
export function limitParts(setup, set) {
  const stated = /^([\d.,]+)\s*(.+)$/.exec(readKey(setup, LIMIT_STATED_KEY) ?? "");
  const names = { knots: "kn", knot: "kn", kt: "kn", kts: "kn", kmh: "km/h", kph: "km/h", mps: "m/s", "mi/h": "mph", "miles per hour": "mph" };
  const unit = stated ? names[stated[2].toLowerCase()] ?? stated[2].toLowerCase() : null;
  if (LIMIT_UNITS.includes(unit)) return { number: stated[1], unit };
  return { number: textOf(readKey(setup, LIMIT_KEY), LIMIT_KEY, set), unit: unitOf("speed", set) };
}

/** What a limit in the label's words changes: the words are kept, the service reckons SI from them. */
export function limitChanges(number, unit) {
  const trimmed = number.trim().replace(",", ".");
  if (trimmed === "") return { [LIMIT_KEY]: undefined, [LIMIT_STATED_KEY]: undefined };
  if (!/^\d+(\.\d+)?$/.test(trimmed)) throw new Error(`“${number.trim()}” is not a number.`);
  return { [LIMIT_KEY]: undefined, [LIMIT_STATED_KEY]: `${trimmed} ${unit}` };
}

/** The polygons of a GeoJSON text (RFC 7946) as the settings' zones; an Error in plain words when there are none. */
export function zonesFromGeojson(text) {
  let found;
  try {
    found = JSON.parse(text);
  } catch {
    throw new Error("This file is not GeoJSON: it cannot be read as JSON.");
  }
  const features = found.type === "FeatureCollection" ? found.features : [found];
  const zones = (features ?? []).flatMap((feature, place) => {
    const geometry = feature.geometry ?? feature;
    const polygons = { Polygon: [geometry.coordinates], MultiPolygon: geometry.coordinates }[geometry.type] ?? [];
    const { name = `part ${place + 1}`, kind = "zone" } = feature.properties ?? {};
    return polygons.map((rings) => ({ name: String(name), kind, rings }));
  });
  if (zones.length === 0) throw new Error("There is no polygon in this file: draw the lawn's outline as one.");
  return zones;
}

const LIMIT_KEYS = [LIMIT_KEY, LIMIT_STATED_KEY, "treatment.wind_averaging_s", "treatment.wind_reference_height_m"];

/** Whether a card of the next job replaces a setting; `next` is what the service tells of that job, null where unknown. */
export function isReplaced(key, next, setup) {
  const { sprayer, treatment, site } = next?.papers ?? {};
  if (/^(sprayer|flow_meter)\./.test(key)) return Boolean(sprayer);
  if (key === "zone") return Boolean(site);
  if (!treatment) return false;
  const stated = next.setup?.treatment?.wind_limit_stated;
  return key === "treatment.target_l_per_m2" || (LIMIT_KEYS.includes(key) && Boolean(stated) && stated !== readKey(setup, LIMIT_STATED_KEY));
}

/** Which holds for the next job, in one line: the cards chosen for it or the settings. */
export function tellWhatHolds(next) {
  const { sprayer, treatment, site } = next?.papers ?? {};
  const from = [
    sprayer ? `sprayer and flow meter from ${sprayer.name}` : null,
    treatment ? `rate and wind limit from ${treatment.name}` : null,
    site ? `the lawn from ${site.name}` : null,
  ].filter(Boolean);
  if (from.length === 0) return "No sprayer, treatment or site is chosen for the next job: it takes the settings below, not the cards.";
  return `The next job takes ${from.join(", ")}. The settings below hold for everything else.`;
}
