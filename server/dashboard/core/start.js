// Will it stay calm long enough: one sentence that answers, and what is behind it.

import { compareWind, formatSure } from "./figures.js";
import { formatFixed, formatHour, formatLimit, formatNumber, formatQuantity, formatSpeed } from "./format.js";
import { say } from "./say.js";

export const LIKELY = 0.7; // the chance from which a lull opens
export const HALF = 0.5; // and under which it closes
export const SHORTEST_MIN = 10;
export const LONGEST_MIN = 60;
const WHOLE_DAY_S = 24 * 3600 - 1;

/** A chance in tenths, as people say it. */
export function sayTenths(chance) {
  const tenths = Math.round(chance * 10);
  if (tenths === 0) return say("start.under_tenth");
  return tenths === 10 ? say("start.over_nine") : say("start.tenths", { tenths });
}

/** The chance as a sentence without its full stop. */
export function sayChance(outlook, set) {
  const parts = { tenths: sayTenths(outlook.chance), limit: formatSpeed(outlook.limit_mps, set), minutes: outlook.need.minutes };
  return outlook.need.origin === "left" ? say("start.chance_left", parts) : say("start.chance", parts);
}

const UNKNOWN_STATES = ["no_limit", "no_rig", "silent", "no_date", "no_wind"];

/** The answer: a kind (for its mark), a few words, and the sentence behind them; `hold` is what else holds the start back. */
export function answerStart(snapshot, outlook, set, { isConnected, isOld, hold = null }) {
  const unknown = (word, text) => ({ kind: "unknown", word, text });
  if (snapshot === null) return unknown(say("start.looking"), "");
  if (isOld && !isConnected) return unknown(say("start.not_known"), say("start.unreached"));
  if (!outlook) return unknown(say("start.not_yet"), say("start.service_looks"));
  if (UNKNOWN_STATES.includes(outlook.state)) return unknown(say(`start.word_${outlook.state}`), say(`start.text_${outlook.state}`));
  if (snapshot.alarm?.level === "stop" || outlook.state === "above") {
    return { kind: "no", word: say("start.no"), text: sayTooMuch(snapshot, outlook, set) };
  }
  if (isOld) return unknown(say("start.not_known"), say("start.silent_old"));
  if (outlook.state !== "known") {
    return unknown(say("start.not_yet"), say("start.text_short", { wanted: outlook.minutes_wanted, known: outlook.minutes_known }));
  }
  return weigh(snapshot, outlook, set, hold);
}

/** Why not: of several means the one that is above is named. */
export function sayTooMuch({ wind, alarm }, { limit_mps }, set) {
  const limit = formatLimit(limit_mps, wind?.limit_stated ?? null, set);
  const mean_mps = wind?.mean_60s_mps ?? null;
  if (mean_mps > limit_mps) return say("start.mean_above", { mean: formatSpeed(mean_mps, set), limit });
  if (alarm?.level === "stop") return say("start.alarm_on");
  return say("start.ten_above", { limit });
}

function weigh(snapshot, outlook, set, hold) {
  const chance = `${sayChance(outlook, set)}.`;
  const doubt = (word, text) => ({ kind: "doubt", word, text });
  if (outlook.chance < HALF) return { kind: "no", word: say("start.wait"), text: chance };
  if (snapshot.alarm?.level === "notice") return doubt(say("start.watch"), say("start.near_limit", { chance }));
  if (outlook.inversion.is_likely) return doubt(say("start.careful"), say("start.can_be_inversion", { chance }));
  if (outlook.chance < LIKELY) return doubt(say("start.uncertain"), chance);
  if (snapshot.faults.length > 0) return doubt(say("start.not_ready"), say("start.see_below", { chance }));
  if (hold !== null) return doubt(say("start.held"), say("start.held_by", { text: hold.text, chance }));
  return { kind: "yes", word: say("start.yes"), text: chance };
}

/** The wind now, of two minutes, and its gust, each with its error. */
export function describeAir(snapshot, set) {
  const { wind } = snapshot;
  const height = wind.height_m ? say("start.at_height", { height: formatQuantity(wind.height_m, "length", set, 2) }) : "";
  return [
    { name: say("start.wind_now"), figure: formatSure(wind.true_mps, wind.true_sd_mps, set), remark: "" },
    { name: say("start.two_minutes"), figure: formatSure(wind.mean_2min_mps, wind.mean_2min_sd_mps, set),
      remark: `${compareWind({ ...wind, mean_60s_mps: wind.mean_2min_mps }, set)}${wind.limit_mps === null ? "" : height}` },
    { name: say("start.gust"), figure: formatSure(wind.gust_3s_mps, wind.gust_3s_sd_mps, set), remark: "" },
  ];
}

/** How sure the chance is, what it rests on, and how often it came true here. */
export function describeTrust(outlook) {
  if (outlook?.state !== "known") return [];
  const [low, high] = [outlook.low, outlook.high].map((share) => Math.round(share * 10));
  const range = low === high ? say("start.range_one", { low }) : say("start.range", { low, high });
  const days = outlook.days < 1 ? say("start.shared") : say("start.own_days", { n: Math.round(outlook.days) });
  const basis = outlook.mean_min > 1 ? [say("start.long_means", { minutes: outlook.mean_min })] : [];
  return [range, days, ...basis, describeRecord(outlook.record, outlook.mean_min > 1 ? 10 : 5)];
}

/** Cases share most of their minutes with the next: how often was looked must be said beside how often it came true. */
function describeRecord(record, every) {
  if (!record || record.said === 0) return say("start.not_said_before");
  return say("start.record", { n: record.days, every, said: record.said, minutes: record.minutes, came_true: record.came_true });
}

/** For how many minutes it is asked, and why. */
export function describeNeed(need, set) {
  const { minutes } = need;
  const total = need.total_min === null ? null : Math.ceil(need.total_min);
  if (need.origin === "chosen") return `${say("start.as_chosen", { minutes })}${total === null ? "" : ` ${say("start.lawn_takes", { total })}`}`;
  if (need.origin === "usual") return say("start.no_outline", { minutes });
  const pace = formatSpeed(need.pace_mps, set);
  const fills = need.fills === 0 ? say("start.no_refill") : say("start.refills", { n: need.fills, minutes: formatNumber(need.fills_min, 2) });
  const sum = say("start.sum", {
    area: formatQuantity(need.area_m2, "area", set), pace: need.is_pace_known ? pace : say("start.assumed", { pace }),
    walk: formatNumber(need.walk_min, 2), turns: formatNumber(need.turns_min, 2), fills,
  });
  const what = need.origin === "left" ? say("start.what_is_left") : say("start.whole_lawn");
  if (need.total_min > LONGEST_MIN) return say("start.longest", { minutes, what, total, sum });
  return say("start.minutes_for", { minutes, what, sum });
}

/** When it is usually calm here, and the next such hour. */
export function describeHours(hours, now_utc) {
  const stretches = say("start.stretches", { n: hours.days, minutes: hours.minutes });
  if (hours.days < 3) return [say("start.few_days")];
  if (hours.usual.length === 0) return [say("start.no_hour", { stretches })];
  const isAlways = hours.usual.some((span) => span.to_utc - span.from_utc > WHOLE_DAY_S);
  const spans = hours.usual.map((span) => say("start.span", { from: formatHour(span.from_utc), to: formatHour(span.to_utc) }));
  const usual = isAlways ? say("start.any_hour", { stretches }) : say("start.from_hours", { spans: joinWords(spans), stretches });
  const isNow = hours.usual.some((span) => span.from_utc <= now_utc && now_utc < span.to_utc);
  if (hours.next_utc === null || isAlways) return [usual];
  const next = say("start.next_hour", { hour: formatHour(hours.next_utc), tenths: sayTenths(hours.next_share) });
  return [usual, isNow ? say("start.now_usual") : next];
}

function joinWords(words) {
  return words.length < 2 ? words.join("") : say("start.and_from", { first: words.slice(0, -1).join(", "), last: words[words.length - 1] });
}

/** Whether calm is to be mistrusted now. */
export function describeInversion(inversion, set) {
  const { sun_deg, below_mps } = inversion;
  const bound = formatSpeed(below_mps, set);
  if (sun_deg === null) return say("start.no_sun");
  const sun = sun_deg < 0 ? say("start.sun_down") : say("start.sun_high", { high: formatFixed(sun_deg, 0) });
  if (inversion.is_likely) return say("start.inversion_likely", { sun, bound });
  return sun_deg < 20 ? say("start.inversion_could", { sun, bound }) : say("start.inversion_no", { sun });
}
