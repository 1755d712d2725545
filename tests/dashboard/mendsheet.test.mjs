// The sheet for mending: places by a tape from the edges, the pace, and what the label says to a mistake.

import assert from "node:assert/strict";
import test from "node:test";
import { describeMost, describePace, describePlace, edgesBeside, paceOf, reachEdge } from "../../server/dashboard/core/mendsheet.js";

const SET = "l_per_100m2";
const spaced = (text) => text.replaceAll("\u00a0", " ");
const LAWN = [{ kind: "zone", rings_m: [[[0, 0], [9, 0], [9, 20], [0, 20]], [[4, 9], [5, 9], [5, 11], [4, 11]]] }];

test("left and right are those of whoever walks the line", () => {
  assert.deepEqual(edgesBeside([[2, 0], [2, 6]], LAWN), { left_m: 2, right_m: 7 });
  assert.deepEqual(edgesBeside([[2, 6], [2, 0]], LAWN), { left_m: 7, right_m: 2 });
});

test("the edge of what is cut out is an edge too", () => {
  assert.deepEqual(edgesBeside([[3, 0], [3, 20]], LAWN), { left_m: 3, right_m: 1 });
});

test("where nothing is crossed nothing is told", () => {
  assert.equal(reachEdge([20, 5], [1, 0], LAWN), null);
  assert.deepEqual(edgesBeside([[1, 1], [1, 1]], LAWN), { left_m: null, right_m: null });
  assert.equal(describePlace({ kind: "patch", lines_m: [[[0, 0]]], length_m: 3 }, LAWN, 1, SET), "");
});

test("a strip is told by the nearer edge, with the time that it takes", () => {
  const strip = { kind: "gap", lines_m: [[[6.5, 0], [6.5, 6]]], length_m: 20 };
  assert.equal(spaced(describePlace(strip, LAWN, 1.25, SET)), "Its middle is 2.5 m from the edge on your right. About 16 s.");
  assert.equal(spaced(describePlace(strip, [], null, SET)), "");
});

test("the pace is the middle one of the passes", () => {
  assert.equal(paceOf([{ speed_mps: 1.4 }, { speed_mps: null }, { speed_mps: 1.2 }, { speed_mps: 1.3 }]), 1.3);
  assert.match(describePace(paceOf([]), SET), /^Walk at the pace of the job/);
  assert.match(spaced(describePace(1.3, SET)), /^Walk at 1\.3 m\/s/);
});

test("ground wetted twice by mistake is held against the label", () => {
  assert.match(describeMost({ most_times: 1.5, strictest: "Feed" }), /^Feed allows 1\.5 times.*beyond its label/);
  assert.match(describeMost({ most_times: 3, strictest: "Feed" }), /^Feed allows 3\.0 times what was planned\.$/);
  assert.match(describeMost({ most_times: null, strictest: null }), /Read the label/);
});
