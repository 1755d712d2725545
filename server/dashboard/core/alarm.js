// When an alarm takes the whole screen, since when it stands, and whether calm is to be hoped for.

import { formatClock, formatHour, formatPercent, formatSpan, formatTime, tellSpeeds } from "./format.js";

/** What tells one stop from the next; null where nothing has to stop. */
export function keyOf(alarm) {
  return alarm?.level === "stop" ? `stop ${alarm.since_utc ?? "at an unknown time"}` : null;
}

/** Whether the alarm has to cover the page: a stop that nobody has seen yet, while there is something to stop. */
export function isWhole(snapshot, seen) {
  const key = keyOf(snapshot?.alarm);
  const isAtWork = snapshot?.is_spraying || ["running", "paused"].includes(snapshot?.job?.state);
  return key !== null && Boolean(isAtWork) && key !== seen;
}

/** Since when; empty where that is not known. */
export function describeSince(alarm, now_utc) {
  if (!alarm || !Number.isFinite(alarm.since_utc)) return "";
  const span = Number.isFinite(now_utc) ? `, for ${formatSpan(now_utc - alarm.since_utc)}` : "";
  return `Since ${formatClock(alarm.since_utc)}${span}.`;
}

/** What is known of a lull: its chance, or else when it is usually calm here. */
export function describeLull(outlook, set) {
  if (!outlook) return "Whether a lull comes is not known.";
  const { state, chance, low, high, hours } = outlook;
  if (state === "known" && Number.isFinite(chance)) {
    const range = Number.isFinite(low) && Number.isFinite(high) ? ` (${formatPercent(low)} to ${formatPercent(high)})` : "";
    return tellSpeeds(`Chance of a lull of ${outlook.need.minutes} min: ${formatPercent(chance)}${range}.`, set);
  }
  const now_utc = outlook.at_utc;
  const span = (hours?.usual ?? []).find(({ to_utc }) => to_utc > now_utc);
  if (span && span.from_utc <= now_utc) return `At this hour it is usually calm here, until about ${formatTime(span.to_utc)}.`;
  if (span) return `It is usually calm here from about ${formatTime(span.from_utc)}.`;
  if (Number.isFinite(hours?.next_utc)) return `The next calm is likely about ${formatHour(hours.next_utc)}: so it was on ${formatPercent(hours.next_share)} of ${hours.next_days} days.`;
  return "Whether a lull comes is not known.";
}
