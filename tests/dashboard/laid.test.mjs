// The dose along the way, under node --test.
import assert from "node:assert/strict";
import { test } from "node:test";
import { laidDose, measureDose } from "../../server/dashboard/core/laid.js";

test("the dose of a moment is flow by pace and swath", () => {
  // 1.2 L a minute over 1 m at 1 m/s: 0.02 L on a square metre, worked by hand.
  const [dose] = laidDose({ flow_l_per_min: [1.2], speed_mps: [1.0] }, 1.0);
  assert.ok(Math.abs(dose - 0.02) < 1e-12);
  const [narrow] = laidDose({ flow_l_per_min: [1.2], speed_mps: [2.0] }, 0.5);
  assert.ok(Math.abs(narrow - 0.02) < 1e-12);
});

test("where nothing flows, nobody walks, or either is not known there is no dose", () => {
  const laid = laidDose({ flow_l_per_min: [0, 1, 1, null, 1], speed_mps: [1, 0.1, null, 1, 1] }, 1);
  assert.deepEqual(laid.slice(0, 4), [null, null, null, null]);
  assert.notEqual(laid[4], null);
});

test("the median and the nine tenths are of what was told alone", () => {
  assert.deepEqual(measureDose([null, null]), { median: null, high: null });
  assert.deepEqual(measureDose([3, null, 1, 2]), { median: 2, high: 3 });
  assert.deepEqual(measureDose([1, 2, 3, 4, 5, 6, 7, 8, 9, 10]), { median: 5.5, high: 9 });
});
