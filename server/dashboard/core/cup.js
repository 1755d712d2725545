// Calibrating the cup: the draft while it is under way, what is asked of the service, and its answer in words.

import { formatFixed, formatNumber, formatQuantity, formatSpan, formatSpeed } from "./format.js";
import { say } from "./say.js";

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
    throw new Error(say("cup.started_anew"));
  }
  if (clock.mono <= running.start) throw new Error(say("cup.nothing_sent"));
  return { boot: running.boot, start: running.start, end: clock.mono };
}

/** The figures of a text, several parted by blanks or semicolons; an Error in plain words where there are none. */
export function readSpeeds(text) {
  const parts = text.trim().split(/[;\s]+|,\s+/).filter(Boolean).map((part) => part.replace(",", "."));
  const speeds = parts.map(Number);
  if (speeds.length === 0 || speeds.some((speed) => !(Number.isFinite(speed) && speed > 0))) {
    throw new Error(say("cup.no_speed", { typed: text.trim() }));
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
  if (running.way === "walk") return say("cup.walking", { span: formatSpan(elapsed_s) });
  const left_s = WANTED_S - elapsed_s;
  return left_s > 0 ? say("cup.counting", { span: formatSpan(elapsed_s), left: formatSpan(Math.ceil(left_s)) }) : say("cup.counted", { span: formatSpan(elapsed_s) });
}

/** A calibrated line in a sentence; empty where none could be reckoned. */
export function describeLine(found, set) {
  if (found.mps_per_hz === null || !(found.mps_per_hz > 0)) return "";
  const line = say("cup.line", {
    slope: formatQuantity(found.mps_per_hz, "cup", set), offset: formatQuantity(found.offset_mps, "speed", set, 2),
    speed: formatSpeed(found.at_mps, set), percent: formatNumber(100 * found.scale_sd, 2),
  });
  if (found.change_percent === null) return line;
  return say(found.change_percent < 0 ? "cup.line_less" : "cup.line_more", { line, percent: formatFixed(Math.abs(found.change_percent), 1) });
}

/** How a calibration stands: whether it may be used, or why not. */
export function describeStand(found, set) {
  const line = describeLine(found, set);
  if (found.is_usable) return say("cup.good_enough", { line });
  const refusal = `${found.refusal.charAt(0).toUpperCase()}${found.refusal.slice(1)}`.replace(/\.?$/, ".");
  return say("cup.not_yet", { why: refusal });
}

/** A walk so far in words: legs, time, wind, and what is missing. */
export function describeWalk(found, set) {
  const so_far = { n: found.legs, span: formatSpan(found.seconds), wind: formatSpeed(found.wind_mps, set) };
  return `${say(found.wind_mps === null ? "cup.legs" : "cup.legs_wind", so_far)} ${describeStand(found, set)}`;
}

/** What the settings say of the cup now. */
export function describeCup(anemometer, set) {
  if (!anemometer?.mps_per_hz) return say("cup.no_line");
  const line = { slope: formatQuantity(anemometer.mps_per_hz, "cup", set), offset: formatQuantity(anemometer.offset_mps, "speed", set, 2) };
  if (!anemometer.scale_sd_percent) return say("cup.now_assumed", line);
  const told = { ...line, day: anemometer.calibrated_on, percent: formatNumber(anemometer.scale_sd_percent, 2) };
  return say(anemometer.calibrated_on ? "cup.now_on" : "cup.now", told);
}
