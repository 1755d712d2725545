// The pace as steps: at an even beat a step is as long as the pace is fast.

import { formatPercent, formatSpeed } from "./format.js";
import { say } from "./say.js";

const RIGHT = 0.05; // within five per cent no foot can do better
const STANDING_MPS = 0.2;
const LONGEST = 1.5; // a step beyond that leaves the drawing, and is told

/** The word for the next step and the figures behind it; `ratio` is now to wanted, null where they cannot be compared. */
export function describeFootfall(snapshot, set, isOld = false) {
  const { speed_mps, wanted_speed_mps, target_l_per_m2 } = snapshot;
  if (isOld) return { word: "", figures: say("step.too_old"), ratio: null };
  const now = formatSpeed(speed_mps, set);
  if (target_l_per_m2 === 0) return { word: "", figures: say("step.no_target", { now }), ratio: null };
  if (!(wanted_speed_mps > 0)) return { word: "", figures: say("step.no_flow", { now }), ratio: null };
  const wanted = formatSpeed(wanted_speed_mps, set);
  if (speed_mps === null) return { word: "", figures: say("step.no_pace", { wanted }), ratio: null };
  if (speed_mps < STANDING_MPS) return { word: say("step.standing"), figures: say("step.figures", { now, wanted }), ratio: null };
  const ratio = speed_mps / wanted_speed_mps;
  const off = formatPercent(Math.abs(ratio - 1));
  if (Math.abs(ratio - 1) < RIGHT) return { word: say("step.right"), figures: say("step.figures", { now, wanted }), ratio };
  if (ratio > 1) return { word: say("step.shorter"), figures: say("step.too_long", { now, wanted, off }), ratio };
  return { word: say("step.longer"), figures: say("step.too_short", { now, wanted, off }), ratio };
}

/** Where the heels stand along a width: the foot behind, the foot now, the foot wanted; the gap in true proportion. */
export function placeFeet(ratio, width_px) {
  const foot_px = width_px * 0.24;
  const wanted_px = (width_px - foot_px) / LONGEST;
  return { foot_px, behind_px: 0, wanted_px, now_px: wanted_px * Math.min(ratio, LONGEST), isBeyond: ratio > LONGEST };
}
