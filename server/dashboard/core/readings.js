// A table of readings to bring along: what has to be told, what was guessed, what is still open, and what became of it.

import { formatInstant, formatPercent, formatSpan, formatSpeed } from "./format.js";
import { say } from "./say.js";
import { convert, revert } from "./units.js";

export const HEAD_BYTES = 65_536;
export const LARGEST_BYTES = 64 * 2 ** 20;
const DIRECT = ["speed", "gust", "direction", "flag", "unit", "date_order", "stamp", "separator", "decimal", "zone"];
export const MAYBE_NONE = ["gust", "direction", "flag"];
/** Guessed lists that stay in their fields, but want a tick that somebody has looked at them. */
export const TO_CONFIRM = ["good_flags", "missing"];

const NO_FLAG = say("bring.no_flag");

export const DATE_ORDERS = {
  ymd: say("bring.ymd"), dmy: say("bring.dmy"), mdy: say("bring.mdy"),
  day_of_year: say("bring.day_of_year"), epoch_s: say("bring.epoch_s"), epoch_ms: say("bring.epoch_ms"),
};
export const STAMPS = { begin: say("bring.stamp_begin"), end: say("bring.stamp_end") };
export const DECIMALS = { ".": say("bring.decimal_point"), ",": say("bring.decimal_comma") };

/** What is wrong with a file before anything is sent; empty where nothing is. */
export function refuseFile(file) {
  if (file.size === 0) return say("bring.empty_file", { file: file.name });
  if (file.size > LARGEST_BYTES) return say("bring.large_file", { file: file.name, size: LARGEST_BYTES / 2 ** 20 });
  return "";
}

/** What the readings are called at first: the file's name without its ends. */
export function nameOf(file) {
  return file.name.replace(/(\.(csv|tsv|txt|dat|log|gz))+$/i, "").slice(0, 60) || say("bring.readings");
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
  if (numbers.some((number) => !Number.isFinite(number))) throw new Error(say("bring.only_numbers"));
  return numbers;
}

function readFlags(text) {
  return text.split("|").map((flag) => flag.trim()).filter((flag) => flag !== "").map((flag) => (flag === NO_FLAG ? "" : flag));
}

/** The keys that are still open, each with a sentence that says what to do. */
export function openKeys(draft) {
  const open = {};
  const isEpoch = draft.date_order === "epoch_s" || draft.date_order === "epoch_ms";
  if (draft.time.length === 0) open.time = say("bring.open_time");
  if (!draft.speed) open.speed = say("bring.open_speed");
  if (!draft.unit) open.unit = say("bring.open_unit");
  if (!draft.zone && !isEpoch) open.zone = say("bring.open_zone");
  if (!draft.stamp) open.stamp = say("bring.open_stamp");
  for (const key of MAYBE_NONE) if (draft[key] === null) open[key] = say("bring.open_column");
  if (!(Number(String(draft.height).replace(",", ".")) > 0)) open.height_m = say("bring.open_height");
  if (draft.date_order === null) open.date_order = say("bring.open_date_order");
  if (draft.flag > 0 && draft.good_flags.trim() === "") open.good_flags = say("bring.open_flags");
  if (draft.flag > 0 && !draft.confirmed.good_flags) open.good_flags = say("bring.look_flags");
  if (!draft.confirmed.missing) open.missing = say("bring.look_missing");
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
  if (name && name !== "UTC") offered.push([name, say("bring.own_clock", { name })]);
  if (sign !== "+00:00") offered.push([sign, name ? say("bring.no_summer", { sign, name }) : say("bring.no_summer_here", { sign })]);
  return offered;
}

const write = (number) => number.toLocaleString("en").replaceAll(",", "\u202f");

const count = (what, n) => say(`bring.count_${what}`, { n, count: write(n) });

/** What became of the table, in sentences: first how much, then how it was read, then what was refused or repaired. */
export function describeReport(report, set) {
  const refused = report.rows - report.used_rows;
  const gust = report.highest_gust_mps === null ? say("bring.no_gusts") : say("air.gust", { gust: formatSpeed(report.highest_gust_mps, set) });
  const gaps = report.gaps.count === 0 ? say("bring.no_gap") : say("bring.gaps", { gaps: count("gaps", report.gaps.count), longest: formatSpan(report.gaps.longest_s) });
  return {
    head: say(refused === 0 ? "bring.head" : "bring.head_left_out", {
      used: count("rows", report.used_rows), rows: count("rows", report.rows), refused: count("rows", refused),
      blocks: count("blocks", report.blocks), added: write(report.added_blocks),
    }),
    check: `${say("bring.is_right", {
      median: formatSpeed(report.median_mps, set), highest: formatSpeed(report.highest_mean_mps, set), gust,
      from: formatInstant(report.from_utc), to: formatInstant(report.to_utc), share: formatPercent(report.known_fraction),
    })} ${gaps}`,
    taken: report.taken,
    notes: report.notes.map(({ sentence, lines }) => (lines.length > 0 ? `${sentence} ${say("bring.first_lines", { n: lines.length, lines: lines.join(", ") })}` : sentence)),
  };
}

/** How far a file is on its way. */
export function describeProgress({ sent, size, since_s }) {
  if (sent < size) return say("bring.sending", { share: formatPercent(sent / size), size: Math.max(1, Math.round(size / 1e5)) / 10 });
  return say("bring.reading", { seconds: Math.round(since_s) });
}

/** The height of another source as a number for its field; empty where it is none. */
export function heightText(height_m, set) {
  const height = convert(height_m, "length", set);
  return height === null ? "" : String(Math.round(height * 100) / 100);
}
