// The live figures as lines of words: what it is, how much, and what that means against what is wanted.

import { describeDry } from "./dry.js";
import {
  UNKNOWN, formatFrom, formatLimit, formatNumber, formatPercent, formatQuantity, formatSpan, formatSpeed, formatTime, tellSpeeds,
} from "./format.js";
import { say } from "./say.js";
import { describeDoubts } from "./strips.js";
import { FIRST_SET, convert, unitOf } from "./units.js";

const ON_TARGET = 0.05; // within five per cent the rate needs no word of advice

/** The rate on the ground against the target. */
export function describeRate(snapshot, set) {
  const { rate_l_per_m2, target_l_per_m2, pass_l_per_m2 = target_l_per_m2, rate_percent, is_spraying } = snapshot;
  const target = formatQuantity(pass_l_per_m2, "rate", set);
  if (!is_spraying) return { name: say("lawn.rate"), figure: say("lawn.not_spraying"), remark: say("lawn.target", { target }) };
  const share = rate_percent === null ? null : rate_percent / 100 - 1;
  return {
    name: say("lawn.rate"),
    figure: formatQuantity(rate_l_per_m2, "rate", set),
    remark: share === null ? say("lawn.target", { target }) : tellShare(share, target),
  };
}

function tellShare(share, target) {
  if (Math.abs(share) < ON_TARGET) return say("lawn.on_target", { target });
  return say(`lawn.${share < 0 ? "under" : "over"}_target`, { share: formatPercent(Math.abs(share)), target });
}

/** The true wind of the last minute, its error and gust, against the limit. */
export function describeWind(snapshot, set) {
  const { wind } = snapshot;
  const figure = formatSure(wind.mean_60s_mps, wind.mean_60s_sd_mps, set);
  const verdict = compareWind(wind, set);
  return {
    name: wind.height_m ? say("lawn.wind_at", { height: formatQuantity(wind.height_m, "length", set) }) : say("lawn.wind"), figure,
    remark: wind.from_deg === null ? verdict : say("lawn.wind_from", { verdict, from: formatFrom(wind.from_deg) }),
    gust: say("lawn.gust", { gust: formatSure(wind.gust_3s_mps, wind.gust_3s_sd_mps, set) }),
  };
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
  if (wind.limit_mps === null) return say("lawn.no_limit");
  const limit = formatLimit(wind.limit_mps, wind.limit_stated, set);
  if (wind.mean_60s_mps === null) return say("lawn.limit_apart", { limit });
  const gap_mps = wind.limit_mps - wind.mean_60s_mps;
  return say(`lawn.${gap_mps >= 0 ? "below" : "above"}_limit`, { gap: formatSpeed(Math.abs(gap_mps), set), limit });
}

/** What is in the tank and how much lawn it still does. */
export function describeTank(snapshot, set) {
  const { tank_left_l, tank_l, target_l_per_m2 } = snapshot;
  const reach_m2 = target_l_per_m2 > 0 && tank_left_l !== null ? Math.max(0, tank_left_l) / target_l_per_m2 : null;
  return {
    name: say("lawn.tank"),
    figure: formatQuantity(tank_left_l, "volume", set),
    remark: say(`lawn.tank_for${snapshot.is_tank_assumed ? "_assumed" : ""}`, { size: formatQuantity(tank_l, "volume", set), area: formatQuantity(reach_m2, "area", set) }),
  };
}

/** The lawn still to do. */
export function describeArea(snapshot, set) {
  const { area_left_m2, covered_area_m2, zone_area_m2, passes_done } = snapshot;
  const covered = formatQuantity(covered_area_m2, "area", set);
  if (zone_area_m2 === null) return { name: say("lawn.covered"), figure: covered, remark: snapshot.job ? say("lawn.no_outline") : "" };
  return { name: say("lawn.left"), figure: formatQuantity(area_left_m2, "area", set), remark: say("lawn.covered_in", { covered, n: passes_done }) };
}

/** The lines of figures of an instant, the most pressing first; the steps tell the pace. */
export function describeAll(snapshot, set) {
  return [describeRate(snapshot, set), describeWind(snapshot, set), describeTank(snapshot, set), describeArea(snapshot, set)];
}

/** Link and receiver in a sentence each. */
export function describeHealth(snapshot, set) {
  const { rig, receiver, messages } = snapshot;
  const { read, missing, refused } = messages;
  return [
    { name: say("rig.rig"), text: tellLink(rig) },
    { name: say("rig.receiver"), text: tellFix(receiver, set) },
    { name: say("rig.messages"), text: say(`rig.messages_${missing + refused > 0 ? "lost" : "whole"}`, { read, missing, refused }) },
  ];
}

function tellLink({ name, link, spool_s }) {
  const state = ["online", "offline", "unknown"].includes(link) ? say(`rig.${link}`) : link;
  const parts = { rig: name ?? say("rig.no_rig"), state };
  return spool_s > 1 ? say("rig.behind", { ...parts, span: formatSpan(spool_s) }) : say("rig.link", parts);
}

function tellFix({ fix, sats, sd_m }, set) {
  if (fix === null || fix === "none") return say("rig.no_fix");
  const parts = { fix, sats: sats ?? "?" };
  return sd_m === null ? say("rig.fix", parts) : say("rig.fix_sd", { ...parts, sd: formatQuantity(sd_m, "length", set, 2) });
}

const SHAPES = { stop: "octagon", notice: "diamond", none: "circle" };

const TOLD_S = 900; // a lull's word is news for so long
const CAUTION = say("alarm.inversion");

/** The alarm as a word, a shape and a sentence; no alarm is not good air where an inversion is to be feared. */
export function describeAlarm(alarm, set = FIRST_SET, inversion = null, now_utc = null, hasLimit = true) {
  const level = alarm && Object.hasOwn(SHAPES, alarm.level) ? alarm.level : "none";
  const said = alarm ? tellSpeeds(alarm.reason, set) : say("alarm.no_word");
  const sign = { level, word: say(`alarm.${level}`), shape: SHAPES[level] };
  if (level === "none" && !hasLimit) return { ...sign, word: say("alarm.none_possible"), reason: say("alarm.no_limit") };
  if (level !== "none" || !alarm) return { ...sign, reason: said };
  const word = tellWord(said.replace(inversion?.sentence || CAUTION, "").trim(), alarm.since_utc, now_utc);
  return { ...sign, reason: [word, inversion?.is_likely ? CAUTION : ""].filter(Boolean).join(" ") };
}

/** The word of a lull is of the moment at which it opened or closed: with its time, and only while it is news. */
function tellWord(word, since_utc, now_utc) {
  if (word === "" || !Number.isFinite(since_utc)) return word;
  return now_utc !== null && now_utc - since_utc > TOLD_S ? "" : say("alarm.word_at", { time: formatTime(since_utc), word });
}

/** How old the picture is, and whether that is old enough to say it loudly. */
export function describeAge(age_s, isConnected) {
  if (age_s === null) return { isOld: true, text: say("lawn.nothing_came") };
  const isOld = age_s > 3 || !isConnected;
  const age = age_s < 1 ? say("lawn.under_a_second") : formatSpan(age_s);
  if (!isOld) return { isOld, text: say("lawn.fresh", { age }) };
  return { isOld, text: say(`lawn.old${isConnected ? "" : "_looking"}`, { age }) };
}

/** Where the rig is, how much is done and what is doubtful, for those who cannot see the drawing. */
export function describeDrawing(snapshot, set, strips = null) {
  const { position, zone_area_m2, covered_area_m2 } = snapshot;
  const place = position === null ? say("map.no_place")
    : say("map.place", { east: formatQuantity(position.east_m, "length", set), north: formatQuantity(position.north_m, "length", set) });
  const share = zone_area_m2 > 0 ? say("map.share", { share: formatNumber((100 * covered_area_m2) / zone_area_m2, 2) }) : "";
  return [say("map.drawing"), place, share, describeDry(snapshot, set), describeDoubts(strips)].filter(Boolean).join(" ");
}
