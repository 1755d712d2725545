// The settings form: keys of the settings file as fields in the user's units, and back.

import { formatNumber } from "./format.js";
import { say } from "./say.js";
import { convert, quantityOf, revert, unitOf } from "./units.js";

const TABLES = ["sprayer", "flow_meter", "anemometer", "receiver", "treatment", "grid"];
const WORDED = [
  "sprayer.swath_m", "sprayer.pattern", "sprayer.pattern_top_m", "sprayer.nozzle_forward_m", "sprayer.nozzle_right_m",
  "sprayer.delay_s", "sprayer.tank_l", "flow_meter.pulses_per_l", "flow_meter.flow_l_per_min", "flow_meter.sd_percent",
  "anemometer.mps_per_hz", "anemometer.offset_mps", "anemometer.threshold_mps", "anemometer.distance_constant_m",
  "anemometer.height_m", "anemometer.scale_sd_percent", "anemometer.calibrated_on", "receiver.class", "receiver.latency_s",
  "treatment.target_l_per_m2", "treatment.directions", "treatment.under_fraction", "treatment.over_fraction",
  "treatment.wind_limit_mps", "treatment.wind_notice_mps", "treatment.wind_reference_height_m", "treatment.wind_averaging_s",
  "grid.cell_m", "first.pace_mps",
];

/** The heading of a table of settings. */
export function titleOf(table) {
  return TABLES.includes(table) ? say(`form.table_${table}`) : table;
}

/** A key in words. */
export function wordsOf(key) {
  return WORDED.includes(key) ? say(`form.${key.replace(".", "_")}`) : key.split(".").at(-1).replaceAll("_", " ");
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
  if (numbers.some((number) => !Number.isFinite(number))) throw new Error(say("form.no_number", { text: trimmed }));
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
  if (entry.range) parts.push(entry.range.map((end) => Number(Number(textOf(end, entry.key, set)).toPrecision(3))).join(say("form.to")));
  if (entry.default !== null && entry.default !== undefined) parts.push(say("form.if_empty", { text: textOf(entry.default, entry.key, set) }));
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
  const names = { knots: "kn", knot: "kn", kt: "kn", kts: "kn", kmh: "km/h", kph: "km/h", mps: "m/s", "mi/h": "mph", miles_per_hour: "mph" };
  const said = stated?.[2].toLowerCase() ?? null;
  const unit = said === null ? null : names[said.replaceAll(" ", "_")] ?? said;
  if (LIMIT_UNITS.includes(unit)) return { number: stated[1], unit };
  return { number: textOf(readKey(setup, LIMIT_KEY), LIMIT_KEY, set), unit: unitOf("speed", set) };
}

/** What a limit in the label's words changes: the words are kept, the service reckons SI from them. */
export function limitChanges(number, unit) {
  const trimmed = number.trim().replace(",", ".");
  if (trimmed === "") return { [LIMIT_KEY]: undefined, [LIMIT_STATED_KEY]: undefined };
  if (!/^\d+(\.\d+)?$/.test(trimmed)) throw new Error(say("form.no_number", { text: number.trim() }));
  return { [LIMIT_KEY]: undefined, [LIMIT_STATED_KEY]: `${trimmed} ${unit}` };
}

/** The polygons of a GeoJSON text (RFC 7946) as the settings' zones; an Error in plain words when there are none. */
export function zonesFromGeojson(text) {
  let found;
  try {
    found = JSON.parse(text);
  } catch {
    throw new Error(say("form.no_geojson"));
  }
  const features = found.type === "FeatureCollection" ? found.features : [found];
  const zones = (features ?? []).flatMap((feature, place) => {
    const geometry = feature.geometry ?? feature;
    const polygons = { Polygon: [geometry.coordinates], MultiPolygon: geometry.coordinates }[geometry.type] ?? [];
    const { name = say("form.part", { n: place + 1 }), kind = "zone" } = feature.properties ?? {};
    return polygons.map((rings) => ({ name: String(name), kind, rings }));
  });
  if (zones.length === 0) throw new Error(say("form.no_polygon"));
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
    sprayer ? say("form.from_sprayer", { name: sprayer.name }) : null,
    treatment ? say("form.from_treatment", { name: treatment.name }) : null,
    site ? say("form.from_site", { name: site.name }) : null,
  ].filter(Boolean);
  if (from.length === 0) return say("form.nothing_chosen");
  return say("form.takes", { cards: from.join(", ") });
}
