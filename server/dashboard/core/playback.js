// The job played back: what there was until a moment, and what was so at it.

import { say } from "./say.js";
import { formatFixed, formatFrom, formatQuantity, formatSpan, formatSpeed } from "./format.js";
import { passAtTime } from "./passway.js";
import { placeOfTime } from "./straight.js";
import { convert, unitOf } from "./units.js";

/** The moment that is looked at, in job seconds; null is the job as a whole. Says "change" when it moves. */
export class Playhead extends EventTarget {
  constructor(from_s, to_s) {
    super();
    this.from_s = from_s;
    this.to_s = to_s;
    this.t = null;
  }

  /** Look at a moment, held within the job; null looks at the whole again. */
  move(t) {
    const wanted = t === null || !Number.isFinite(t) ? null : Math.min(this.to_s, Math.max(this.from_s, t));
    if (wanted === this.t) return;
    this.t = wanted;
    this.dispatchEvent(new Event("change"));
  }
}

/** How many times real time a job is played, so that it takes about half a minute, in steps that can be said. */
export function paceOf(span_s) {
  const wanted = span_s / 30;
  return [1, 2, 5, 10, 20, 50, 100, 200, 500, 1000].find((pace) => pace >= wanted) ?? 1000;
}

/** The way until a moment. */
export function cutTrack(track, t) {
  const count = placeOfTime(track.t_s, t);
  return { t_s: track.t_s.slice(0, count), east_m: track.east_m.slice(0, count), north_m: track.north_m.slice(0, count), spraying: track.spraying.slice(0, count) };
}

/** Where the rig was at a moment and where it went; null where that is not known. */
export function positionAt({ t_s, east_m, north_m }, t) {
  const after = Math.min(t_s.length - 1, Math.max(1, placeOfTime(t_s, t)));
  const before = after - 1;
  if (t_s.length < 2 || ![east_m[before], east_m[after], north_m[before], north_m[after]].every(Number.isFinite)) return null;
  const part = Math.min(1, Math.max(0, (t - t_s[before]) / Math.max(1e-9, t_s[after] - t_s[before])));
  const [east, north] = [east_m[after] - east_m[before], north_m[after] - north_m[before]];
  return { east_m: east_m[before] + part * east, north_m: north_m[before] + part * north, heading_deg: (Math.atan2(east, north) * 180) / Math.PI };
}

/** What flowed until a moment, from the rates told. */
export function litresUntil({ t_s, flow_l_per_min }, t) {
  let litres = 0;
  for (let k = 1; k < t_s.length && t_s[k - 1] < t; k += 1) {
    const span_s = Math.min(t, t_s[k]) - t_s[k - 1];
    litres += (((flow_l_per_min[k - 1] ?? 0) + (flow_l_per_min[k] ?? 0)) / 120) * span_s;
  }
  return litres;
}

function valueAt(t_s, values, t) {
  return t_s.length === 0 ? null : values?.[Math.min(t_s.length - 1, placeOfTime(t_s, t))] ?? null;
}

/** A moment in words: how far into the job, what was being done, what the air was. */
export function describeMoment({ passes, flow, wind }, t, from_s, set) {
  const pass = passAtTime(passes, t);
  const flow_l_per_min = valueAt(flow.t_s, flow.flow_l_per_min, t);
  const speed_mps = valueAt(flow.t_s, flow.speed_mps, t);
  const told_mps = valueAt(wind.t_s, wind.mean_60s_mps, t);
  const doing = pass === null ? say("straight.between") : say("straight.in_pass", { pass });
  const words = [say("straight.after", { span: formatSpan(t - from_s), doing })];
  if (speed_mps !== null) words.push(say("straight.pace", { number: formatFixed(convert(speed_mps, "speed", set), 2), unit: unitOf("speed", set) }));
  words.push(flow_l_per_min > 0 ? say("straight.spraying", { flow: formatQuantity(flow_l_per_min, "flow", set) }) : say("straight.not_spraying"));
  words.push(say("straight.so_far", { volume: formatQuantity(litresUntil(flow, t), "volume", set) }));
  const [speed, from_deg] = [formatSpeed(told_mps, set), valueAt(wind.t_s, wind.from_deg, t)];
  if (told_mps === null) words.push(say("straight.wind_unknown"));
  else words.push(Number.isFinite(from_deg) ? say("straight.wind_from", { speed, from: formatFrom(from_deg) }) : say("straight.wind_then", { speed }));
  const alarm = valueAt(wind.t_s, wind.alarm, t);
  if (alarm === "stop") words.push(say("straight.said_stop"));
  if (alarm === "notice") words.push(say("straight.gave_notice"));
  return `${words.join(", ")}.`;
}
