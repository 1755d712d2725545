// Calibrating a sprayer: the draft while it is under way, what is asked of the service, and its answer in words.

import { readNumber, readNumbers } from "./card.js";
import { sayLitres } from "./fill.js";
import { formatFixed, formatNumber, formatQuantity } from "./format.js";
import { say } from "./say.js";

export const WAYS = {
  catch: {
    title: say("check.catch_title"),
    aim: say("check.catch_aim"),
    steps: [
      say("check.catch_step_1"),
      say("check.catch_step_2"),
      say("check.catch_step_3"),
      say("check.catch_step_4"),
    ],
  },
  walk: {
    title: say("check.walk_title"),
    aim: say("check.walk_aim"),
    steps: [
      say("check.walk_step_1"),
      say("check.walk_step_2"),
      say("check.walk_step_3"),
    ],
  },
  swath: {
    title: say("check.swath_title"),
    aim: say("check.swath_aim"),
    steps: [
      say("check.swath_step_1"),
      say("check.swath_step_2"),
      say("check.swath_step_3"),
    ],
  },
  check: {
    title: say("check.check_title"),
    aim: say("check.check_aim"),
    steps: [
      say("check.check_step_1"),
      say("check.check_step_2"),
    ],
  },
};
export const VOLUMES = ["mL", "L", "fl oz", "pt", "qt", "gal"];
export const WEIGHTS = ["g", "kg", "oz", "lb"];
export const RATES = ["L/100 m2", "L/ha", "gal/1000 ft2", "gal/acre"];
const WAY_OF = { catch: "catch", walk: "walk", swath: "swath", check: "rate" };

/** Nothing entered yet, in units that suit the user's set. */
export function emptyCheck(part, set) {
  const isUs = set.startsWith("gal");
  return {
    catch: { unit: isUs ? "fl oz" : "mL", step: "", pressure: "", pressureUnit: isUs ? "psi" : "bar", setting: "", temperature: "15", runs: [] },
    walk: { course: isUs ? "100" : "30", unit: isUs ? "ft" : "m", times: [] },
    swath: { spacing: isUs ? "10" : "25", unit: isUs ? "in" : "cm", middle: "", rows: [""] },
    check: {
      method: "plot", target: "", targetUnit: { l_per_100m2: "L/100 m2", l_per_ha: "L/ha", gal_per_1000ft2: "gal/1000 ft2", gal_per_acre: "gal/acre" }[set],
      volume: "", volumeUnit: isUs ? "fl oz" : "mL", step: "", area: "", areaUnit: isUs ? "ft2" : "m2", times: [], caught: "",
    },
  }[part];
}

/** A draft as it was kept, or an empty one where that is none. */
export function readCheck(part, set, text) {
  try {
    const kept = JSON.parse(text ?? "null");
    return kept && typeof kept === "object" ? { ...emptyCheck(part, set), ...kept } : emptyCheck(part, set);
  } catch {
    return emptyCheck(part, set);
  }
}

function state(text, unit) {
  const value = readNumber(text);
  return value === null ? null : { value, unit };
}

function filled(entries) {
  return Object.fromEntries(Object.entries(entries).filter(([, value]) => value !== null && value !== ""));
}

function runOf(run, unit) {
  const amount = state(run.amount, unit);
  const held = WEIGHTS.includes(unit) ? { weight: amount } : { volume: amount };
  return filled({ ...held, seconds: readNumber(run.seconds), pulses: readNumber(run.pulses), stretch: run.stretch ?? null });
}

const READERS = {
  catch: (draft) => {
    const step = WEIGHTS.includes(draft.unit) ? { scale_step: state(draft.step, draft.unit) } : { step: state(draft.step, draft.unit) };
    return { runs: draft.runs.map((run) => runOf(run, draft.unit)), ...step, pressure: state(draft.pressure, draft.pressureUnit), setting: draft.setting.trim(), temperature_c: readNumber(draft.temperature) };
  },
  walk: (draft) => ({ course: state(draft.course, draft.unit), times_s: draft.times.map(readNumber) }),
  swath: (draft) => ({ spacing: state(draft.spacing, draft.unit), middle: readNumber(draft.middle), rows: draft.rows.filter((row) => row.trim() !== "").map((row) => ({ amounts: readNumbers(row) })) }),
  check: (draft) => ({
    method: draft.method, target: state(draft.target, draft.targetUnit), volume: state(draft.volume, draft.volumeUnit), step: state(draft.step, draft.volumeUnit),
    area: state(draft.area, draft.areaUnit), times_s: draft.method === "plot" ? draft.times.map(readNumber) : null,
    caught_s: draft.method === "plot" ? readNumber(draft.caught) : null,
  }),
};

/** What is asked of the service for a draft; an Error in plain words where something typed is no number. */
export function requestOfCheck(part, draft) {
  return { way: WAY_OF[part], ...filled(READERS[part](draft)) };
}

function plusMinus(value, margin, quantity, set) {
  return `${formatQuantity(value, quantity, set, 4)} ± ${formatNumber(100 * margin / value, 2)} %`;
}

const FIGURES = {
  catch: (found, set) => [
    say("check.flow", { flow: plusMinus(found.flow_l_per_min, found.flow_l_per_min_margin, "flow", set), percent: formatNumber(100 * found.spread, 2) }),
    found.pulses_per_l === null ? null : say("check.meter", { pulses: plusMinus(found.pulses_per_l, found.pulses_per_l_margin, "meter", set) }),
  ],
  walk: (found, set) => [
    say("check.pace", {
      pace: formatQuantity(found.pace_mps, "speed", set), percent: formatNumber(100 * found.pace_mps_margin / found.pace_mps, 2),
      metres: formatFixed(found.seconds_per_10_m, 1), feet: formatFixed(found.seconds_per_100_ft, 1),
    }),
  ],
  swath: (found, set) => [
    say(found.pattern ? "check.swath" : "check.swath_no_shape", { swath: plusMinus(found.swath_m, found.swath_m_margin, "length", set), pattern: found.pattern }),
    say("check.uneven", { percent: formatNumber(100 * found.unevenness, 2) }),
    Math.abs(found.left_m + found.right_m) > 0.1 * found.swath_m
      ? say(found.left_m + found.right_m > 0 ? "check.middle_right" : "check.middle_left", { length: formatQuantity(Math.abs(found.left_m + found.right_m) / 2, "length", set) }) : null,
  ],
  check: (found, set) => [
    say("check.laid", { rate: plusMinus(found.dose_l_per_m2, found.dose_l_per_m2_margin, "rate", set), percent: formatNumber(100 * found.share, 3), verdict: found.verdict }),
  ],
};

/** What a check comes to, in sentences; of one that is refused why, in one. */
export function describeCheck(part, found, set) {
  if (!found.is_usable) return [say("cup.not_yet", { why: sayLitres(found.refusal, set).replace(/^[a-z_.0-9]+: /, "").replace(/\.?$/, ".") })];
  return [...FIGURES[part](found, set).filter(Boolean), ...found.words.map((words) => sayLitres(words, set))];
}

/** The page's name of a way on record. */
export function partOf(way) {
  return way === "rate" ? "check" : way;
}

/** Whether a check has a figure for the sprayer's card. */
export function hasUse(made) {
  return made.is_usable && ((made.way === "catch" && made.pulses_per_l !== null) || made.way === "swath");
}

function write(value) {
  if (value === null) return say("check.nothing");
  if (Array.isArray(value)) return value.map((each) => formatNumber(each, 5)).join(", ");
  return typeof value === "object" ? `${formatNumber(value.value, 4)} ${value.unit}` : typeof value === "number" ? formatNumber(value, 4) : String(value);
}

/** What a check changed on the card, in words. */
export function describeChanges(changes) {
  const names = { pulses_per_l: say("check.pulses_per_l"), meter_sd_percent: say("check.meter_sd_percent"), swath: say("check.of_swath"), pattern: say("check.pattern"), pattern_top: say("check.pattern_top") };
  if (changes.length === 0) return say("check.no_change");
  return say("check.in_use", { changes: changes.map(({ key, before, after }) => say("check.change", { what: names[key] ?? key, before: write(before), after: write(after) })).join("; ") });
}
