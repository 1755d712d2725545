// The last half hour's wind and the coming strips on one axis of time: what goes where, and the same in words.

import { UNKNOWN, formatSpeed } from "./format.js";
import { say } from "./say.js";

export const PAST_MIN = 30;
const ROUNDING_MIN = 1e-6;

/** The strips and refills of the minutes that are needed, from now on, in minutes; none where the lawn is not known. */
export function planStrips(need) {
  const { passes, fills, walk_min, turns_min, fills_min, minutes } = need;
  if (walk_min === null || !(passes > 0)) return [];
  const pass_min = (walk_min + turns_min) / passes;
  const fill_min = fills > 0 ? fills_min / fills : 0;
  const parts = [];
  let at = 0;
  let filled = 0;
  for (let pass = 0; pass < passes && at < minutes; pass += 1) {
    if (filled < fills && pass >= ((filled + 1) * passes) / (fills + 1)) { // tanks last equally long
      parts.push({ from_min: at, to_min: at + fill_min, isFill: true });
      at += fill_min;
      filled += 1;
    }
    parts.push({ from_min: at, to_min: at + pass_min, isFill: false });
    at += pass_min;
  }
  return parts.filter((part) => part.from_min < minutes).map((part) => ({ ...part, to_min: Math.min(part.to_min, minutes) }));
}

/** Whole strips that are likely to fit into the calm, of how many, and the minute at whose end to stop; null where not known. */
export function fitStrips(outlook) {
  const likely_min = outlook.likely_min ?? null;
  const { need } = outlook;
  const strips = planStrips(need).filter((part) => !part.isFill);
  if (likely_min === null || strips.length === 0) return null;
  const isCut = need.total_min !== null && need.total_min > need.minutes && strips[strips.length - 1].to_min >= need.minutes;
  const whole = isCut ? strips.slice(0, -1) : strips; // the last one ends with the picture, not with the strip
  const fitting = whole.filter((part) => part.to_min <= likely_min + ROUNDING_MIN);
  return { count: fitting.length, of: need.passes, stop_min: fitting.length === 0 ? null : fitting[fitting.length - 1].to_min };
}

/** How many strips are likely to fit, and where to stop; empty where nothing can be told. */
export function describeFit(outlook) {
  const fit = fitStrips(outlook);
  if (fit === null) return "";
  if (fit.count === 0) return say("rope.none_fit", { n: fit.of });
  if (fit.count === fit.of) return say("rope.all_fit", { n: fit.of });
  return say("rope.some_fit", { n: fit.count, of: fit.of, minutes: Math.floor(fit.stop_min) });
}

/** Stretches of known minutes, each with its minutes before now; a gap ends a stretch. */
export function cutRope(recent) {
  const stretches = [];
  let open = null;
  recent.mean_mps.forEach((mean_mps, place) => {
    if (mean_mps === null) {
      open = null;
      return;
    }
    if (open === null) stretches.push((open = []));
    open.push({ at_min: place + 0.5 - recent.mean_mps.length, mean_mps, gust_mps: Math.max(recent.gust_3s_mps[place] ?? mean_mps, mean_mps) });
  });
  return stretches;
}

/** The drawing in a sentence. */
export function describeRope(outlook, set) {
  const means = (outlook.recent?.mean_mps ?? []).filter((each) => each !== null);
  const gusts = (outlook.recent?.gust_3s_mps ?? []).filter((each) => each !== null);
  if (means.length === 0) return say("rope.unknown");
  const limit = outlook.limit_mps === null ? say("rope.no_limit") : say("rope.limit_is", { limit: formatSpeed(outlook.limit_mps, set) });
  const count = planStrips(outlook.need).filter((part) => !part.isFill).length;
  const coming = count === 0 ? "" : ` ${say("rope.to_come", { n: count, minutes: outlook.need.minutes })}`;
  const past = say("rope.past", {
    minutes: PAST_MIN, low: formatSpeed(Math.min(...means), set), high: formatSpeed(Math.max(...means), set),
    gust: gusts.length > 0 ? formatSpeed(Math.max(...gusts), set) : UNKNOWN, limit,
  });
  return [`${past}${coming}`, describeFit(outlook)].filter(Boolean).join(" ");
}
