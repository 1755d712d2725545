// The job played back: what there was at a moment, and in what words.
import assert from "node:assert/strict";
import { test } from "node:test";
import { Playhead, cutTrack, describeMoment, litresUntil, paceOf, positionAt } from "../../server/dashboard/core/playback.js";

const TRACK = { t_s: [10, 11, 12, 13], east_m: [0, 1, 1, null], north_m: [0, 0, 2, 2], spraying: [0, 1, 1, 0] };
const FLOW = { t_s: [0, 10, 20, 30], flow_l_per_min: [0, 6, 6, 0], speed_mps: [0, 1.2, 1.3, 0] };
const FOUND = { flow: FLOW, passes: [{ pass: 4, start_s: 5, end_s: 25 }],
  wind: { t_s: [0, 10, 20, 30], mean_60s_mps: [null, 2, 3, 4], known_60s_mps: [9, 9, 9, 9], from_deg: [null, 90, 90, 90], alarm: ["none", "none", "notice", "stop"] } };

test("the playhead stays within the job, and tells only when it moves", () => {
  const head = new Playhead(10, 13);
  const told = [];
  head.addEventListener("change", () => told.push(head.t));
  for (const t of [null, 11, 11, 99, 2, NaN]) head.move(t);
  assert.deepEqual(told, [11, 13, 10, null]);
});

test("until a moment means nothing of after it", () => {
  assert.deepEqual(cutTrack(TRACK, 12), { t_s: [10, 11], east_m: [0, 1], north_m: [0, 0], spraying: [0, 1] });
  assert.equal(cutTrack(TRACK, 5).t_s.length, 0);
  assert.equal(cutTrack(TRACK, 50).t_s.length, 4);
  assert.equal(TRACK.t_s.length, 4);
});

test("the rig is between its fixes, heads where it goes, and is nowhere without them", () => {
  assert.deepEqual(positionAt(TRACK, 10.5), { east_m: 0.5, north_m: 0, heading_deg: 90 });
  assert.deepEqual(positionAt(TRACK, 11.75), { east_m: 1, north_m: 1.5, heading_deg: 0 });
  assert.deepEqual(positionAt(TRACK, 3), { east_m: 0, north_m: 0, heading_deg: 90 }, "held at the start");
  assert.equal(positionAt(TRACK, 12.5), null);
  assert.equal(positionAt({ t_s: [], east_m: [], north_m: [] }, 1), null);
});

test("litres grow with the flow and end at the whole", () => {
  assert.equal(litresUntil(FLOW, 0), 0);
  assert.equal(litresUntil(FLOW, 10), 0.5);
  assert.equal(litresUntil(FLOW, 15), 1);
  assert.equal(litresUntil(FLOW, 99), 2);
});

test("a job of any length is played in about half a minute, at a pace that can be said", () => {
  for (const span_s of [20, 300, 3600, 4 * 3600]) {
    const played_s = span_s / paceOf(span_s);
    assert.ok(played_s <= 30 && (played_s > 11 || paceOf(span_s) === 1), `${span_s} s takes ${played_s} s`);
  }
});

test("a moment tells what was known then, not what is known now", () => {
  const told = (t) => describeMoment(FOUND, t, 0, "l_per_100m2").replaceAll("\u00a0", " ");
  assert.equal(told(20), "After 20 s: pass 4, pace 1.30 m/s, spraying 6.00 L/min, 1.50 L so far, wind as told then 3.0 m/s from the east (90°), the alarm gave notice.");
  assert.equal(told(30), "After 30 s: between passes, pace 0.00 m/s, not spraying, 2.00 L so far, wind as told then 4.0 m/s from the east (90°), the alarm said STOP.");
  assert.equal(told(0), "After 0 s: between passes, pace 0.00 m/s, not spraying, 0 L so far, wind not known then.");
});
