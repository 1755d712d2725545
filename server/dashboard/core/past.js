// The wind's past: which stretch of time, in which steps, where nothing is known, and the same in words.

import { formatFrom, formatInstant, formatPercent, formatQuantity, formatSpeed, formatTime } from "./format.js";
import { say } from "./say.js";

export const SPANS = { day: say("air.day"), week: say("air.week"), month: say("air.month"), year: say("air.year") };
const NEXT_FINER = { year: "month", month: "day", week: "day", day: "day" };
const MINUTE_S = 60;
const DAY_S = 86400;
export const LADDER_S = [1, 2, 5, 10, 15, 30, 60, 180, 360, 720, 1440, 2 * 1440, 7 * 1440].map((each) => each * MINUTE_S);
export const LEAST_PX = 2.4; // narrower steps cannot be told from one another
const KNOWN = 0.005; // less is nothing: a stray second does not make an hour known

const seconds = (date) => date.getTime() / 1000;

/** The reader's own day, week from Monday, month or year that holds an instant. */
export function periodAround(span, utc_s) {
  const at = new Date(utc_s * 1000);
  const [year, month, day] = [at.getFullYear(), at.getMonth(), at.getDate()];
  const monday = day - ((at.getDay() + 6) % 7);
  const ends = {
    day: [new Date(year, month, day), new Date(year, month, day + 1)],
    week: [new Date(year, month, monday), new Date(year, month, monday + 7)],
    month: [new Date(year, month, 1), new Date(year, month + 1, 1)],
    year: [new Date(year, 0, 1), new Date(year + 1, 0, 1)],
  };
  const [from, to] = ends[span];
  return { span, from_s: seconds(from), to_s: seconds(to) };
}

/** The period before or after. */
export function besides({ span, from_s, to_s }, direction) {
  return periodAround(span, direction < 0 ? from_s - 1 : to_s);
}

/** The next shorter period at an instant. */
export function finerAt({ span }, utc_s) {
  return periodAround(NEXT_FINER[span], utc_s);
}

/** A period as the reader writes it. */
export function titleOf({ span, from_s }) {
  const from = new Date(from_s * 1000);
  const write = (options) => from.toLocaleDateString([], options);
  if (span === "year") return write({ year: "numeric" });
  if (span === "month") return write({ year: "numeric", month: "long" });
  const day = write({ year: "numeric", month: "long", day: "numeric", weekday: "long" });
  return span === "week" ? say("air.week_from", { day }) : day;
}

/** The shortest usual step that leaves each one room to be seen. */
export function chooseStep({ from_s, to_s }, width_px) {
  const room = Math.max(1, width_px) / LEAST_PX;
  return LADDER_S.find((step_s) => (to_s - from_s) / step_s <= room) ?? LADDER_S.at(-1);
}

/** The name of the reader's clocks for the service; `isNamed` false where it does not know the name. */
export function zoneOf(utc_s, isNamed = true) {
  const name = Intl.DateTimeFormat().resolvedOptions().timeZone;
  if (isNamed && name) return name;
  const ahead_min = -new Date(utc_s * 1000).getTimezoneOffset();
  const [hours, minutes] = [Math.floor(Math.abs(ahead_min) / 60), Math.abs(ahead_min) % 60];
  return `${ahead_min < 0 ? "-" : "+"}${String(hours).padStart(2, "0")}:${String(minutes).padStart(2, "0")}`;
}

function stepsOfClock({ span, from_s, to_s }, every) {
  const found = [];
  for (let k = 0; k < 400; k += every) {
    const at = new Date(from_s * 1000);
    if (span === "day") at.setHours(k);
    else if (span === "year") at.setMonth(k);
    else at.setDate(at.getDate() + k);
    if (seconds(at) >= to_s) break;
    if (seconds(at) !== found.at(-1)) found.push(seconds(at)); // the hour that clocks skip is the next one
  }
  return found;
}

const TICKS = {
  day: { every: [1, 2, 3, 6, 12], least_px: 62, write: (at) => formatTime(at.getTime() / 1000) },
  week: { every: [1], least_px: 0, write: (at) => at.toLocaleDateString([], { weekday: "short" }) },
  month: { every: [1, 2, 5, 10], least_px: 34, write: (at) => String(at.getDate()) },
  year: { every: [1, 2, 3], least_px: 27, write: (at, px) => at.toLocaleDateString([], { month: px < 42 ? "narrow" : "short" }) },
};

/** Instants to mark on the axis, by the reader's clocks, each with its label and whether it names what follows. */
export function ticksOf(period, width_px) {
  const { every, least_px, write } = TICKS[period.span];
  const room = (count) => width_px / Math.max(1, count);
  const chosen = every.find((each) => room(stepsOfClock(period, each).length) >= least_px) ?? every.at(-1);
  const found = stepsOfClock(period, chosen);
  const isNaming = period.span === "week" || period.span === "year";
  return found.map((at_s, place) => ({
    at_s, label: write(new Date(at_s * 1000), room(found.length)), isNaming, until_s: found[place + 1] ?? period.to_s,
  }));
}

/** A series of the service as steps within a period; those of which next to nothing is known are none. */
export function stepsOf(series, { from_s, to_s }) {
  if (!series) return [];
  return series.start_utc.map((start_s, k) => ({
    from_s: Math.max(start_s, from_s), to_s: Math.min(series.end_utc[k], to_s), mean_mps: series.mean_mps[k],
    mean_sd_mps: series.mean_sd_mps[k], gust_3s_mps: series.gust_3s_mps[k], from_deg: series.from_deg[k],
    from_sd_deg: series.from_sd_deg[k], known: series.known_fraction[k], below: series.below_fraction[k],
    standing: series.station_fraction[k],
  })).filter((step) => step.known >= KNOWN && step.mean_mps !== null && step.to_s > step.from_s);
}

/** Stretches of a period of which nothing is known, up to now: what is still to come is no gap. */
export function gapsOf(steps, { from_s, to_s }, now_s = Infinity) {
  const end_s = Math.min(to_s, now_s);
  const gaps = [];
  let at_s = from_s;
  for (const step of steps) {
    if (step.from_s > at_s + 1) gaps.push({ from_s: at_s, to_s: step.from_s });
    at_s = Math.max(at_s, step.to_s);
  }
  if (end_s > at_s + MINUTE_S) gaps.push({ from_s: at_s, to_s: end_s });
  return gaps;
}

/** Whether two steps follow each other without a gap. */
export function isNext(before, step) {
  return before !== undefined && Math.abs(step.from_s - before.to_s) < 1;
}

/** The top of the speeds' axis in the user's unit: above all that is drawn, and never nought. */
export function topOf(steps, toUnit, level_mps = null) {
  const highest = steps.reduce((top, { mean_mps, mean_sd_mps, gust_3s_mps }) =>
    Math.max(top, mean_mps + (mean_sd_mps ?? 0), gust_3s_mps ?? 0), level_mps ?? 0);
  const top = toUnit(highest);
  return top > 0 ? top * 1.08 : 1;
}

/** The step at an instant, or the one nearest to it; -1 where there is none. */
export function placeAt(steps, at_s) {
  let [best, nearest] = [-1, Infinity];
  steps.forEach(({ from_s, to_s }, place) => {
    const away = at_s < from_s ? from_s - at_s : Math.max(0, at_s - to_s);
    if (away < nearest) [best, nearest] = [place, away];
  });
  return best;
}

/** When a step was, as the reader writes it. */
export function writeStep({ from_s, to_s }) {
  const [from, to] = [new Date(from_s * 1000), new Date(to_s * 1000)];
  const day = (at) => at.toLocaleDateString([], { year: "numeric", month: "short", day: "numeric" });
  const last = new Date(to.getTime() - 1000);
  if (to_s - from_s > 0.9 * DAY_S) return day(from) === day(last) ? day(from) : say("cards.from_to", { from: day(from), to: day(last) });
  return say("air.step", { day: day(from), from: formatTime(from_s), to: formatTime(to_s) });
}

function writeSpread(step, set) {
  return step.mean_sd_mps === null ? formatSpeed(step.mean_mps, set)
    : `${formatSpeed(step.mean_mps, set)} ± ${formatSpeed(step.mean_sd_mps, set)}`;
}

/** Direction with its scatter; words of its own where none is known. */
export function writeFrom({ from_deg, from_sd_deg }) {
  if (from_deg === null) return say("air.from_unknown");
  return from_sd_deg === null ? formatFrom(from_deg) : `${formatFrom(from_deg)} ± ${Math.round(from_sd_deg)}°`;
}

/** Whether the rig stood or was walked, in words. */
export function writeStanding({ standing }) {
  if (standing >= 0.995) return say("air.standing");
  return standing <= 0.005 ? say("air.walking") : say("air.partly_standing", { share: formatPercent(standing) });
}

/** One step in a sentence. */
export function describeStep(step, set) {
  const parts = [say("air.mean_of", { when: writeStep(step), mean: writeSpread(step, set) })];
  if (step.gust_3s_mps !== null) parts.push(say("air.gust", { gust: formatSpeed(step.gust_3s_mps, set) }));
  if (step.from_deg !== null) parts.push(say("air.from_the", { from: writeFrom(step) }));
  parts.push(writeStanding(step));
  if (step.known < 0.995) parts.push(say("air.of_it_known", { share: formatPercent(step.known) }));
  if (step.below >= 0.005) parts.push(say("air.too_calm_of", { share: formatPercent(step.below) }));
  return `${parts.join(", ")}.`;
}

/** A whole period in a sentence, as far as it has passed. */
export function describePeriod(steps, period, set, height_m, now_s = Infinity) {
  if (steps.length === 0) return say("air.nothing_in", { period: titleOf(period) });
  const length = (step) => step.known * (step.to_s - step.from_s);
  const whole = steps.reduce((sum, step) => sum + length(step), 0);
  const share = (key) => steps.reduce((sum, step) => sum + length(step) * step[key], 0) / whole;
  const gusts = steps.filter(({ gust_3s_mps }) => gust_3s_mps !== null);
  const gust = gusts.reduce((top, step) => (top === null || step.gust_3s_mps > top.gust_3s_mps ? step : top), null);
  const told = [say("air.mean", { mean: formatSpeed(share("mean_mps"), set) })];
  if (gust) told.push(say("air.gust_when", { gust: formatSpeed(gust.gust_3s_mps, set), when: writeStep(gust) }));
  const known = Math.min(1, whole / (Math.min(period.to_s, Math.max(now_s, steps.at(-1).to_s)) - period.from_s));
  told.push(say("air.time_known", { share: formatPercent(known) }));
  const standing = share("standing");
  told.push(standing >= 0.995 ? say("air.stood")
    : say("air.stood_walked", { stood: formatPercent(standing), walked: formatPercent(1 - Math.round(100 * standing) / 100) }));
  if (share("below") >= 0.005) told.push(say("air.too_calm_half", { share: formatPercent(share("below")) }));
  return say("air.period", { period: titleOf(period), height: formatQuantity(height_m, "length", set, 2), told: told.join(", ") });
}

/** A source in a line: whose, how high, how much, from when to when. */
export function describeSource({ kind, name, height_m, blocks, from_utc, to_utc }, set) {
  const day = (utc_s) => new Date(utc_s * 1000).toLocaleDateString([], { year: "numeric", month: "short", day: "numeric" });
  const when = from_utc === null ? say("air.empty_source") : say("cards.from_to", { from: day(from_utc), to: day(to_utc) });
  const count = blocks.toLocaleString("en").replaceAll(",", "\u202f");
  return say(kind === "rig" ? "air.rig_source" : "air.brought_source", { name, height: formatQuantity(height_m, "length", set, 2), n: blocks, count, when });
}

/** What the service's disk holds, and what becomes of raw messages outside jobs. */
export function describeStore({ file_bytes, keep_hours, outside_jobs_since_utc, removed_messages }) {
  const size = say("air.store", { size: Math.max(1, Math.round(file_bytes / 1e6)) });
  if (keep_hours === null) return `${size} ${say("air.store_keeps_all")}`;
  const kept = outside_jobs_since_utc === null ? say("air.store_keeps", { hours: keep_hours })
    : say("air.store_keeps_since", { hours: keep_hours, since: formatInstant(outside_jobs_since_utc) });
  const gone = removed_messages === 0 ? say("air.store_none_gone") : say("air.store_gone", { count: removed_messages.toLocaleString("en").replaceAll(",", "\u202f") });
  return `${size} ${kept} ${gone}`;
}
