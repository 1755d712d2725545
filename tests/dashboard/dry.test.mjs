// Where the tank runs dry, under node --test.
import assert from "node:assert/strict";
import { test } from "node:test";
import { describeDry, isNear, likelyBy, nameShare, placeAhead, placeOnMap, spreadLine } from "../../server/dashboard/core/dry.js";

const reach = {
  way_m: 34, way_sd_m: 6, is_between: false, is_enough: false, lanes: 1, into_m: 14, lane_m: 40, east_m: 8, north_m: 1, heading_deg: 90, peg: "A", back_m: 31,
};
const room = { reach, tank_left_l: 1.7, is_tank_assumed: false, position: { east_m: 17, north_m: 0 }, swath_m: 1, job: {} };
const tell = (change = {}, more = {}, set = "l_per_100m2") => describeDry({ ...room, reach: { ...reach, ...change }, ...more }, set);

test("it is told in strips, metres into the last of them, and the way back to the peg", () => {
  assert.equal(tell(), "The tank does this strip and a third of the next: it ends about 14\u00a0m into it, ±\u00a06\u00a0m; from there 31\u00a0m back to peg A.");
  assert.match(tell({ lanes: 3 }), /^The tank does this strip, 2 more and a third of the next: it ends about 14\u00a0m into that/);
  assert.match(tell({ is_between: true, lanes: 0 }), /^The tank does a third of the next strip:/);
  assert.match(tell({ is_between: true, lanes: 1 }), /^The tank does 1 more strip and a third of the next/);
  assert.match(tell({ is_between: true, lanes: 2 }), /^The tank does 2 more strips and a third/);
  assert.match(tell({ peg: "" }), /31\u00a0m back to the peg\.$/);
  assert.match(tell({ peg: null, back_m: null }), /±\u00a06\u00a0m\.$/);
  assert.match(tell({}, {}, "gal_per_acre"), /about 46\u00a0ft into it, ±\u00a020\u00a0ft; from there 102\u00a0ft/);
});

test("on the present strip it is told how far ahead", () => {
  assert.match(tell({ lanes: 0 }), /^The tank runs dry on this strip, about 9\u00a0m ahead, ±\u00a06\u00a0m/);
  assert.match(tell({ lanes: 0, east_m: 17.2, north_m: 0 }), /^The tank runs dry about here/);
  assert.match(tell({ lanes: 0 }, { position: null }), /about here/);
});

test("what is not sure enough names no place, and what cannot be told says so", () => {
  assert.match(tell({ way_sd_m: 35, way_m: 130 }), /^The tank does about 3 more strips: 130\u00a0m ±\u00a035\u00a0m\.$/);
  assert.match(tell({ into_m: null, lane_m: null }), /^The tank does about 34\u00a0m more, ±\u00a06\u00a0m; where that ends cannot be told\.$/);
  assert.match(tell({ is_enough: true, into_m: null }), /^The tank does the strips that are left here\.$/);
  assert.match(tell({}, { is_tank_assumed: true }), /peg A\. So it is if the tank was full at the start\.$/);
  assert.equal(describeDry({ ...room, reach: null }, "l_per_ha"), "");
  assert.equal(describeDry({ ...room, reach: undefined }, "l_per_ha"), "");
  assert.match(describeDry({ ...room, reach: null, tank_left_l: 0 }, "l_per_ha"), /^By the meter the tank is empty: fill it/);
  assert.match(describeDry({ ...room, reach: null, tank_left_l: 0, is_tank_assumed: true }, "l_per_ha"), /^If it was full/);
});

test("where the lawn ends surely before the tank, that is all that is told", () => {
  const lawn = { area_left_m2: 100, target_l_per_m2: 0.04 };
  const far = { way_m: 130, way_sd_m: 10, into_m: null };
  assert.equal(tell(far, lawn), "The tank does the rest of the lawn.");
  assert.match(tell({ ...far, way_sd_m: 20 }, lawn), /^The tank does about 130/);
  assert.match(tell(far, { ...lawn, pass_l_per_m2: 0.02 }), /^The tank does about 130/);
  assert.match(tell(far, { ...lawn, area_left_m2: null }), /^The tank does about 130/);
});

test("shares have words", () => {
  assert.deepEqual([0.05, 0.25, 0.33, 0.5, 0.66, 0.75, 0.95].map(nameShare), ["a bit", "a quarter", "a third", "half", "two thirds", "three quarters", "nearly all"]);
});

test("the fuzzy line lies on the strip underfoot only where it is on it", () => {
  const view = { bearing_deg: 270, swath_m: 1 };
  const here = { ...room, reach: { ...reach, lanes: 0, east_m: 8, north_m: 0 } };
  const line = placeAhead(view, here);
  assert.ok(Math.abs(line.ahead_m - 9) < 1e-9);
  assert.equal(line.sd_m, 6);
  for (const other of [room, { ...here, is_tank_assumed: true }, { ...here, position: null }, { ...here, reach: null }, { ...here, reach: { ...here.reach, north_m: 3 } },
    { ...here, reach: { ...here.reach, way_sd_m: 60 } }]) assert.equal(placeAhead(view, other), null);
  assert.equal(placeAhead(null, here), null);
});

test("on the map it lies wherever its strip can be told", () => {
  assert.deepEqual(placeOnMap(room), { east_m: 8, north_m: 1, heading_deg: 90, sd_m: 6, swath_m: 1, from_m: -14, to_m: 26 });
  const here = placeOnMap({ ...room, reach: { ...reach, lanes: 0, east_m: 12, north_m: 0 } });
  assert.deepEqual([here.from_m, here.to_m], [-5, 26]);
  for (const other of [null, { ...room, reach: null }, { ...room, is_tank_assumed: true }, { ...room, reach: { ...reach, way_sd_m: 60 } }]) assert.equal(placeOnMap(other), null);
});

test("a fuzzy line is densest in its middle and follows the bell", () => {
  // Standard normal distribution function: 0.8413 at 1, 0.9772 at 2 (published tables).
  for (const [deviations, wanted] of [[0, 0.5], [1, 0.8413], [-1, 0.1587], [2, 0.9772]]) assert.ok(Math.abs(likelyBy(deviations) - wanted) < 0.01);
  const line = spreadLine(21);
  assert.ok(Math.abs(line[10]) < 1e-9);
  assert.ok(line[11] - line[10] < line[20] - line[19]);
  assert.ok(line.every((each) => Math.abs(likelyBy(each) - (line.indexOf(each) + 0.5) / 21) < 1e-9));
});

test("what is near is told above the drawing", () => {
  assert.equal(isNear(room), true);
  assert.equal(isNear({ ...room, reach: { ...reach, lanes: 2 } }), false);
  assert.equal(isNear({ ...room, reach: { ...reach, is_between: true } }), false);
  assert.equal(isNear({ ...room, reach: { ...reach, way_sd_m: 60 } }), false);
  assert.equal(isNear({ reach: null, tank_left_l: 0 }), true);
  assert.equal(isNear({ reach: null, tank_left_l: 3 }), false);
});
