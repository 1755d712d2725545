// A table of readings to bring along: what has to be told, what was guessed, what is still open, and what became of it.

import { formatInstant, formatPercent, formatSpan, formatSpeed } from "./format.js";
import { convert, revert } from "./units.js";

export const HEAD_BYTES = 65_536;
export const LARGEST_BYTES = 64 * 2 ** 20;
const DIRECT = ["speed", "gust", "direction", "flag", "unit", "date_order", "stamp", "separator", "decimal", "zone"];
export const MAYBE_NONE = ["gust", "direction", "flag"];
/** Guessed lists that stay in their fields, but want a tick that somebody has looked at them. */
export const TO_CONFIRM = ["good_flags", "missing"];

const NO_FLAG = "(empty)";

export const DATE_ORDERS = {
  ymd: "year, month, day", dmy: "day, month, year", mdy: "month, day, year",
  day_of_year: "year, day of the year, hour and minutes", epoch_s: "seconds since 1970", epoch_ms: "milliseconds since 1970",
};
export const STAMPS = { begin: "the begin of their interval", end: "the end of their interval" };
export const DECIMALS = { ".": "point: 3.4", ",": "comma: 3,4" };

/** What is wrong with a file before anything is sent; empty where nothing is. */
export function refuseFile(file) {
  if (file.size === 0) return `${file.name} is empty.`;
  if (file.size > LARGEST_BYTES) return `${file.name} is larger than ${LARGEST_BYTES / 2 ** 20} MB: split it by years, or pack it with gzip.`;
  return "";
}

/** What the readings are called at first: the file's name without its ends. */
export function nameOf(file) {
  return file.name.replace(/(\.(csv|tsv|txt|dat|log|gz))+$/i, "").slice(0, 60) || "readings";
}

/** What stands in the fields at first: what was guessed without a doubt. Doubtful single choices are left open. */
export function draftOf({ mapping, doubts }) {
  const doubted = new Set(doubts.map(({ key }) => key));
  const draft = { ...mapping, height: "", confirmed: {} };
  for (const key of DIRECT) if (doubted.has(key)) draft[key] = null;
  // A column that was not found is told to be none; one that may be another is open.
  for (const key of MAYBE_NONE) draft[key] = doubted.has(key) ? null : mapping[key] ?? 0;
  if (doubted.has("time")) draft.time = [];
  for (const key of TO_CONFIRM) draft.confirmed[key] = !doubted.has(key);
  draft.good_flags = mapping.good_flags.map((flag) => flag || NO_FLAG).join(" | ");
  draft.missing = mapping.missing.map(String).join("; ");
  return draft;
}

function readNumbers(text) {
  const numbers = text.split(/[;\s]+/).filter(Boolean).map((part) => Number(part.replace(",", ".").replace("\u2212", "-")));
  if (numbers.some((number) => !Number.isFinite(number))) throw new Error("Only numbers, with semicolons between them.");
  return numbers;
}

function readFlags(text) {
  return text.split("|").map((flag) => flag.trim()).filter((flag) => flag !== "").map((flag) => (flag === NO_FLAG ? "" : flag));
}

/** The keys that are still open, each with a sentence that says what to do. */
export function openKeys(draft) {
  const open = {};
  const isEpoch = draft.date_order === "epoch_s" || draft.date_order === "epoch_ms";
  if (draft.time.length === 0) open.time = "Choose the column that holds the time.";
  if (!draft.speed) open.speed = "Choose the column that holds the mean wind speed.";
  if (!draft.unit) open.unit = "Choose the unit of the speeds.";
  if (!draft.zone && !isEpoch) open.zone = "Choose what clock the times are from.";
  if (!draft.stamp) open.stamp = "Choose what a row's time marks.";
  for (const key of MAYBE_NONE) if (draft[key] === null) open[key] = "Choose a column, or none.";
  if (!(Number(String(draft.height).replace(",", ".")) > 0)) open.height_m = "How high above the ground was the instrument?";
  if (draft.date_order === null) open.date_order = "Choose how dates are written.";
  if (draft.flag > 0 && draft.good_flags.trim() === "") open.good_flags = "Say which flags mark good rows.";
  if (draft.flag > 0 && !draft.confirmed.good_flags) open.good_flags = "Look at these flags, then tick that they are right.";
  if (!draft.confirmed.missing) open.missing = "Look at these codes, then tick that they are right.";
  return open;
}

/** The mapping for the service; an Error in plain words, with the key, where a field cannot be read. */
export function mappingOf(draft, set) {
  let missing;
  try {
    missing = readNumbers(draft.missing);
  } catch (problem) {
    throw Object.assign(problem, { key: "missing" });
  }
  const height_m = revert(Number(String(draft.height).replace(",", ".")), "length", set);
  const isFlagged = draft.flag > 0;
  return {
    time: draft.time, speed: draft.speed, unit: draft.unit, gust: draft.gust || null, direction: draft.direction || null,
    flag: isFlagged ? draft.flag : null, good_flags: isFlagged ? readFlags(draft.good_flags) : [],
    missing, separator: draft.separator, decimal: draft.decimal,
    date_order: draft.date_order === "by_file" ? null : draft.date_order, zone: draft.zone, stamp: draft.stamp,
    height_m: Math.round(height_m * 1000) / 1000, first_line: draft.first_line,
  };
}

/** Clocks to choose from: UTC, the reader's own with and without summer time. */
export function offerZones(now = new Date()) {
  const name = Intl.DateTimeFormat().resolvedOptions().timeZone;
  const offsets = [0, 6].map((month) => -new Date(now.getFullYear(), month, 1).getTimezoneOffset());
  const standard = Math.min(...offsets);
  const sign = `${standard < 0 ? "-" : "+"}${String(Math.floor(Math.abs(standard) / 60)).padStart(2, "0")}:${String(Math.abs(standard) % 60).padStart(2, "0")}`;
  const offered = [["UTC", "UTC"]];
  if (name && name !== "UTC") offered.push([name, `${name}: this device's clocks, put forward in summer`]);
  if (sign !== "+00:00") offered.push([sign, `${sign} all the year: ${name ?? "this device"} without summer time`]);
  return offered;
}

const count = (number, one, many) => `${number.toLocaleString("en").replaceAll(",", "\u202f")} ${number === 1 ? one : many}`;

/** What became of the table, in sentences: first how much, then how it was read, then what was refused or repaired. */
export function describeReport(report, set) {
  const refused = report.rows - report.used_rows;
  const gust = report.highest_gust_mps === null ? "no gusts" : `highest gust ${formatSpeed(report.highest_gust_mps, set)}`;
  const gaps = report.gaps.count === 0 ? "Without a gap." : `${count(report.gaps.count, "gap", "gaps")}, the longest of ${formatSpan(report.gaps.longest_s)}.`;
  return {
    head: `${count(report.used_rows, "row", "rows")} of ${count(report.rows, "row", "rows")} used, ${refused === 0 ? "none left out" : `${count(refused, "row", "rows")} left out`}; `
      + `${count(report.blocks, "block", "blocks")} kept, ${count(report.added_blocks, "of them", "of them")} new.`,
    check: `Is this right? Median ${formatSpeed(report.median_mps, set)}, highest mean ${formatSpeed(report.highest_mean_mps, set)}, ${gust}; `
      + `${formatInstant(report.from_utc)} to ${formatInstant(report.to_utc)}, ${formatPercent(report.known_fraction)} of that time known. ${gaps}`,
    taken: report.taken,
    notes: report.notes.map(({ sentence, lines }) => (lines.length > 0 ? `${sentence} The first: ${lines.length === 1 ? "line" : "lines"} ${lines.join(", ")}.` : sentence)),
  };
}

/** How far a file is on its way. */
export function describeProgress({ sent, size, since_s }) {
  if (sent < size) return `Sending: ${formatPercent(sent / size)} of ${Math.max(1, Math.round(size / 1e5)) / 10}\u00a0MB.`;
  return `Sent. The service reads the rows: ${Math.round(since_s)}\u00a0s so far.`;
}

/** The height of another source as a number for its field; empty where it is none. */
export function heightText(height_m, set) {
  const height = convert(height_m, "length", set);
  return height === null ? "" : String(Math.round(height * 100) / 100);
}
