// Will it stay calm long enough: one sentence that answers, and the reasons under it.

import { compareWind, formatSure } from "./figures.js";
import { formatFixed, formatHour, formatLimit, formatNumber, formatQuantity, formatSpeed } from "./format.js";

export const LIKELY = 0.7; // the chance from which a lull opens
export const HALF = 0.5; // and under which it closes
export const SHORTEST_MIN = 10;
export const LONGEST_MIN = 60;
const WHOLE_DAY_S = 24 * 3600 - 1;

/** A chance in tenths, as people say it. */
export function sayTenths(chance) {
  const tenths = Math.round(chance * 10);
  if (tenths === 0) return "under 1 in 10";
  return tenths === 10 ? "over 9 in 10" : `${tenths} in 10`;
}

/** The chance as a sentence without its full stop. */
export function sayChance(outlook, set) {
  const left = outlook.need.origin === "left" ? " that are left" : "";
  return `${sayTenths(outlook.chance)} that it stays under ${formatSpeed(outlook.limit_mps, set)} for the ${outlook.need.minutes} minutes${left}`;
}

const UNKNOWN_ANSWERS = {
  no_limit: ["Not to be told", "no wind limit is set. Take a treatment next whose product has one, or write the label's limit into My gear."],
  no_rig: ["Not known yet", "no rig has been heard. Switch it on and let it stand in the yard for 70 minutes."],
  silent: ["Not known", "the rig is silent. Look at its power and its link."],
  no_date: ["Not known yet", "the rig's receiver has told no date. Give it a free view of the sky, then let it stand in the yard for 70 minutes."],
  no_wind: ["Not known", "there is no wind of the last minutes. Look at the anemometer and its settings in My gear."],
};

/** The answer: a kind (for its mark), a few words, and the sentence behind them. */
export function answerStart(snapshot, outlook, set, { isConnected, isOld }) {
  if (snapshot === null) return { kind: "unknown", word: "Looking for the service…", text: "" };
  if (isOld && !isConnected) return { kind: "unknown", word: "Not known:", text: "the service cannot be reached, what you see is old." };
  if (!outlook) return { kind: "unknown", word: "Not known yet:", text: "the service is looking." };
  if (Object.hasOwn(UNKNOWN_ANSWERS, outlook.state)) {
    const [word, text] = UNKNOWN_ANSWERS[outlook.state];
    return { kind: "unknown", word: `${word}:`, text };
  }
  if (snapshot.alarm?.level === "stop" || outlook.state === "above") {
    return { kind: "no", word: "No:", text: sayTooMuch(snapshot, outlook, set) };
  }
  if (isOld) return { kind: "unknown", word: "Not known:", text: "the rig is silent, what you see is old." };
  if (outlook.state !== "known") {
    return { kind: "unknown", word: "Not known yet:",
      text: `let the rig stand in the yard for ${outlook.minutes_wanted} minutes; ${outlook.minutes_known} of them are there.` };
  }
  return weigh(snapshot, outlook, set);
}

/** Why not: of several means the one that is above is named. */
function sayTooMuch({ wind, alarm }, { limit_mps }, set) {
  const limit = formatLimit(limit_mps, wind?.limit_stated ?? null, set);
  const mean_mps = wind?.mean_60s_mps ?? null;
  if (mean_mps > limit_mps) return `the last minute's mean, ${formatSpeed(mean_mps, set)}, is above the limit of ${limit}.`;
  if (alarm?.level === "stop") return "the alarm is on. It goes off when it has been calm for a minute.";
  return `the wind of the last 10 minutes was above the limit of ${limit}.`;
}

function weigh(snapshot, outlook, set) {
  const chance = `${sayChance(outlook, set)}.`;
  if (outlook.chance < HALF) return { kind: "no", word: "Better wait:", text: chance };
  if (snapshot.alarm?.level === "notice") return { kind: "doubt", word: "Watch the wind:", text: `it is near the limit now; ${chance}` };
  if (outlook.inversion.is_likely) return { kind: "doubt", word: "Careful:", text: `${chance} But calm under a low sun can be an inversion.` };
  if (outlook.chance < LIKELY) return { kind: "doubt", word: "Uncertain:", text: chance };
  if (snapshot.faults.length > 0) return { kind: "doubt", word: "Calm, but the rig is not ready:", text: `${chance} See what is wrong below.` };
  return { kind: "yes", word: "Yes, likely:", text: chance };
}

/** The wind now, of two minutes, and its gust, each with its error. */
export function describeAir(snapshot, set) {
  const { wind } = snapshot;
  const height = wind.height_m ? ` at ${formatQuantity(wind.height_m, "length", set, 2)}` : "";
  return [
    { name: "Wind now", figure: formatSure(wind.true_mps, wind.true_sd_mps, set), remark: "" },
    { name: "Mean of the last 2 minutes", figure: formatSure(wind.mean_2min_mps, wind.mean_2min_sd_mps, set),
      remark: `${compareWind({ ...wind, mean_60s_mps: wind.mean_2min_mps }, set)}${wind.limit_mps === null ? "" : height}` },
    { name: "Gust of 3 s, last 10 minutes", figure: formatSure(wind.gust_3s_mps, wind.gust_3s_sd_mps, set), remark: "" },
  ];
}

/** How sure the chance is, what it rests on, and how often it came true here. */
export function describeTrust(outlook) {
  if (outlook?.state !== "known") return [];
  const [low, high] = [outlook.low, outlook.high].map((share) => Math.round(share * 10));
  const range = low === high ? `Nine times of ten the true chance is about ${low} in 10.` : `Nine times of ten the true chance lies between ${low} and ${high} in 10.`;
  const days = outlook.days < 1 ? "It is told from what many places share: this place's own wind counts from the second day on."
    : `${Math.round(outlook.days)} ${Math.round(outlook.days) === 1 ? "day" : "days"} of wind at this place stand behind it.`;
  const basis = outlook.mean_min > 1 ? [`It speaks of means over ${outlook.mean_min} minutes: most of the history holds no others.`] : [];
  return [range, days, ...basis, describeRecord(outlook.record, outlook.mean_min > 1 ? 10 : 5)];
}

/** Cases share most of their minutes with the next: how often was looked must be said beside how often it came true. */
function describeRecord(record, every_min) {
  if (!record || record.said === 0) return "It has not said so here before.";
  const days = `${record.days} ${record.days === 1 ? "day" : "days"}`;
  return `Looking back over ${days}, every ${every_min} minutes, it would have said so ${record.said} times here for ${record.minutes} minutes; `
    + `${record.came_true} times it stayed calm.`;
}

/** For how many minutes it is asked, and why. */
export function describeNeed(need, set) {
  const minutes = `${need.minutes} minutes`;
  if (need.origin === "chosen") return `${minutes}, as you chose.${need.total_min === null ? "" : ` The lawn takes about ${Math.ceil(need.total_min)}.`}`;
  if (need.origin === "usual") return `${minutes}, as no outline of the lawn is set. Choose another length, or draw the lawn on My lawn.`;
  const fills = need.fills === 0 ? "no refill" : `${need.fills} ${need.fills === 1 ? "refill" : "refills"} ${formatNumber(need.fills_min, 2)} min`;
  const pace = `${formatSpeed(need.pace_mps, set)}${need.is_pace_known ? "" : " (assumed)"}`;
  const sum = `${formatQuantity(need.area_m2, "area", set)} at ${pace}: walking ${formatNumber(need.walk_min, 2)} min, turns ${formatNumber(need.turns_min, 2)} min, ${fills}.`;
  const what = need.origin === "left" ? "What is left" : "The whole lawn";
  if (need.total_min > LONGEST_MIN) return `${minutes}, the longest that can be told. ${what} takes about ${Math.ceil(need.total_min)}: ${sum}`;
  return `${minutes}. ${what}, ${sum}`;
}

/** When it is usually calm here, and the next such hour. */
export function describeHours(hours, now_utc) {
  const stretches = `${hours.minutes} minutes at a time, ${hours.days} ${hours.days === 1 ? "day" : "days"} of the last 30`;
  if (hours.days < 3) return ["Not known yet: of fewer than three days nothing is called usual."];
  if (hours.usual.length === 0) return [`No hour of the day (${stretches}).`];
  const isAlways = hours.usual.some((span) => span.to_utc - span.from_utc > WHOLE_DAY_S);
  const spans = hours.usual.map((span) => `${formatHour(span.from_utc)} to ${formatHour(span.to_utc)}`);
  const usual = isAlways ? `At any hour (${stretches}).` : `From ${joinWords(spans)} (${stretches}).`;
  const isNow = hours.usual.some((span) => span.from_utc <= now_utc && now_utc < span.to_utc);
  if (hours.next_utc === null || isAlways) return [usual];
  const share = `there ${sayTenths(hours.next_share)} stretches stayed calm`;
  return [usual, isNow ? "Now is such a time." : `The next such hour begins about ${formatHour(hours.next_utc)}: ${share}.`];
}

function joinWords(words) {
  return words.length < 2 ? words.join("") : `${words.slice(0, -1).join(", ")} and from ${words[words.length - 1]}`;
}

/** Whether calm is to be mistrusted now. */
export function describeInversion(inversion, set) {
  const { sun_deg, below_mps } = inversion;
  const bound = formatSpeed(below_mps, set);
  if (sun_deg === null) return "Where the rig is or the date is not known: nothing can be said of the sun.";
  const sun = sun_deg < 0 ? "The sun is down" : `The sun stands ${formatFixed(sun_deg, 0)}° high`;
  if (inversion.is_likely) {
    return `${sun} and the wind is below ${bound}: this can be an inversion, in which fine spray hangs and drifts far. `
      + "Wait for more wind or a higher sun. One anemometer cannot see an inversion: this is a caution, not a finding.";
  }
  if (sun_deg < 20) return `${sun}: less wind than ${bound} could be an inversion, in which fine spray hangs and drifts far.`;
  return `${sun}: no inversion is to be feared for now. In the evening, at night and in the early morning calm can be one.`;
}
