// The beat of the right step: the cadence that gives the wanted pace at the walker's own step, only while the pace is off.

export const STEP_M = { first: 0.7, least: 0.4, most: 1.1 }; // from one foot to the other (common practice, no source)
const OFF = 0.12;
const RIGHT = 0.05;
const STANDING_MPS = 0.2;
const OLD_S = 3;
const PERIOD_S = { least: 0.25, most: 2 };
const LEAD_S = 0.05;

/** Whether the pace is off: it must be well off to begin, and right again to end. */
export function judgeOff(wasOff, ratio) {
  if (ratio === null || !Number.isFinite(ratio)) return false;
  return Math.abs(ratio - 1) > (wasOff ? RIGHT : OFF);
}

/** The pace now to the one wanted; null where no step is to be told: nothing sprayed, standing, old, or an alarm stands. */
export function ratioOf(snapshot, age_s) {
  if (!snapshot || age_s === null || age_s > OLD_S || (snapshot.alarm?.level ?? "none") !== "none") return null;
  const { is_spraying, speed_mps, wanted_speed_mps } = snapshot;
  if (!is_spraying || speed_mps === null || speed_mps < STANDING_MPS || !(wanted_speed_mps > 0)) return null;
  return speed_mps / wanted_speed_mps;
}

/** From one step to the next; null where no foot can do that. */
export function periodOf(wanted_mps, step_m) {
  const period_s = step_m / wanted_mps;
  return period_s >= PERIOD_S.least && period_s <= PERIOD_S.most ? period_s : null;
}

/** The ticks within the next stretch of time, and when the one after them is due: an even beat, also as the pace wanted drifts. */
export function planTicks(next_s, now_s, ahead_s, period_s) {
  if (period_s === null) return { ticks: [], next_s: null };
  const ticks = [];
  let due_s = next_s === null || next_s < now_s ? now_s + LEAD_S : Math.min(next_s, now_s + ahead_s + period_s);
  while (due_s < now_s + ahead_s) {
    ticks.push(due_s);
    due_s += period_s;
  }
  return { ticks, next_s: due_s };
}

/** A step's length as typed, held to what feet do; null where it is no number. */
export function holdStep(step_m) {
  return Number.isFinite(step_m) && step_m > 0 ? Math.min(STEP_M.most, Math.max(STEP_M.least, step_m)) : null;
}
