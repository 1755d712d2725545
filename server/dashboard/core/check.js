// Calibrating a sprayer: the draft while it is under way, what is asked of the service, and its answer in words.

import { readNumber, readNumbers } from "./card.js";
import { sayLitres } from "./fill.js";
import { formatFixed, formatNumber, formatQuantity } from "./format.js";

export const WAYS = {
  catch: {
    title: "Catch the flow",
    aim: "Pulses a litre, the flow, whether the meter agrees, and the nozzle's wear.",
    steps: [
      "Fill with clean water only. Set pressure or pump as in the work, and spray until all air is out.",
      "Type the finest mark of your vessel, or the last digit of your scale.",
      "Press Start, open the valve into the vessel, shut it when it is well filled, then press Stop and type what it holds. The rig counts meanwhile.",
      "Do so three times or more. Without a rig type time and pulses yourself.",
    ],
  },
  walk: {
    title: "Time a walk",
    aim: "Your own pace: each operator walks and pumps differently.",
    steps: [
      "Lay out a course on grass like the lawn's, 30 m (100 ft) or longer.",
      "Sprayer on your back and half full of clean water. Begin to walk some steps before the course.",
      "Press Start as you pass its beginning, Stop at its end. Three walks or more.",
    ],
  },
  swath: {
    title: "Measure the swath",
    aim: "How far apart your passes should lie: the width between the places where the spray has fallen to half.",
    steps: [
      "Lay out equal cups in a row across the line that you walk, further on both sides than it sprays.",
      "Spray clean water over them at height and pace of the work, several times, without emptying them.",
      "Read the cups from left to right as you walk, any one unit. Three rows of cups or more tell how sure it is.",
    ],
  },
  check: {
    title: "Check the whole",
    aim: "The dose that you really lay: flow, swath and pace together.",
    steps: [
      "Plot: spray 1/128 acre (34.5 m², a square of 18.5 ft or 5.6 m) as in the work, and time it. Then catch for the same time: fluid ounces are gallons an acre.",
      "Refill: fill to a mark, spray a measured area, refill to the mark with a measured amount.",
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
    `Flow ${plusMinus(found.flow_l_per_min, found.flow_l_per_min_margin, "flow", set)}; runs scatter by ${formatNumber(100 * found.spread, 2)} %.`,
    found.pulses_per_l === null ? null : `Meter: ${plusMinus(found.pulses_per_l, found.pulses_per_l_margin, "meter", set)}.`,
  ],
  walk: (found, set) => [
    `Pace ${formatQuantity(found.pace_mps, "speed", set)} ± ${formatNumber(100 * found.pace_mps_margin / found.pace_mps, 2)} %: `
      + `${formatFixed(found.seconds_per_10_m, 1)} s for 10 m, ${formatFixed(found.seconds_per_100_ft, 1)} s for 100 ft.`,
  ],
  swath: (found, set) => [
    `Swath ${plusMinus(found.swath_m, found.swath_m_margin, "length", set)}${found.pattern ? `, pattern ${found.pattern}` : ", its shape cannot be told: more cups on its slopes"}.`,
    `Passes at this swath lie ${formatNumber(100 * found.unevenness, 2)} % uneven.`,
    Math.abs(found.left_m + found.right_m) > 0.1 * found.swath_m
      ? `Its middle lies ${formatQuantity(Math.abs(found.left_m + found.right_m) / 2, "length", set)} to the ${found.left_m + found.right_m > 0 ? "right" : "left"} of the nozzle.` : null,
  ],
  check: (found, set) => [
    `Laid: ${plusMinus(found.dose_l_per_m2, found.dose_l_per_m2_margin, "rate", set)}, that is ${formatNumber(100 * found.share, 3)} % of what is wanted: ${found.verdict}.`,
  ],
};

/** What a check comes to, in sentences; of one that is refused why, in one. */
export function describeCheck(part, found, set) {
  if (!found.is_usable) return [`Not yet: ${sayLitres(found.refusal, set).replace(/^[a-z_.0-9]+: /, "").replace(/\.?$/, ".")}`];
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
  if (value === null) return "nothing";
  if (Array.isArray(value)) return value.map((each) => formatNumber(each, 5)).join(", ");
  return typeof value === "object" ? `${formatNumber(value.value, 4)} ${value.unit}` : typeof value === "number" ? formatNumber(value, 4) : String(value);
}

/** What a check changed on the card, in words. */
export function describeChanges(changes) {
  const names = { pulses_per_l: "pulses a litre", meter_sd_percent: "meter's uncertainty in %", swath: "swath", pattern: "pattern", pattern_top: "even middle" };
  if (changes.length === 0) return "Nothing had to change.";
  return `In use. ${changes.map(({ key, before, after }) => `${names[key] ?? key}: ${write(before)}, now ${write(after)}`).join("; ")}.`;
}
