// The live figures as lines of words: what it is, how much, and what that means against what is wanted.

import {
  UNKNOWN, formatFrom, formatLimit, formatNumber, formatPercent, formatQuantity, formatSpan, formatSpeed, formatTime, tellSpeeds,
} from "./format.js";
import { describeDoubts } from "./strips.js";
import { FIRST_SET, convert, unitOf } from "./units.js";

const ON_TARGET = 0.05; // within five per cent the rate needs no word of advice

/** The rate on the ground against the target. */
export function describeRate(snapshot, set) {
  const { rate_l_per_m2, target_l_per_m2, pass_l_per_m2 = target_l_per_m2, rate_percent, is_spraying } = snapshot;
  const target = formatQuantity(pass_l_per_m2, "rate", set);
  if (!is_spraying) return { name: "Rate", figure: "Not spraying", remark: `Target ${target}` };
  const share = rate_percent === null ? null : rate_percent / 100 - 1;
  return {
    name: "Rate",
    figure: formatQuantity(rate_l_per_m2, "rate", set),
    remark: share === null ? `Target ${target}` : `${compareShare(share)} the target of ${target}`,
  };
}

function compareShare(share) {
  if (Math.abs(share) < ON_TARGET) return "On";
  return `${formatPercent(Math.abs(share))} ${share < 0 ? "under" : "over"}`;
}

/** The pace against the pace that gives the target. */
export function describePace(snapshot, set) {
  const { speed_mps, wanted_speed_mps } = snapshot;
  const wanted = wanted_speed_mps === null ? "The pace wanted is known once liquid flows"
    : `${advisePace(speed_mps, wanted_speed_mps)}wanted ${formatSpeed(wanted_speed_mps, set)}`;
  return { name: "Pace", figure: formatSpeed(speed_mps, set), remark: wanted };
}

function advisePace(speed_mps, wanted_mps) {
  if (speed_mps === null || wanted_mps <= 0) return "";
  const share = speed_mps / wanted_mps - 1;
  if (Math.abs(share) < ON_TARGET) return "Keep this pace; ";
  return share > 0 ? "Walk slower; " : "Walk faster; ";
}

/** The true wind of the last minute, its error and gust, against the limit. */
export function describeWind(snapshot, set) {
  const { wind } = snapshot;
  const figure = formatSure(wind.mean_60s_mps, wind.mean_60s_sd_mps, set);
  const height = wind.height_m ? ` at ${formatQuantity(wind.height_m, "length", set)}` : "";
  const from = wind.from_deg === null ? "" : `, from the ${formatFrom(wind.from_deg)}`;
  return { name: `Wind, mean of 60 s${height}`, figure, remark: `${compareWind(wind, set)}${from}`,
    gust: `Gust of 3 s: ${formatSure(wind.gust_3s_mps, wind.gust_3s_sd_mps, set)}` };
}

/** A speed with its standard deviation, where it has one. */
export function formatSure(speed_mps, sd_mps, set) {
  const speed = convert(speed_mps, "speed", set);
  const sd = convert(sd_mps, "speed", set);
  if (speed === null) return UNKNOWN;
  return `${speed.toFixed(1)}${sd === null ? "" : ` ± ${sd.toFixed(1)}`}\u00a0${unitOf("speed", set)}`;
}

/** A mean of 60 s against the limit. */
export function compareWind(wind, set) {
  if (wind.limit_mps === null) return "No limit is set";
  const limit = `limit ${formatLimit(wind.limit_mps, wind.limit_stated, set)}`;
  if (wind.mean_60s_mps === null) return `Not to be compared with the ${limit}`;
  const gap_mps = wind.limit_mps - wind.mean_60s_mps;
  return gap_mps >= 0 ? `${formatSpeed(gap_mps, set)} below the ${limit}` : `${formatSpeed(-gap_mps, set)} ABOVE the ${limit}`;
}

/** What is in the tank and how much lawn it still does. */
export function describeTank(snapshot, set) {
  const { tank_left_l, tank_l, target_l_per_m2 } = snapshot;
  const reach_m2 = target_l_per_m2 > 0 && tank_left_l !== null ? Math.max(0, tank_left_l) / target_l_per_m2 : null;
  return {
    name: "Tank left",
    figure: formatQuantity(tank_left_l, "volume", set),
    remark: `of ${formatQuantity(tank_l, "volume", set)}; enough for ${formatQuantity(reach_m2, "area", set)}`
      + (snapshot.is_tank_assumed ? ", if it was full" : ""),
  };
}

/** The lawn still to do. */
export function describeArea(snapshot, set) {
  const { area_left_m2, covered_area_m2, zone_area_m2, passes_done } = snapshot;
  const done = `${formatQuantity(covered_area_m2, "area", set)} covered in ${passes_done} ${passes_done === 1 ? "pass" : "passes"}`;
  if (zone_area_m2 === null) return { name: "Covered", figure: formatQuantity(covered_area_m2, "area", set), remark: snapshot.job ? "This job has no outline of the lawn" : "" };
  return { name: "Lawn left", figure: formatQuantity(area_left_m2, "area", set), remark: done };
}

/** The lines of figures of an instant, the most pressing first. */
export function describeAll(snapshot, set) {
  return [describeRate(snapshot, set), describePace(snapshot, set), describeWind(snapshot, set),
    describeTank(snapshot, set), describeArea(snapshot, set)];
}

/** Link and receiver in a sentence each. */
export function describeHealth(snapshot, set) {
  const { rig, receiver, messages } = snapshot;
  const links = { online: "connected", offline: "NOT connected", unknown: "not heard yet" };
  const behind = rig.spool_s > 1 ? `; ${formatSpan(rig.spool_s)} of samples still to come` : "";
  const sd = receiver.sd_m === null ? "" : `, position to ± ${formatQuantity(receiver.sd_m, "length", set, 2)}`;
  const fix = receiver.fix === null || receiver.fix === "none" ? "no position"
    : `${receiver.fix} fix, ${receiver.sats ?? "?"} satellites${sd}`;
  const lost = messages.missing + messages.refused;
  return [
    { name: "Rig", text: `${rig.name ?? "none"}: ${links[rig.link] ?? rig.link}${behind}` },
    { name: "Receiver", text: fix },
    { name: "Messages", text: `${messages.read} read` + (lost > 0 ? `, ${messages.missing} missing, ${messages.refused} refused` : ", none lost") },
  ];
}

const ALARMS = {
  stop: { word: "STOP SPRAYING", shape: "octagon" },
  notice: { word: "WATCH THE WIND", shape: "diamond" },
  none: { word: "No alarm", shape: "circle" },
};

const TOLD_S = 900; // a lull's word is news for so long
const CAUTION = "Calm under a low sun can be an inversion: fine spray hangs and drifts far.";

/** The alarm as a word, a shape and a sentence; no alarm is not good air where an inversion is to be feared. */
export function describeAlarm(alarm, set = FIRST_SET, inversion = null, now_utc = null) {
  const level = alarm && Object.hasOwn(ALARMS, alarm.level) ? alarm.level : "none";
  const said = alarm ? tellSpeeds(alarm.reason, set) : "No word about the wind yet";
  if (level !== "none" || !alarm) return { level, ...ALARMS[level], reason: said };
  const word = tellWord(said.replace(inversion?.sentence || CAUTION, "").trim(), alarm.since_utc, now_utc);
  return { level, ...ALARMS[level], reason: [word, inversion?.is_likely ? CAUTION : ""].filter(Boolean).join(" ") };
}

/** The word of a lull is of the moment at which it opened or closed: with its time, and only while it is news. */
function tellWord(word, since_utc, now_utc) {
  if (word === "" || !Number.isFinite(since_utc)) return word;
  return now_utc !== null && now_utc - since_utc > TOLD_S ? "" : `${formatTime(since_utc)}: ${word}`;
}

/** How old the picture is, and whether that is old enough to say it loudly. */
export function describeAge(age_s, isConnected) {
  if (age_s === null) return { isOld: true, text: "Nothing has come from the service yet." };
  const isOld = age_s > 3 || !isConnected;
  const age = age_s < 1 ? "under a second" : formatSpan(age_s);
  if (!isOld) return { isOld, text: `Shown: ${age} old` };
  return { isOld, text: `What you see is ${age} old${isConnected ? "" : "; looking for the service"}. Trust the sounder on the rig.` };
}

/** Where the rig is, how much is done and what is doubtful, for those who cannot see the drawing. */
export function describeDrawing(snapshot, set, strips = null) {
  const { position, zone_area_m2, covered_area_m2 } = snapshot;
  const place = position === null ? "The rig's position is not known."
    : `The rig is ${formatQuantity(position.east_m, "length", set)} east and ${formatQuantity(position.north_m, "length", set)} north of the drawing's origin.`;
  const share = zone_area_m2 > 0 ? ` ${formatNumber((100 * covered_area_m2) / zone_area_m2, 2)} % of the lawn's area is covered.` : "";
  return `Drawing of the lawn, north up. ${place}${share} ${describeDoubts(strips)}`.trimEnd();
}
