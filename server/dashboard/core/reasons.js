// What holds a start back and what is in order: each a state, a name, what is so, and what to do about it.
//
// Three states, as a gate has them: "shut" holds the start back, "ajar" wants a look, "open" is in order.

import { describeAir, describeInversion, sayChance, sayTooMuch, HALF, LIKELY } from "./start.js";
import { sayLitres } from "./fill.js";
import { formatFixed, formatLimit, formatQuantity, formatSpan, sayLengths } from "./format.js";
import { TOLD } from "./receivers.js";
import { say } from "./say.js";
import { listWaits } from "./season.js";

const SLOWEST_HZ = 1.5; // below, only float and fixed receivers tell strips
const CORRECTED = ["float", "fixed"];
const SKIES = ["poor", "ordinary"]; // what a fix without corrections may be
const ENOUGH = 0.7; // of strips left out, so many told make a receiver that is relied on
const RECENT_S = 3600; // a meter that counted within the hour counts
const LATE_S = 30;
const WAITING_S = 5;
const CLOCK_S = 120;
const FEW_BYTES = 1e9;
const TOO_FEW_BYTES = 1e8;
const CUP_DAYS = 365;
const DAY_MS = 86_400_000;
const ORDER = ["shut", "ajar", "open"];
const FAULTS = [["link", /^(No rig|The rig)/], ["receiver", /receiver/], ["meter", /flow meter|flow sensor/], ["cup", /anemometer|cup|wind sensor/i]];

const reason = (state, key, text, advice = "", href = "") => ({ state, key, name: say(`reason.name_${key}`), text, advice, href });

/** Of ten strips left out, how many a class of receiver tells at a swath: measured at that swath or the next narrower one. */
export function shareTold(klass, swath_m) {
  const rows = TOLD[klass] ?? [];
  const row = rows.filter(([swath]) => swath <= swath_m + 1e-6).at(-1);
  return row === undefined ? null : row[1] / row[2];
}

/** What the receiver that is seen now can and cannot tell at this swath. */
export function judgeSight({ receiver, swath_m }, set) {
  const { fix, rate_hz } = receiver;
  if (fix === null || fix === "none") return reason("shut", "receiver", say("reason.no_fix"), say("reason.do_fix"));
  if (rate_hz !== null && rate_hz < SLOWEST_HZ && !CORRECTED.includes(fix)) {
    return reason("ajar", "receiver", say("reason.slow_fixes", { rate: formatFixed(rate_hz, 1) }), say("reason.do_rate"));
  }
  const swath = formatQuantity(swath_m, "length", set, 2);
  const classes = fix === "single" ? SKIES : [fix];
  const shares = classes.map((klass) => shareTold(klass, swath_m));
  if (shares.includes(null)) return reason("ajar", "receiver", say("reason.narrow", { fix, swath }), say("reason.do_look"), "help/");
  const [least, most] = [shares[0], shares[shares.length - 1]].map((share) => Math.round(10 * share));
  const text = fix === "single" ? say("reason.told_single", { least, most, swath }) : say("reason.told", { fix, most, swath });
  return shares[0] >= ENOUGH ? reason("open", "receiver", text) : reason("ajar", "receiver", text, say("reason.do_look"), "help/");
}

/** Whether the flow meter counts. */
export function judgeMeter({ counts }) {
  const ago_s = counts?.flow_ago_s ?? null;
  if (ago_s === null) return reason("ajar", "meter", say("reason.not_counted"), say("reason.do_squeeze"));
  const ago = formatSpan(ago_s);
  if (ago_s > RECENT_S) return reason("ajar", "meter", say("reason.counted", { ago }), say("reason.do_squeeze"));
  return reason("open", "meter", say("reason.counted", { ago }));
}

/** The wind against this treatment's limit at its height. */
export function judgeWind(snapshot, outlook, set) {
  const { wind, alarm } = snapshot;
  if (wind.limit_mps === null) return reason("shut", "wind", say("reason.no_limit"), say("reason.do_limit"), "#papers");
  const [now, two, gust] = describeAir(snapshot, set);
  const height = wind.height_m ? say("start.at_height", { height: formatQuantity(wind.height_m, "length", set, 2) }) : "";
  const limit = `${formatLimit(wind.limit_mps, wind.limit_stated ?? null, set)}${height}`;
  const text = say("reason.wind", { now: now.figure, two: two.figure, gust: gust.figure, limit });
  const isAbove = outlook?.state === "above" || alarm?.level === "stop" || wind.mean_2min_mps > wind.limit_mps;
  if (isAbove) return reason("shut", "wind", say("reason.too_much", { why: sayTooMuch(snapshot, { limit_mps: wind.limit_mps }, set), wind: text }), say("reason.do_wait"));
  if (wind.mean_2min_mps === null) return reason("shut", "wind", text, say("reason.do_cup"), "#gear/cup");
  if (alarm?.level === "notice" || wind.gust_3s_mps > wind.limit_mps) return reason("ajar", "wind", text, say("reason.do_gusts"));
  return reason("open", "wind", text);
}

/** Whether it is likely to hold. */
function judgeHold(outlook, set) {
  const { minutes_known: known, minutes_wanted: wanted } = outlook;
  if (outlook.state === "short") return [reason("ajar", "hold", say("reason.minutes_known", { known, wanted }), say("reason.do_yard", { wanted }))];
  if (outlook.state !== "known") return []; // the answer itself says what is missing
  const { record } = outlook;
  const came = record && record.said > 0 ? say("reason.came_true", { said: record.said, came_true: record.came_true }) : say("start.not_said_before");
  const text = `${sayChance(outlook, set)}. ${came}`;
  if (outlook.chance < HALF) return [reason("shut", "hold", text, say("reason.do_lull"))];
  return [outlook.chance < LIKELY ? reason("ajar", "hold", text, say("reason.do_few")) : reason("open", "hold", text)];
}

function judgeSun({ inversion }, set) {
  const text = describeInversion(inversion, set);
  return inversion.is_likely ? reason("ajar", "inversion", text, say("reason.do_inversion")) : reason("open", "inversion", text);
}

/** What the rig keeps, what the disk takes, and whether the clocks agree. */
function judgeKeeping({ rig, at_utc }, health, now_utc) {
  const found = [];
  const spool_s = rig.spool_s ?? 0;
  if (spool_s > WAITING_S) found.push(reason(spool_s > LATE_S ? "ajar" : "open", "spool", say("reason.waiting", { span: formatSpan(spool_s) }), spool_s > LATE_S ? say("reason.do_wait_spool") : ""));
  else found.push(reason("open", "spool", say("reason.nothing_waits")));
  const free = health?.store?.free_bytes ?? null;
  if (free !== null) {
    const text = say("reason.free", { free: formatFixed(free / 1e9, free < 1e10 ? 1 : 0) });
    found.push(free < FEW_BYTES ? reason(free < TOO_FEW_BYTES ? "shut" : "ajar", "disk", text, say("reason.do_disk")) : reason("open", "disk", text));
  }
  if (at_utc !== null && now_utc !== null) {
    const off_s = Math.abs(now_utc - at_utc);
    const isOff = off_s > CLOCK_S;
    found.push(isOff ? reason("ajar", "clock", say("reason.clock_off", { span: formatSpan(off_s) }), say("reason.do_clock")) : reason("open", "clock", say("reason.clock_agrees", { span: formatSpan(off_s) })));
  }
  return found;
}

/** Whether sprayer and cup are calibrated. */
function judgeCalibration(next, now_utc, set) {
  const found = [];
  if (next.due) {
    const text = sayLengths(sayLitres(next.due.sentence, set), set);
    found.push(next.due.is_due ? reason("ajar", "sprayer", text, say("reason.do_catch"), "#gear/catch") : reason("open", "sprayer", text));
  }
  const day = next.setup?.anemometer?.calibrated_on ?? null;
  const days = day === null || now_utc === null ? null : Math.floor((now_utc * 1000 - Date.parse(day)) / DAY_MS);
  if (day === null) found.push(reason("ajar", "calibrated_cup", say("reason.cup_never"), say("reason.do_cup_line"), "#gear/cup"));
  else if (days > CUP_DAYS) found.push(reason("ajar", "calibrated_cup", say("reason.cup_days", { n: days }), say("reason.do_cup_line"), "#gear/cup"));
  else found.push(reason("open", "calibrated_cup", say("reason.cup_days", { n: Math.max(0, days ?? 0) })));
  return found;
}

/** What the season wants first: work planned before the treatment that is chosen. */
function judgeOrder(next, order) {
  if (!Array.isArray(order) || order.length === 0) return [];
  const mine = order.findIndex((step) => step.treatment !== null && step.treatment === next?.choice?.treatment);
  const tell = (step) => say("reason.step", { name: step.name, day: step.day, why: step.reasons.length > 0 ? ` (${step.reasons.join("; ")})` : "" });
  if (mine > 0) return [reason("ajar", "order", say("reason.before", { steps: order.slice(0, mine).map(tell).join(", ") }), say("reason.do_order"), "#season")];
  return [reason("open", "order", say("reason.then", { steps: order.slice(0, 3).map(tell).join(", ") }))];
}

/** What was sprayed on this ground before, and how long that wants to be waited for. */
function judgeWaits(next, season) {
  return listWaits(season, next.papers)
    .map(({ kind, sentence }) => reason(kind === "interval" ? "shut" : "ajar", kind, sentence, say(`reason.do_${kind}`), "#season"));
}

const OF_WIND = ["wind", "hold", "link"];

/** What holds the start back though the wind would not; null where nothing does. */
export function findHold(reasons) {
  return reasons.find(({ state, key }) => state === "shut" && !OF_WIND.includes(key)) ?? null;
}

/** The rig's own complaints, each where it belongs. */
function judgeFaults(faults) {
  return faults.map((text) => {
    const key = FAULTS.find(([, pattern]) => pattern.test(text))?.[0] ?? "rig";
    return reason("shut", key, text, say(`reason.do_fault_${key}`));
  });
}

/** All reasons, those that hold the start back first; what is asked of the service is null where not heard. */
export function listReasons({ snapshot, outlook, next, order, season, health, now_utc }, set) {
  if (snapshot === null) return [];
  const faults = judgeFaults([...snapshot.faults, ...(outlook?.fault ? [outlook.fault] : [])]);
  const isHeard = snapshot.rig.name !== null && !faults.some(({ key }) => key === "link");
  const hasJob = Boolean(snapshot.job);
  const problem = next?.problem ? [reason("shut", "papers", say("reason.papers", { problem: next.problem }), say("reason.do_papers"), "#papers")] : [];
  const measured = isHeard ? [judgeWind(snapshot, outlook, set), judgeSight(snapshot, set), ...(hasJob ? [] : [judgeMeter(snapshot)]), ...judgeKeeping(snapshot, health, now_utc)] : [];
  const hold = outlook ? [...judgeHold(outlook, set), judgeSun(outlook, set)] : [];
  const before = hasJob || !next ? [] : [...judgeCalibration(next, now_utc, set), ...judgeWaits(next, season), ...judgeOrder(next, order)];
  const own = new Set(faults.map(({ key }) => key));
  const rest = [...measured, ...hold, ...before].filter(({ key }) => !own.has(key));
  return [...faults, ...problem, ...rest].map((each, place) => ({ ...each, place }))
    .sort((a, b) => ORDER.indexOf(a.state) - ORDER.indexOf(b.state) || a.place - b.place);
}
