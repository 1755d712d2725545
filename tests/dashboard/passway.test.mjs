// Which pass is under a finger on the map or in a trace, and what it is in one line.
import assert from "node:assert/strict";
import { test } from "node:test";
import { describePass, passAtTime, passNear, wayOfPass } from "../../server/dashboard/core/passway.js";
import { timeAt } from "../../server/dashboard/draw/traces.js";

const PASSES = [{ pass: 1, start_s: 100, end_s: 110, length_m: 10, percent_of_target: 98.4, wind_mean_mps: 2.04, wind_verdict: "within" },
  { pass: 2, start_s: 120, end_s: 130, length_m: 10, percent_of_target: null, wind_mean_mps: null, wind_verdict: "unsure" }];
const TRACK = { t_s: [], east_m: [], north_m: [] };
for (let t = 95; t <= 135; t += 1) {
  TRACK.t_s.push(t);
  TRACK.east_m.push(t <= 115 ? 0 : 1.5);
  TRACK.north_m.push(t <= 110 ? t - 100 : t >= 120 ? 130 - t : 10);
}
TRACK.east_m[10] = null; // a fix that was not to be had

test("a pass's way is what lies between its first and last second", () => {
  const way = wayOfPass(PASSES[0], TRACK);
  assert.equal(way.length, 10, "eleven seconds, one without a fix");
  assert.deepEqual([way[0], way.at(-1)], [[0, 0], [0, 10]]);
  assert.deepEqual(wayOfPass({ start_s: undefined, end_s: undefined }, TRACK), []);
});

test("the nearest pass within reach is found, between its fixes and at its ends too", () => {
  assert.equal(passNear(PASSES, TRACK, [0.4, 4.5], 1), 1);
  assert.equal(passNear(PASSES, TRACK, [1.1, 4.5], 1), 2);
  assert.equal(passNear(PASSES, TRACK, [0.1, 5.0], 0.2), 1, "where a fix is missing");
  assert.equal(passNear(PASSES, TRACK, [0, -3], 1), null, "before the pass the way has no spray");
  assert.equal(passNear(PASSES, TRACK, [0, -0.9], 1), 1);
  assert.equal(passNear([], TRACK, [0, 0], 5), null);
});

test("a time belongs to its pass, and between two to the nearer within so many seconds", () => {
  assert.deepEqual([100, 105, 110, 125].map((t) => passAtTime(PASSES, t)), [1, 1, 1, 2]);
  assert.deepEqual([112, 118, 60, 138].map((t) => passAtTime(PASSES, t, 9)), [1, 2, null, 2]);
  assert.equal(passAtTime(PASSES, 112), null);
});

test("a trace's ends are its first and last time, and its margins are none", () => {
  const t_s = [50, 60, 250];
  assert.equal(timeAt(46, 400, t_s), 50);
  assert.equal(timeAt(388, 400, t_s), 250);
  assert.equal(timeAt(217, 400, t_s), 150);
  assert.equal(timeAt(10, 400, t_s), null);
  assert.equal(timeAt(395, 400, t_s), null);
  assert.equal(timeAt(200, 400, []), null);
});

test("a pass is told in one line, what is not known as not known", () => {
  const told = PASSES.map((pass) => describePass(pass, "l_per_100m2").replaceAll("\u00a0", " "));
  assert.deepEqual(told, ["10.0 m, 98 % of target, wind 2.0 m/s within the limit", "10.0 m, not known of target, wind not known"]);
});
