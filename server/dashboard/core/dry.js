// Where the tank runs dry, in words and as a place: strips, metres into the last of them, the way back to the peg.

import { formatFixed } from "./format.js";
import { say } from "./say.js";
import { turnToWalker } from "./underfoot.js";
import { convert, unitOf } from "./units.js";

const VAGUE = 0.75; // surer than that share of a strip, or its strip is not named
const NEAR_M = 1;
const SHARES = [[0.15, "bit"], [0.29, "quarter"], [0.42, "third"], [0.58, "half"], [0.71, "two_thirds"], [0.88, "three_quarters"]];

/** The word for a share of a strip. */
export function nameShare(share) {
  return say(`dry.${SHARES.find(([below]) => share < below)?.[1] ?? "nearly_all"}`);
}

/** Whether it can be told on which strip it ends. */
function isPlaced(reach) {
  return Number.isFinite(reach?.into_m) && reach.way_sd_m <= VAGUE * Math.max(reach.lane_m, 1);
}

/** One or two sentences; empty where nothing is known of it. */
export function describeDry(snapshot, set) {
  const { reach, tank_left_l, is_tank_assumed } = snapshot;
  if (!reach) return tank_left_l === 0 && snapshot.job ? say(`dry.empty${is_tank_assumed ? "_assumed" : ""}`) : "";
  const told = `${tellWhere(snapshot, (value_m) => writeLength(value_m, set))}${tellBack(reach, set)}.`;
  return is_tank_assumed ? `${told} ${say("dry.assumed")}` : told;
}

/** Whole metres or feet: no more is known. */
function writeLength(value_m, set) {
  return `${formatFixed(Math.max(1, convert(value_m, "length", set)), 0)}\u00a0${unitOf("length", set)}`;
}

/** Whether what is left of the lawn ends surely before the tank does. */
function doesLawn({ reach, area_left_m2, swath_m, target_l_per_m2, pass_l_per_m2 = target_l_per_m2 }) {
  if (!Number.isFinite(area_left_m2) || !(swath_m > 0) || !(pass_l_per_m2 > 0)) return false;
  return ((area_left_m2 / swath_m) * target_l_per_m2) / pass_l_per_m2 < reach.way_m - 2 * reach.way_sd_m;
}

function tellWhere(snapshot, length) {
  const { reach, position } = snapshot;
  const sd = length(reach.way_sd_m);
  if (!isPlaced(reach) && doesLawn(snapshot)) return say("dry.lawn");
  if (reach.is_enough) return say("dry.enough");
  if (!Number.isFinite(reach.into_m)) return say("dry.way", { way: length(reach.way_m), sd });
  if (!isPlaced(reach)) return say("dry.strips", { n: Math.max(1, Math.round(reach.way_m / Math.max(reach.lane_m, 1))), way: length(reach.way_m), sd });
  const parts = { sd, into: length(reach.into_m), share: nameShare(reach.into_m / reach.lane_m), n: reach.lanes - (reach.is_between ? 0 : 1) };
  if (reach.lanes === 0 && !reach.is_between) {
    const ahead_m = position ? Math.hypot(reach.east_m - position.east_m, reach.north_m - position.north_m) : null;
    return ahead_m === null || ahead_m < NEAR_M ? say("dry.here", parts) : say("dry.ahead", { ...parts, ahead: length(ahead_m) });
  }
  const whole = `${reach.is_between ? "next" : "this"}${parts.n > 0 ? "_and" : ""}`;
  return say(`dry.${whole}`, parts);
}

function tellBack(reach, set) {
  if (!isPlaced(reach) || reach.is_enough || !Number.isFinite(reach.back_m)) return "";
  return say(`dry.back${reach.peg ? "_named" : ""}`, { back: writeLength(reach.back_m, set), peg: reach.peg });
}

/** Where the fuzzy line lies on the present strip as the walker sees it: metres ahead and their doubt; null where not on it. */
export function placeAhead(view, { reach, position, is_tank_assumed }) {
  if (view === null || is_tank_assumed || !position || !isPlaced(reach) || reach.lanes > 0 || reach.is_between) return null;
  const [across_m, ahead_m] = turnToWalker(position, view.bearing_deg, [reach.east_m, reach.north_m]);
  return Math.abs(across_m) > view.swath_m || ahead_m < -3 * reach.way_sd_m ? null : { ahead_m, sd_m: Math.max(reach.way_sd_m, 0.2) };
}

/** Where it lies on the map: place, the way that is walked there, doubt; null where its strip cannot be told. */
export function placeOnMap(snapshot) {
  const reach = snapshot?.reach;
  if (!reach || snapshot.is_tank_assumed || !isPlaced(reach)) return null;
  const { position } = snapshot;
  const isHere = reach.lanes === 0 && !reach.is_between && position;
  return {
    east_m: reach.east_m, north_m: reach.north_m, heading_deg: reach.heading_deg, sd_m: reach.way_sd_m, swath_m: snapshot.swath_m,
    // Not behind the walker, nor beyond the strip's ends.
    from_m: isHere ? -Math.hypot(reach.east_m - position.east_m, reach.north_m - position.north_m) : -reach.into_m,
    to_m: reach.lane_m - reach.into_m,
  };
}

/** How likely the tank is dry by a place so many standard deviations beyond the one told: the bell's sum, to a hundredth. */
export function likelyBy(deviations) {
  return 1 / (1 + Math.exp(-1.702 * deviations)); // the logistic curve nearest to it (common text-book result, from memory)
}

/** Even steps of likelihood as standard deviations from the middle: where the strokes of a fuzzy line lie. */
export function spreadLine(count) {
  return Array.from({ length: count }, (_, stroke) => {
    const share = (stroke + 0.5) / count;
    return Math.log(share / (1 - share)) / 1.702;
  });
}

/** Whether it is near enough to be told above the drawing: on this strip or the next, or empty. */
export function isNear({ reach, tank_left_l }) {
  return reach ? isPlaced(reach) && !reach.is_enough && reach.lanes <= (reach.is_between ? 0 : 1) : tank_left_l === 0;
}
