// The pace as steps, under node --test.
import assert from "node:assert/strict";
import { test } from "node:test";
import { describeFootfall, placeFeet } from "../../server/dashboard/core/footfall.js";

const tell = (speed_mps, wanted_speed_mps) => describeFootfall({ speed_mps, wanted_speed_mps }, "l_per_ha");

test("a pace above the wanted one asks for a shorter step and one below for a longer", () => {
  assert.equal(tell(1.2, 1.0).word, "Shorter step");
  assert.match(tell(1.2, 1.0).figures, /20\u00a0% too long/);
  assert.equal(tell(0.8, 1.0).word, "Longer step");
  assert.match(tell(0.8, 1.0).figures, /20\u00a0% too short/);
  assert.equal(tell(1.04, 1.0).word, "Right step");
  assert.equal(tell(0.97, 1.0).word, "Right step");
});

test("where a pace is missing or nobody walks no step is judged", () => {
  for (const [speed, wanted] of [[null, 1], [1, null], [null, null], [0.05, 1], [1, 0]]) {
    const told = tell(speed, wanted);
    assert.equal(told.ratio, null);
    assert.ok(!/step/.test(told.word), told.word);
    assert.ok(!/NaN|null/.test(told.figures), told.figures);
  }
  assert.equal(tell(0.05, 1).word, "Standing");
  assert.match(tell(1, null).figures, /wanted is known once liquid flows/);
});

test("the gap between the prints is in true proportion to the steps", () => {
  for (const ratio of [0.5, 0.85, 1, 1.2, 1.5]) {
    const feet = placeFeet(ratio, 360);
    assert.ok(Math.abs(feet.now_px / feet.wanted_px - ratio) < 1e-12);
    assert.ok(feet.now_px + feet.foot_px <= 360 + 1e-9);
    assert.equal(feet.isBeyond, false);
  }
  const far = placeFeet(3, 360);
  assert.equal(far.isBeyond, true);
  assert.ok(far.now_px + far.foot_px <= 360 + 1e-9);
});

test("an old pace judges no step, and without a rate it is said what to do", () => {
  const told = describeFootfall({ speed_mps: 1.2, wanted_speed_mps: 1.0 }, "l_per_ha", true);
  assert.deepEqual([told.word, told.ratio], ["", null]);
  assert.match(told.figures, /^Too old/);
  assert.match(describeFootfall({ speed_mps: 1.2, wanted_speed_mps: null, target_l_per_m2: 0 }, "l_per_ha").figures, /No rate is set: choose/);
});
