// A record's items in words, and what was typed back as values; in the units that people chose, by the record's own clock.

import { readNumber, writeNumber } from "./card.js";
import { UNKNOWN, formatFrom, formatNumber, formatQuantity, formatSpeed } from "./format.js";
import { say } from "./say.js";
import { convert, isCustomary, revert, unitOf, warmthIn, writeUnit } from "./units.js";

const QUANTITIES = { area: "area", volume: "volume", dose: "rate", speed: "speed", height: "length", length: "length" };
const SIGNS = { percent: "%", off: "%", bearing: "°", seconds: "s" };

/** An instant by the record's own clock. */
export function tellInstant(utc_s, offset_s) {
  return new Date((utc_s + offset_s) * 1000).toISOString().slice(0, 16).replace("T", " ");
}

/** How far the record's clock is from UTC. */
export function tellZone(offset_s) {
  if (offset_s === 0) return "UTC";
  const minutes = Math.round(Math.abs(offset_s) / 60);
  const pad = (number) => String(number).padStart(2, "0");
  return `UTC${offset_s > 0 ? "+" : "−"}${pad(Math.floor(minutes / 60))}:${pad(minutes % 60)}`;
}

/** A value of a kind in words; null is not known. */
export function tellValue(kind, value, unit, { set, offset_s }) {
  if (value === null || value === undefined) return UNKNOWN;
  if (kind === "text" || kind === "day" || typeof value === "string") return String(value);
  if (kind === "instant") return tellInstant(value, offset_s);
  if (kind === "speed") return formatSpeed(value, set);
  if (kind === "bearing") return say("record.from", { wind: formatFrom(value) });
  if (kind === "celsius") return isCustomary(set) ? `${Math.round(warmthIn(value, "°F"))}\u00a0°F` : `${formatNumber(value)}\u00a0°C`;
  if (QUANTITIES[kind]) return formatQuantity(value, QUANTITIES[kind], set);
  if (kind === "off") return `${value > 0 ? "+" : ""}${formatNumber(value)}\u00a0%`;
  if (kind === "count") return String(value);
  return `${formatNumber(value)}\u00a0${SIGNS[kind] ?? writeUnit(unit)}`;
}

/** An item in words: its value, or why it is not known. */
export function tellItem(item, clock) {
  if (item.value === null) return say("record.unknown", { why: item.missing });
  return tellValue(item.kind, item.value, item.unit, clock);
}

/** Where an item comes from, in a few words. */
export function tellSource(item) {
  if (item.amended.length > 0) return say("record.amended");
  if (item.source === "typed" && item.beside !== null) return say("record.typed_over", { before: item.beside });
  return item.beside === null ? item.source : say("record.typed_was", { source: item.source, typed: item.beside });
}

/** The name of an item, with the number of its row where there are several. */
export function labelOf(item) {
  const number = item.key.split(".")[1];
  return number === undefined || number === "1" ? item.label : `${item.label} ${number}`;
}

/** The unit that is typed in; empty for texts and where the unit is typed along. */
export function unitToType(kind, set) {
  if (QUANTITIES[kind]) return unitOf(QUANTITIES[kind], set);
  if (kind === "celsius") return isCustomary(set) ? "°F" : "°C";
  return SIGNS[kind] ?? "";
}

/** What helps to type an item. */
export function hintToType(kind, set, offset_s) {
  const customary = isCustomary(set);
  if (kind === "amount") return say(customary ? "record.hint_amount_us" : "record.hint_amount");
  if (kind === "rate") return say(customary ? "record.hint_rate_us" : "record.hint_rate");
  if (kind === "instant") return say("record.hint_instant", { zone: tellZone(offset_s) });
  if (kind === "bearing") return say("record.hint_bearing");
  return unitToType(kind, set);
}

/** What was typed, as the service takes it: null where nothing was; an Error in plain words when it cannot be read. */
export function readTyped(kind, text, { set, offset_s }) {
  const trimmed = text.trim();
  if (trimmed === "") return null;
  if (["text", "day", "amount", "rate"].includes(kind)) return trimmed;
  if (kind === "instant") {
    const utc_ms = Date.parse(`${trimmed}Z`);
    if (!Number.isFinite(utc_ms)) throw new Error(say("record.no_instant", { typed: trimmed }));
    return utc_ms / 1000 - offset_s;
  }
  const number = readNumber(trimmed);
  if (kind === "celsius") return isCustomary(set) ? (number - 32) / 1.8 : number;
  return QUANTITIES[kind] ? revert(number, QUANTITIES[kind], set) : number;
}

/** A value as it stands in a field. */
export function writeTyped(kind, value, unit, { set, offset_s }) {
  if (value === null) return "";
  if (typeof value === "string") return value;
  if (kind === "instant") return tellInstant(value, offset_s).replace(" ", "T");
  if (kind === "amount" || kind === "rate") return `${writeNumber(Number(value.toPrecision(4)))} ${unit}`;
  if (kind === "celsius" && isCustomary(set)) return writeNumber(Number(warmthIn(value, "°F").toPrecision(4)));
  const number = QUANTITIES[kind] ? convert(value, QUANTITIES[kind], set) : value;
  return writeNumber(Number(number.toPrecision(4)));
}

/** How a record stands, in a few words. */
export function tellState(row) {
  if (row.signature) {
    const later = row.proposals > 0 ? say("record.later_differs") : "";
    const count = row.amendments > 0 ? say("record.count_amendments", { n: row.amendments }) : "";
    return say("record.signed_by", { name: row.signature.name, count, later });
  }
  if (row.state === "open") return say("record.still_open");
  if (!row.is_reviewed) return say("record.not_reviewed");
  return row.missing === 0 ? say("record.all_there") : say("record.count_missing", { n: row.missing });
}

/** Items by their group, in order. */
export function groupItems(items) {
  const groups = new Map();
  for (const item of items) groups.set(item.group, [...(groups.get(item.group) ?? []), item]);
  return [...groups];
}

/** Items that the chosen rules still want, by key. */
export function missingKeys(rules) {
  return new Set(rules.filter((rule) => rule.is_chosen).flatMap((rule) => rule.needs.flatMap((need) => need.missing)));
}
