// The last half hour's wind and the coming strips on one axis of time: what goes where, and the same in words.

import { UNKNOWN, formatSpeed } from "./format.js";

export const PAST_MIN = 30;

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
  if (means.length === 0) return "No minute of the last half hour is known.";
  const gust = gusts.length > 0 ? formatSpeed(Math.max(...gusts), set) : UNKNOWN;
  const limit = outlook.limit_mps === null ? "no limit is set" : `the limit is ${formatSpeed(outlook.limit_mps, set)}`;
  const strips = planStrips(outlook.need);
  const coming = strips.length === 0 ? "" : ` To come: ${strips.filter((part) => !part.isFill).length} strips in ${outlook.need.minutes} minutes.`;
  return `Last ${PAST_MIN} minutes: means of a minute from ${formatSpeed(Math.min(...means), set)} to ${formatSpeed(Math.max(...means), set)}, `
    + `highest gust ${gust}; ${limit}.${coming}`;
}
