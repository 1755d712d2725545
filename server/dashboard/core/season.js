// The season's calendar and matters as words; days are the reader's own, as "2027-05-31".

import { say } from "./say.js";
import { isCustomary, warmthIn } from "./units.js";

const DAY_MS = 86_400_000;

const pad = (number) => String(number).padStart(2, "0");

/** The reader's own day of an instant. */
export function dayOf(date) {
  return `${date.getFullYear()}-${pad(date.getMonth() + 1)}-${pad(date.getDate())}`;
}

/** The reader's own time of day. */
export function timeOf(date) {
  return `${pad(date.getHours())}:${pad(date.getMinutes())}`;
}

function instant(day) {
  return Date.parse(`${day}T12:00:00Z`); // noon, so that no clock's change moves it to another day
}

/** A day so many days later. */
export function addDays(day, count) {
  return new Date(instant(day) + count * DAY_MS).toISOString().slice(0, 10);
}

const WAITS = ["interval", "re_entry"];

/** What the season asks to wait for before the next papers' products go on their ground: a kind and a sentence each. */
export function listWaits(season, papers) {
  const products = (papers?.products ?? []).map(({ number }) => number);
  const [site, zones] = [papers?.site?.number ?? null, papers?.zones ?? []];
  const meets = (own, other) => own.length === 0 || other.length === 0 || own.some((each) => other.includes(each));
  return (season?.matters ?? []).filter((matter) => matter.state === "wait" && WAITS.includes(matter.kind) && site !== null && matter.site === site
    && meets(zones, matter.zones) && (matter.kind === "re_entry" || products.some((each) => matter.products.includes(each))))
    .map(({ kind, sentence }) => ({ kind, sentence }));
}

/** The month of a day, and those before and after. */
export function turnMonth(month, step) {
  const [year, number] = month.split("-").map(Number);
  const turned = year * 12 + number - 1 + step;
  return `${Math.floor(turned / 12)}-${pad((turned % 12) + 1)}`;
}

/** The weeks of a month, Monday first; days of its neighbours fill the first and the last. */
export function weeksOf(month) {
  const first = `${month}-01`;
  const weekday = (new Date(instant(first)).getUTCDay() + 6) % 7;
  const weeks = [];
  for (let day = addDays(first, -weekday); day < `${turnMonth(month, 1)}-01`; day = addDays(day, 7)) {
    weeks.push(Array.from({ length: 7 }, (_, place) => addDays(day, place)));
  }
  return weeks;
}

const format = (day, style) => new Date(instant(day)).toLocaleDateString([], { ...style, timeZone: "UTC" });

/** A month in words. */
export function nameMonth(month) {
  return format(`${month}-01`, { month: "long", year: "numeric" });
}

/** A day in words, as short as a phone wants it. */
export function nameDay(day) {
  return format(day, { weekday: "short", day: "numeric", month: "short" });
}

/** The day of a journal's line: with its year where that is another than today's. */
export function tellDay(day, today) {
  return day.slice(0, 4) === today.slice(0, 4) ? nameDay(day) : `${nameDay(day)} ${day.slice(0, 4)}`;
}

const FAR_DAYS = 400; // more than a year and a month

/** What is to be asked of a line's day before it is kept; empty where nothing is. */
export function doubtDay(day, today) {
  const ahead = Math.round((Date.parse(`${day}T12:00Z`) - Date.parse(`${today}T12:00Z`)) / 86_400_000);
  if (!(Math.abs(ahead) > FAR_DAYS)) return "";
  return say(ahead > 0 ? "season.far_ahead" : "season.long_ago", { day, days: Math.abs(ahead) });
}

/** A day's place in its week. */
export function nameWeekday(day) {
  return format(day, { weekday: "short" });
}

export const STATES = {
  overdue: { sign: "■", word: say("season.overdue") }, due: { sign: "▶", word: say("season.due") }, wait: { sign: "‖", word: say("season.wait") },
  conflict: { sign: "≠", word: say("season.conflict") }, later: { sign: "○", word: say("season.later") }, fact: { sign: "·", word: say("season.fact") },
};
const DONE = { sign: "✓", word: say("season.done") };
const PLANNED = { sign: "□", word: say("season.planned") };

/** A line of the journal in words. */
export function describeLine(line, names) {
  const water = line.water ? `, ${line.water.value} ${line.water.unit}` : "";
  const warmth = line.temperature ? ` ${line.temperature.value} ${line.temperature.unit}` : "";
  const zones = line.zones.length > 0 ? `, ${line.zones.join(", ")}` : "";
  const site = line.site !== null && names.size > 1 ? ` (${names.get(line.site) ?? say("season.site_number", { number: line.site })})` : "";
  return `${line.name}${warmth}${water}${zones}${site}`;
}

/** What stands on each day of a calendar: what was done and planned, what begins to be due, what ends, what is at odds;
 * the soil's readings have a drawing of their own. */
export function placeItems(season, names) {
  const found = new Map();
  const put = (day, { sign, word }, text) => found.set(day, [...(found.get(day) ?? []), { sign, word, text }]);
  for (const line of season.lines.filter(({ kind }) => kind !== "soil_temperature")) put(line.day, line.is_planned ? PLANNED : DONE, describeLine(line, names));
  for (const matter of season.matters) {
    const title = matter.title || matter.sentence.replace(/\.$/, "");
    if (matter.state === "conflict") put(matter.since, STATES.conflict, title);
    const isLine = matter.kind === "plan" && matter.state !== "overdue"; // it stands there as planned
    if (isLine || !["due", "later", "overdue"].includes(matter.state)) continue;
    if (matter.state !== "overdue") put(matter.since, STATES[matter.state], matter.state === "later" ? say("season.from_here", { title }) : title);
    if (matter.until === null) continue;
    const isPast = matter.state === "overdue";
    if (isPast) put(matter.until, STATES.overdue, say("season.was_due", { title }));
    else if (matter.until !== matter.since) {
      put(matter.until, STATES.due, matter.until_time ? say("season.until_time", { title, time: matter.until_time }) : say("season.until_here", { title }));
    }
  }
  return found;
}

/** What may speak for and against a matter, as lines. */
export function explainMatter(matter) {
  const lines = [[say("season.reason"), matter.reason], [say("season.source"), matter.source], [say("season.against"), matter.against], [say("season.against_source"), matter.against_source]];
  return lines.filter(([, text]) => text);
}

/** What is told first, and what may wait to be asked for. */
export function partMatters(matters) {
  return {
    first: matters.filter(({ state, severity, since }, _, all) => !["fact", "later"].includes(state)
      && (state !== "conflict" || severity === "ask" || isNewest(since, all))),
    rest: matters.filter(({ state, severity, since }, _, all) => ["fact", "later"].includes(state)
      || (state === "conflict" && severity !== "ask" && !isNewest(since, all))),
  };
}

function isNewest(since, all) {
  const told = all.filter(({ state, severity }) => state === "conflict" && severity !== "ask").map((each) => each.since).sort();
  return since === told.at(-1);
}

/** The day to note a plan's work on: its own, or today where that has not come yet. */
export function dayOfPlan(matter, today) {
  return matter.since > today ? today : matter.since;
}

/** The depth that a watering entered by one tap begins with: what is asked for, else a usual one. */
export function chooseDepth(matters, set) {
  const wanted = matters.find(({ kind, state }) => kind === "watering_in" && ["due", "overdue"].includes(state));
  const found = /: ([\d.]+) (mm|in)\b/.exec(wanted?.sentence ?? "");
  if (found) return { value: Number(found[1]), unit: found[2] };
  return isCustomary(set) ? { value: 0.25, unit: "in" } : { value: 6, unit: "mm" };
}

/** Where days and temperatures stand in a drawing; `days` at least one. */
export function scaleSoil(trace, width_px, height_px, edges) {
  const { unit } = trace.threshold;
  const means = trace.days.map(({ mean_c }) => warmthIn(mean_c, unit));
  const low = Math.min(...means, trace.threshold.value) - 2;
  const high = Math.max(...means, trace.threshold.value) + 2;
  const first = instant(trace.days[0].day);
  const span = Math.max(1, (instant(trace.days.at(-1).day) - first) / DAY_MS);
  const x = (day) => edges.left + ((instant(day) - first) / DAY_MS / span) * (width_px - edges.left - edges.right);
  const y = (value) => edges.top + ((high - value) / (high - low)) * (height_px - edges.top - edges.bottom);
  return { x, y, low, high, means, unit };
}
