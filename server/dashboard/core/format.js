// Numbers and times as text.

import { say } from "./say.js";
import { convert, unitOf } from "./units.js";

export const UNKNOWN = say("figures.unknown");

/** A number with about three significant figures, never in powers of ten. */
export function formatNumber(value, figures = 3) {
  if (value === null || value === undefined || !Number.isFinite(value)) return UNKNOWN;
  if (value === 0) return "0";
  const places = figures - 1 - Math.floor(Math.log10(Math.abs(value)));
  const text = value.toFixed(Math.min(6, Math.max(0, places)));
  return Number(text) === 0 ? "0" : text.replace("-", "−");
}

/** A number with a fixed count of decimals, so that live figures do not change their width. */
export function formatFixed(value, places) {
  if (value === null || value === undefined || !Number.isFinite(value)) return UNKNOWN;
  const text = value.toFixed(places);
  return (Number(text) === 0 ? text.replace("-", "") : text).replace("-", "−");
}

/** A quantity in the user's units, unit behind. */
export function formatQuantity(value, quantity, set, figures = 3) {
  const number = convert(value, quantity, set);
  return number === null ? UNKNOWN : `${formatNumber(number, figures)}\u00a0${unitOf(quantity, set)}`;
}

/** A speed with one decimal in the user's units. */
export function formatSpeed(value, set) {
  const number = convert(value, "speed", set);
  return number === null ? UNKNOWN : `${formatFixed(number, 1)}\u00a0${unitOf("speed", set)}`;
}

/** A limit as its label states it, with metres per second behind; in the user's units where no label was quoted. */
export function formatLimit(limit_mps, stated, set) {
  if (!stated || limit_mps === null) return formatSpeed(limit_mps, set);
  const words = stated.replace(/\s+/g, "\u00a0");
  return /m\/s|mps|ms-1/i.test(stated) ? words : `${words} (${formatFixed(limit_mps, 1)}\u00a0m/s)`;
}

/** A share as whole per cent. */
export function formatPercent(share) {
  if (share === null || share === undefined || !Number.isFinite(share)) return UNKNOWN;
  return `${formatFixed(share * 100, 0)}\u00a0%`;
}

/** How long: seconds, minutes and seconds, hours and minutes. */
export function formatSpan(span_s) {
  if (span_s === null || span_s === undefined || !Number.isFinite(span_s)) return UNKNOWN;
  const whole_s = Math.max(0, Math.round(span_s));
  if (whole_s < 60) return `${whole_s}\u00a0s`;
  if (whole_s < 3600) return `${Math.floor(whole_s / 60)}\u00a0min ${whole_s % 60}\u00a0s`;
  return `${Math.floor(whole_s / 3600)}\u00a0h ${Math.floor((whole_s % 3600) / 60)}\u00a0min`;
}

const WINDS = ["n", "ne", "e", "se", "s", "sw", "w", "nw"];

/** The one of eight winds nearest to a bearing. */
export function nameBearing(bearing_deg) {
  return say(`figures.wind_${WINDS[((Math.round(bearing_deg / 45) % 8) + 8) % 8]}`);
}

/** A direction that the wind comes from, in words and degrees. */
export function formatFrom(from_deg) {
  if (from_deg === null || from_deg === undefined || !Number.isFinite(from_deg)) return UNKNOWN;
  const turned = ((from_deg % 360) + 360) % 360;
  return `${nameBearing(turned)} (${Math.round(turned) % 360}°)`;
}

const HOURS = { hourCycle: "h23" }; // as the service's own sentences tell them
const CLOCK = { hour: "2-digit", minute: "2-digit", ...HOURS };

/** An instant as the reader's own date and time of day. */
export function formatInstant(utc_s) {
  if (utc_s === null || utc_s === undefined || !Number.isFinite(utc_s)) return UNKNOWN;
  return new Date(utc_s * 1000).toLocaleString([], { dateStyle: "medium", timeStyle: "short", ...HOURS });
}

/** An instant as the reader's own time of day. */
export function formatClock(utc_s) {
  if (utc_s === null || utc_s === undefined || !Number.isFinite(utc_s)) return UNKNOWN;
  return new Date(utc_s * 1000).toLocaleTimeString([], { ...CLOCK, second: "2-digit" });
}

/** An instant as the reader's own time of day, without seconds. */
export function formatTime(utc_s) {
  if (utc_s === null || utc_s === undefined || !Number.isFinite(utc_s)) return UNKNOWN;
  return new Date(utc_s * 1000).toLocaleTimeString([], CLOCK);
}

const ROUND_S = 600; // hours by the sun are good to a quarter of an hour

/** About when, as the reader's own time of day to ten minutes. */
export function formatHour(utc_s) {
  return formatTime(Number.isFinite(utc_s) ? Math.round(utc_s / ROUND_S) * ROUND_S : null);
}

/** A sentence of the service's with its speeds in the user's unit. */
export function tellSpeeds(sentence, set) {
  return sentence.replace(/(?<![(\d.])(?:(\d+(?:\.\d+)?) to )?(\d+(?:\.\d+)?) m\/s/g, (_, low, high) => {
    const speed = formatSpeed(Number(high), set);
    return low === undefined ? speed : say("figures.span", { low: formatFixed(convert(Number(low), "speed", set), 1), high: speed });
  });
}

/** A sentence of the service's with its temperatures in the degrees of the user's set. */
export function sayDegrees(sentence, set) {
  const isFahrenheit = set.startsWith("gal");
  return sentence.replace(/(-?\d+(?:\.\d+)?)( to (-?\d+(?:\.\d+)?))? degC/g, (_, one, span, other) => {
    const [low, high] = [one, other].map((each) => (isFahrenheit ? Math.round(1.8 * Number(each) + 32) : Number(each)));
    const warmth = span ? say("figures.span", { low, high }) : low;
    return `${warmth}\u00a0°${isFahrenheit ? "F" : "C"}`;
  });
}

/** A sentence of the service's with its metres in the length of the user's set. */
export function sayLengths(sentence, set) {
  if (unitOf("length", set) === "m") return sentence;
  return sentence.replace(/(?<![\d.,])(\d+(?:\.\d+)?) m(?![\w/²])/g, (_, metres) => formatQuantity(Number(metres), "length", set));
}
