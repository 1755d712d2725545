// Into the wind and with it: what a walker feels on the face is not what drifts the spray.

import { formatFixed } from "./format.js";
import { say } from "./say.js";
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
  if (apart < ALIGNED_DEG) return say("feel.into");
  return apart > 180 - ALIGNED_DEG ? say("feel.with") : say("feel.across");
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
  return [say("feel.air", { speed: figure(wind.mean_60s_mps), unit: unitOf("speed", set) }), tellNow(wind, next, figure), tellNext(wind, next, figure),
    wind.limit_mps === null ? "" : say(`feel.${judgeAir(snapshot)}`)].filter(Boolean).join(" ");
}

/** What is under the limit is no leave to spray while an alarm stands. */
function judgeAir({ wind, alarm }) {
  if (wind.mean_60s_mps > wind.limit_mps) return "too_much";
  return alarm?.level === "stop" ? "alarm" : "under";
}

function tellNow({ apparent_mps }, next, figure) {
  if (apparent_mps === null) return "";
  const parts = { speed: figure(apparent_mps), side: next?.here };
  return `${say(`feel.${next?.here ? "now_side" : "now"}`, parts)}${next === null ? "." : ";"}`;
}

function tellNext({ apparent_mps }, next, figure) {
  if (next === null) return "";
  const parts = { speed: figure(next.high_mps), low: figure(next.low_mps), side: next.side };
  return say(`feel.${apparent_mps === null ? "first_next" : "next"}_${next.side ? "side" : "range"}`, parts);
}
