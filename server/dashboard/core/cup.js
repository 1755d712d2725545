// Calibrating the cup: the draft while it is under way, what is asked of the service, and its answer in words.

import { formatFixed, formatNumber, formatQuantity, formatSpan, formatSpeed } from "./format.js";

export const REFERENCE_UNITS = ["m/s", "km/h", "mph", "kn", "ft/min"];
export const WANTED_S = 120;

/** Nothing measured yet; `running` is the interval under way, `open` one that waits for the reference's figure. */
export function emptyDraft() {
  return { readings: [], running: null, open: null, unit: null, accuracy_percent: 3 };
}

/** A draft as it was kept, or an empty one where that is none. */
export function readDraft(text) {
  try {
    const kept = JSON.parse(text ?? "null");
    return Array.isArray(kept?.readings) ? { ...emptyDraft(), ...kept } : emptyDraft();
  } catch {
    return emptyDraft();
  }
}

/** The draft with an interval begun at an instant of the rig's clock. */
export function beginInterval(draft, way, clock, now_ms) {
  return { ...draft, open: null, running: { way, rig: clock.rig, boot: clock.boot, start: clock.mono, since_ms: now_ms } };
}

/** The interval under way, ended at an instant of the rig's clock; an Error in plain words where that cannot be. */
export function endInterval(running, clock) {
  if (clock.rig !== running.rig || clock.boot !== running.boot) {
    throw new Error("The device on the rig has started anew meanwhile: begin this one again.");
  }
  if (clock.mono <= running.start) throw new Error("The rig has sent nothing since the start: is it connected?");
  return { boot: running.boot, start: running.start, end: clock.mono };
}

/** The figures of a text, several parted by blanks or semicolons; an Error in plain words where there are none. */
export function readSpeeds(text) {
  const parts = text.trim().split(/[;\s]+|,\s+/).filter(Boolean).map((part) => part.replace(",", "."));
  const speeds = parts.map(Number);
  if (speeds.length === 0 || speeds.some((speed) => !(Number.isFinite(speed) && speed > 0))) {
    throw new Error(`“${text.trim()}” is not one speed or several.`);
  }
  const places = Math.min(...parts.map((part) => (part.split(".")[1] ?? "").length));
  return { speeds, resolution: 10 ** -places };
}

/** The draft with the figure for its open interval. */
export function takeReading(draft, text, unit) {
  const { speeds, resolution } = readSpeeds(text);
  const { interval } = draft.open;
  return { ...draft, open: null, unit, readings: [...draft.readings, { interval, speeds, unit, resolution }] };
}

/** The draft without one of its readings. */
export function dropReading(draft, place) {
  return { ...draft, readings: draft.readings.filter((_, at) => at !== place) };
}

/** What is asked of the service for the readings so far. */
export function requestOf(draft, rig) {
  return { way: "references", rig, readings: draft.readings, accuracy_percent: draft.accuracy_percent };
}

/** How far an interval is, in words. */
export function describeElapsed(running, now_ms) {
  const elapsed_s = Math.max(0, (now_ms - running.since_ms) / 1000);
  if (running.way === "walk") return `Walking for ${formatSpan(elapsed_s)}.`;
  const left_s = WANTED_S - elapsed_s;
  return left_s > 0 ? `Counting for ${formatSpan(elapsed_s)}; ${formatSpan(Math.ceil(left_s))} to go.`
    : `Counted for ${formatSpan(elapsed_s)}: long enough, stop when you like.`;
}

/** A calibrated line in a sentence; empty where none could be reckoned. */
export function describeLine(found, set) {
  if (found.mps_per_hz === null || !(found.mps_per_hz > 0)) return "";
  const change = found.change_percent === null ? "" : `, ${formatFixed(Math.abs(found.change_percent), 1)} % `
    + `${found.change_percent < 0 ? "less" : "more"} than the settings say`;
  return `${formatQuantity(found.mps_per_hz, "cup", set)} and ${formatQuantity(found.offset_mps, "speed", set, 2)}; `
    + `at ${formatSpeed(found.at_mps, set)} sure to ± ${formatNumber(100 * found.scale_sd, 2)} %${change}`;
}

/** How a calibration stands: whether it may be used, or why not. */
export function describeStand(found, set) {
  const line = describeLine(found, set);
  if (found.is_usable) return `Good enough. The line: ${line}.`;
  const refusal = `${found.refusal.charAt(0).toUpperCase()}${found.refusal.slice(1)}`.replace(/\.?$/, ".");
  return `Not yet: ${refusal}`;
}

/** A walk so far in words: legs, time, wind, and what is missing. */
export function describeWalk(found, set) {
  const wind = found.wind_mps === null ? "" : `, wind ${formatSpeed(found.wind_mps, set)}`;
  return `${found.legs} steady legs in ${formatSpan(found.seconds)}${wind}. ${describeStand(found, set)}`;
}

/** What the settings say of the cup now. */
export function describeCup(anemometer, set) {
  if (!anemometer?.mps_per_hz) return "The cup has no line yet: calibrate it beside a reference, or enter the maker's under My gear.";
  const line = `${formatQuantity(anemometer.mps_per_hz, "cup", set)} and ${formatQuantity(anemometer.offset_mps, "speed", set, 2)}`;
  if (!anemometer.scale_sd_percent) return `Now: ${line}; not calibrated, so ± 3 % is assumed.`;
  const day = anemometer.calibrated_on ? ` on ${anemometer.calibrated_on}` : "";
  return `Now: ${line}; calibrated${day} to ± ${formatNumber(anemometer.scale_sd_percent, 2)} %.`;
}
