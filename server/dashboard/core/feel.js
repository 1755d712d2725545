// Into the wind and with it: what a walker feels on the face is not what drifts the spray.

import { formatFixed } from "./format.js";
import { convert, unitOf } from "./units.js";

const ALIGNED_DEG = 60;
const VAGUE_DEG = 45; // a direction that is less sure than that tells no side

function radians(angle_deg) {
  return (angle_deg * Math.PI) / 180;
}

/** The speed of the air past somebody who walks: wind less own movement. */
export function feelAir(wind_mps, from_deg, pace_mps, bearing_deg) {
  const against = Math.cos(radians(from_deg - bearing_deg)); // 1 straight into it, -1 with it
  return Math.sqrt(Math.max(0, wind_mps ** 2 + pace_mps ** 2 + 2 * wind_mps * pace_mps * against));
}

/** Into the wind, with it, or across it. */
export function nameSide(from_deg, bearing_deg) {
  const apart = Math.abs(((((from_deg - bearing_deg) % 360) + 540) % 360) - 180);
  if (apart < ALIGNED_DEG) return "into it";
  return apart > 180 - ALIGNED_DEG ? "with it" : "across it";
}

/** The next strip goes back the way this one came; where the wind's side is not known, from least to most. */
function foresee(snapshot) {
  const { wind, position, speed_mps, wanted_speed_mps } = snapshot;
  const pace_mps = wanted_speed_mps ?? speed_mps;
  if (wind.mean_60s_mps === null || pace_mps === null) return null;
  const heading_deg = position?.heading_deg ?? null;
  if (heading_deg === null || wind.from_deg === null || (wind.from_sd_deg ?? 0) > VAGUE_DEG) {
    return { low_mps: Math.abs(wind.mean_60s_mps - pace_mps), high_mps: wind.mean_60s_mps + pace_mps, side: "" };
  }
  const next_mps = feelAir(wind.mean_60s_mps, wind.from_deg, pace_mps, heading_deg + 180);
  return { low_mps: next_mps, high_mps: next_mps, side: nameSide(wind.from_deg, heading_deg + 180), here: nameSide(wind.from_deg, heading_deg) };
}

/** One line: the air, what is felt now, what the next strip will feel like, and the limit, which only the air is held to. */
export function describeFeel(snapshot, set) {
  const { wind } = snapshot;
  if (wind.mean_60s_mps === null) return "";
  const figure = (value_mps) => formatFixed(convert(value_mps, "speed", set), 1);
  const next = foresee(snapshot);
  const now = wind.apparent_mps === null ? "" : ` You feel ${figure(wind.apparent_mps)} now${next?.here ? `, ${next.here}` : ""};`;
  const coming = next === null ? "" : ` the next strip will feel like ${next.side ? `${figure(next.high_mps)}, ${next.side}` : `${figure(next.low_mps)} to ${figure(next.high_mps)}`}.`;
  const verdict = wind.limit_mps === null ? "" : ` The air is ${wind.mean_60s_mps > wind.limit_mps ? "too much either way" : "under the limit either way"}.`;
  return `Air ${figure(wind.mean_60s_mps)}\u00a0${unitOf("speed", set)}.${coming === "" ? now.replace(";", ".") : now}${now === "" ? coming.replace(" the", " The") : coming}${verdict}`;
}
