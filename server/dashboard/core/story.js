// The wind story of a job: what the alarm told then, what is known now, in spans to draw and sentences to read.

import { say } from "./say.js";
import { sayLitres } from "./fill.js";
import { formatClock, formatQuantity, formatSpan, formatSpeed, sayLengths, tellSpeeds } from "./format.js";

const LEVELS = { notice: say("story.notice"), stop: say("story.stop") };
const RANK = { none: 0, notice: 1, stop: 2 };
const VERDICTS = { right: say("story.right"), wrong: say("story.wrong"), unsure: say("story.unsure") };

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
  if (passes.length === 1) return say("story.pass", { pass: passes[0] });
  return say("story.passes", { some: passes.slice(0, -1).join(", "), last: passes.at(-1) });
}

/** One change of the alarm: when, what was told, what the wind was by then as known now, and whether it was right. */
export function describeChange(change, set) {
  const rises = RANK[change.level] > RANK[change.before];
  const level = LEVELS[change.level];
  const told = change.level === "none" ? say("story.off") : rises ? level : say("story.back_to", { level });
  const reason = change.level === "none" ? "" : ` “${tellSpeeds(change.reason, set)}”`;
  const speeds = { now: formatSpeed(change.now_mps, set), then: formatSpeed(change.then_mps, set) };
  const wind = change.now_mps === null ? say("story.no_wind") : change.then_mps === null ? say("story.mean_now", speeds) : say("story.mean_then", speeds);
  return { head: `${formatClock(change.utc)}, ${told}`, text: `${reason} ${wind} ${VERDICTS[change.verdict] ?? ""}`.trim() };
}

/** One time above the limit: how soon stop was told, and what was sprayed until then. */
export function describeExceedance(found, set) {
  const span = say("story.span", { from: formatClock(found.start_utc), to: formatClock(found.end_utc) });
  const height = say("story.up_to", { speed: formatSpeed(found.highest_mps, set) });
  const what = { span: formatSpan(found.sprayed_s), volume: formatQuantity(found.volume_l, "volume", set) };
  const sprayed = !(found.sprayed_s > 0.5) ? say("story.no_spraying")
    : found.passes.length > 0 ? say("story.sprayed_in", { ...what, passes: listPasses(found.passes) }) : say("story.sprayed", what);
  if (found.alarm_t === null) return say("story.never", { span, height, sprayed });
  if (found.late_s <= 0) return say("story.early", { span, height, early: formatSpan(-found.late_s) });
  return say("story.late", { span, height, late: formatSpan(found.late_s), sprayed });
}

/** The story in one sentence, for those who read no further. */
export function summariseStory(story, set) {
  if (!story) return say("story.no_limit");
  const { exceedances, changes, unwarned_passes } = story;
  const wrong = changes.filter((change) => change.verdict === "wrong").length;
  const parts = [exceedances.length === 0 ? say("story.never_above") : say("story.above", { n: exceedances.length })];
  const sprayed_s = exceedances.reduce((sum, found) => sum + found.sprayed_s, 0);
  const volume_l = exceedances.reduce((sum, found) => sum + found.volume_l, 0);
  if (sprayed_s > 0.5) parts.push(say("story.before_stop", { span: formatSpan(sprayed_s), volume: formatQuantity(volume_l, "volume", set) }));
  if (unwarned_passes.length > 0) parts.push(say("story.unwarned", { passes: listPasses(unwarned_passes) }));
  if (changes.length === 0) parts.push(say("story.silent"));
  else if (wrong > 0) parts.push(say("story.wrong_changes", { n: wrong, count: changes.length }));
  return parts.join(" ");
}

/** What is known of a body that shields the cup; null where nothing is. */
export function describeShield(shield) {
  if (!shield) return null;
  return say("story.shield", { side: shield.side, percent: 5 * Math.round(20 * shield.loss) });
}

/** One of the service's reservations in the user's units. */
export function tellNote(note, set) {
  return sayLengths(sayLitres(tellSpeeds(note, set), set), set);
}
