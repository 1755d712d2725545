// The beat of the right step, under node --test.
import assert from "node:assert/strict";
import { test } from "node:test";
import { holdStep, judgeOff, periodOf, planTicks, ratioOf } from "../../server/dashboard/core/beat.js";

test("a pace must be well off before it is ticked, and right again before that ends", () => {
  let isOff = false;
  const told = [1.0, 1.1, 1.13, 1.08, 1.06, 1.04, 1.1, 0.87, 0.94, 0.96].map((ratio) => (isOff = judgeOff(isOff, ratio)));
  assert.deepEqual(told, [false, false, true, true, true, false, false, true, true, false]);
  assert.equal(judgeOff(true, null), false);
});

test("nothing is ticked while an alarm stands, nothing is sprayed, nobody walks or the picture is old", () => {
  const walk = { alarm: { level: "none" }, is_spraying: true, speed_mps: 1.2, wanted_speed_mps: 1.0 };
  assert.equal(ratioOf(walk, 0.4), 1.2);
  assert.equal(ratioOf({ ...walk, alarm: null }, 0.4), 1.2);
  for (const change of [{ alarm: { level: "stop" } }, { alarm: { level: "notice" } }, { is_spraying: false }, { speed_mps: 0.1 }, { speed_mps: null }, { wanted_speed_mps: null }, { wanted_speed_mps: 0 }]) {
    assert.equal(ratioOf({ ...walk, ...change }, 0.4), null);
  }
  for (const age_s of [3.1, null]) assert.equal(ratioOf(walk, age_s), null);
  assert.equal(ratioOf(null, 0), null);
});

test("the cadence gives the wanted pace at the walker's step", () => {
  assert.ok(Math.abs(periodOf(1.4, 0.7) - 0.5) < 1e-12);
  assert.equal(periodOf(0.1, 0.7), null, "no foot waits seven seconds");
  assert.equal(periodOf(9, 0.7), null);
});

test("ticks keep an even beat however often they are planned, each once", () => {
  const ticks = [];
  let next_s = null;
  for (let look = 0; look < 50; look += 1) {
    const plan = planTicks(next_s, 10 + 0.2 * look, 0.4, 0.5);
    ticks.push(...plan.ticks);
    next_s = plan.next_s;
  }
  assert.ok(ticks.length >= 20);
  ticks.slice(1).forEach((at_s, place) => assert.ok(Math.abs(at_s - ticks[place] - 0.5) < 1e-9));
});

test("after a pause nothing is caught up, and a beat that quickens does not wait for the old one", () => {
  assert.deepEqual(planTicks(10.3, 10, 0.4, null), { ticks: [], next_s: null });
  const late = planTicks(10.3, 60, 0.4, 0.5);
  assert.equal(late.ticks.length, 1);
  assert.ok(late.ticks[0] >= 60);
  assert.ok(planTicks(11.9, 10, 0.4, 0.5).next_s <= 10.9);
});

test("a step is held to what feet do", () => {
  assert.deepEqual([0.1, 0.75, 3, 0, NaN].map(holdStep), [0.4, 0.75, 1.1, null, null]);
});
