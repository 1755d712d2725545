// When an alarm takes the whole screen, since when it stands, and whether calm is to be hoped for.

import { formatClock, formatHour, formatPercent, formatSpan, formatTime } from "./format.js";
import { say } from "./say.js";

/** What tells one stop from the next; null where nothing has to stop. */
export function keyOf(alarm) {
  return alarm?.level === "stop" ? `stop-${alarm.since_utc ?? "?"}` : null;
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
  const since = formatClock(alarm.since_utc);
  return Number.isFinite(now_utc) ? say("alarm.since_for", { since, span: formatSpan(now_utc - alarm.since_utc) }) : say("alarm.since", { since });
}

/** What is known of a lull: its chance, or else when it is usually calm here. */
export function describeLull(outlook) {
  if (!outlook) return say("alarm.lull_unknown");
  const { state, chance, low, high, hours } = outlook;
  if (state === "known" && Number.isFinite(chance)) {
    const parts = { minutes: outlook.need.minutes, chance: formatPercent(chance) };
    if (!Number.isFinite(low) || !Number.isFinite(high)) return say("alarm.lull", parts);
    return say("alarm.lull_between", { ...parts, low: formatPercent(low), high: formatPercent(high) });
  }
  const now_utc = outlook.at_utc;
  const span = (hours?.usual ?? []).find(({ to_utc }) => to_utc > now_utc);
  if (span && span.from_utc <= now_utc) return say("alarm.calm_now", { time: formatTime(span.to_utc) });
  if (span) return say("alarm.calm_from", { time: formatTime(span.from_utc) });
  if (Number.isFinite(hours?.next_utc)) return say("alarm.calm_next", { time: formatHour(hours.next_utc), share: formatPercent(hours.next_share), days: hours.next_days });
  return say("alarm.lull_unknown");
}
