// The wind story of a job: what the alarm told then, what is known now, in spans to draw and sentences to read.

import { formatClock, formatQuantity, formatSpan, formatSpeed, tellSpeeds } from "./format.js";

const LEVELS = { none: "off", notice: "notice", stop: "stop" };
const RANK = { none: 0, notice: 1, stop: 2 };
const VERDICTS = { right: "That was right.", wrong: "That was wrong.", unsure: "Whether that was right cannot be said." };

/** Spans of seconds in which the alarm was at one level, those without an alarm left out. */
export function alarmSpans(t_s, alarm) {
  const spans = [];
  alarm.forEach((level, place) => {
    const last = spans[spans.length - 1];
    if (last && last.level === level && last.place === place - 1) {
      last.to_s = t_s[place];
      last.place = place;
    } else if (level !== "none") spans.push({ level, from_s: t_s[place], to_s: t_s[place], place });
  });
  return spans.map(({ level, from_s, to_s }) => ({ level, from_s, to_s }));
}

function listPasses(passes) {
  if (passes.length === 1) return `pass ${passes[0]}`;
  return `passes ${passes.slice(0, -1).join(", ")} and ${passes[passes.length - 1]}`;
}

/** One change of the alarm: when, what was told, what the wind was by then as known now, and whether it was right. */
export function describeChange(change, set) {
  const rises = RANK[change.level] > RANK[change.before];
  const told = change.level === "none" ? "alarm off" : `${rises ? "" : "back to "}${LEVELS[change.level]}`;
  const reason = change.level === "none" ? "" : ` “${tellSpeeds(change.reason, set)}”`;
  const wind = change.now_mps === null ? "What the wind was is not known."
    : `The 60-s mean was ${formatSpeed(change.now_mps, set)}, as known now`
      + (change.then_mps === null ? "." : ` (then: ${formatSpeed(change.then_mps, set)}).`);
  return { head: `${formatClock(change.utc)}, ${told}`, text: `${reason} ${wind} ${VERDICTS[change.verdict] ?? ""}`.trim() };
}

/** One time above the limit: how soon stop was told, and what was sprayed until then. */
export function describeExceedance(found, set) {
  const span = `${formatClock(found.start_utc)} to ${formatClock(found.end_utc)}`;
  const height = `up to ${formatSpeed(found.highest_mps, set)}`;
  const sprayed = found.sprayed_s > 0.5 ? `${formatSpan(found.sprayed_s)} of spraying, ${formatQuantity(found.volume_l, "volume", set)}`
    + (found.passes.length > 0 ? ` in ${listPasses(found.passes)}` : "") : null;
  if (found.alarm_t === null) return `${span}, ${height}: stop was never told; ${sprayed ?? "nothing was sprayed"}.`;
  if (found.late_s <= 0) return `${span}, ${height}: stop was told ${formatSpan(-found.late_s)} before the crossing.`;
  return `${span}, ${height}: stop was told ${formatSpan(found.late_s)} after the crossing; until then ${sprayed ?? "nothing was sprayed"}.`;
}

/** The story in one sentence, for those who read no further. */
export function summariseStory(story, set) {
  if (!story) return "No limit is set: there is nothing to hold the wind against.";
  const { exceedances, changes, unwarned_passes } = story;
  const wrong = changes.filter((change) => change.verdict === "wrong").length;
  const parts = [exceedances.length === 0 ? "By what is known now the 60-s mean never was above the limit."
    : `By what is known now the 60-s mean was above the limit ${exceedances.length === 1 ? "once" : `${exceedances.length} times`}.`];
  const sprayed_s = exceedances.reduce((sum, found) => sum + found.sprayed_s, 0);
  const volume_l = exceedances.reduce((sum, found) => sum + found.volume_l, 0);
  if (sprayed_s > 0.5) parts.push(`Before stop was told ${formatSpan(sprayed_s)} were sprayed above it, ${formatQuantity(volume_l, "volume", set)}.`);
  if (unwarned_passes.length > 0) parts.push(`Above the limit without a stop: ${listPasses(unwarned_passes)}.`);
  if (changes.length === 0) parts.push("The alarm never spoke.");
  else if (wrong > 0) parts.push(`${wrong} of ${changes.length} changes of the alarm ${wrong === 1 ? "was" : "were"} wrong.`);
  return parts.join(" ");
}

/** What is known of a body that shields the cup; null where nothing is. */
export function describeShield(shield) {
  if (!shield) return null;
  return `The cup seems shielded from ${shield.side} by about ${5 * Math.round(20 * shield.loss)} % or more: wind from there is told too low. Mount it above the head.`;
}
