// Delay on the way, told by the service's stamps; ages by two clocks of which one stops while the device sleeps.

import assert from "node:assert/strict";
import test from "node:test";

import { agoBy, emptyLag, noteStamp } from "../../server/dashboard/core/lag.js";
import { Store } from "../../server/dashboard/store.js";

const tell = (stamps) => stamps.reduce((lags, [sent_s, now_s]) => [...lags, noteStamp(lags.at(-1), sent_s, now_s)], [emptyLag()])
  .slice(1).map(({ lag_s }) => Math.round(lag_s * 100) / 100);

test("what comes in time is not late, however far the two clocks are apart", () => {
  assert.deepEqual(tell([[1000, 5], [1001, 6], [1002, 7.02]]), [0, 0, 0.02]);
});

test("what waited on the way is as late as it waited, and what overtook it is the new measure", () => {
  assert.deepEqual(tell([[1000, 5.3], [1001, 6], [1002, 17], [1003, 17.1], [1016, 21]]), [0, 0, 10, 9.1, 0]);
});

test("clocks that drift apart are no delay: four hours at 50 millionths", () => {
  const stamps = Array.from({ length: 1440 }, (_, k) => [k * 10, k * 10 * (1 + 50e-6)]);
  assert.ok(Math.max(...tell(stamps)) < 0.01);
});

test("a picture without a stamp is taken for new, and forgets nothing", () => {
  assert.deepEqual(tell([[1000, 5], [NaN, 30], [1001, 8]]), [0, 0, 2]);
});

test("an age is the longer of what the two clocks say", () => {
  assert.equal(agoBy({ run_s: 10, wall_s: 1000 }, { run_s: 11, wall_s: 1120 }), 120);
  assert.equal(agoBy({ run_s: 10, wall_s: 1000 }, { run_s: 15, wall_s: 900 }), 5);
  assert.equal(agoBy({ run_s: 10, wall_s: 1000 }, { run_s: 10, wall_s: 999 }), 0);
});

test("figures that came late are as old as that when they come", () => {
  const store = new Store();
  const snapshot = { rig: { age_s: 0.5 }, position: null, job: null };
  store.takeSnapshot(snapshot, 100, 7);
  assert.ok(Math.abs(store.ageAt(101) - 8.5) < 1e-9);
  store.takeSnapshot(snapshot, 102);
  assert.ok(Math.abs(store.ageAt(103) - 1.5) < 1e-9);
});
