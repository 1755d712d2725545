// Two jobs beside each other: one plane, one scale, and words that say what chance would do.

import assert from "node:assert/strict";
import test from "node:test";
import { describeCorner, describePlaces, describeTogether, findWorst, heightFor, readPair, shareView, shiftJob, summariseMissed, tabulateBeside } from "../../server/dashboard/core/beside.js";
import { project } from "../../server/dashboard/core/geometry.js";

const SET = "l_per_100m2";
const spaced = (text) => text.replaceAll("\u00a0", " ");
const job = (number, more) => ({ job: number, name: `Job ${number}`, start_utc: 1.8e9, volume_l: 10, volume_sd_l: 0.1, target_l_per_m2: 0.02, track_sd_m: 0.1,
  wind: { mean_mps: 2, gust_mps: 4 }, ...more });
const ninths = (place, area_m2) => Array.from({ length: 9 }, (_, k) => (k === place ? area_m2 : 0));
const FOUND = { jobs: [job(1), job(2, { volume_l: 12 })], ground_m2: 100, missed_m2: [20, 10], missed_both_m2: 8, missed_by_chance_m2: 2, doubled_m2: [0, 5],
  doubled_both_m2: 0, mean_share: [0.8, 1], mean_share_together: 0.9, together_under_m2: 20, together_on_target_m2: 75, together_over_m2: 5, place_sd_m: 0.14,
  wanted_ninths_m2: Array(9).fill(11), season: [{ job: 1, missed_ninths_m2: ninths(8, 5) }, { job: 2, missed_ninths_m2: ninths(8, 4) }, { job: 3, missed_ninths_m2: ninths(0, 3) }] };

test("an address of two jobs is read, and one of anything else is none", () => {
  assert.deepEqual(readPair("3+15"), [3, 15]);
  for (const other of ["3", "3+3", "3+", "a+b", "3+4+5", undefined]) assert.equal(readPair(other), null);
});

test("the second job is moved onto the first one's plane, gaps in its way staying gaps", () => {
  const moved = shiftJob({ dose: { x0_m: 1, y0_m: 2, nx: 3 }, track: { east_m: [0, null], north_m: [5, null], t_s: [0, 1] } }, [10, -1]);
  assert.deepEqual([moved.dose.x0_m, moved.dose.y0_m, moved.dose.nx], [11, 1, 3]);
  assert.deepEqual([moved.track.east_m, moved.track.north_m, moved.track.t_s], [[10, null], [4, null], [0, 1]]);
});

test("both drawings show all of both jobs, and one place of the ground at one place of each", () => {
  const scenes = [{ track: { east_m: [0, 10], north_m: [0, 10] } }, { track: { east_m: [5, 20], north_m: [-5, 5] } }];
  const view = shareView(scenes, 400, 300, 30);
  for (const [east_m, north_m] of [[0, 0], [10, 10], [20, 5], [5, -5]]) {
    const [x, y] = project(view, east_m, north_m);
    assert.ok(x >= 30 - 1e-9 && x <= 370 + 1e-9 && y >= 30 - 1e-9 && y <= 270 + 1e-9);
  }
  assert.equal(shareView([{ }], 400, 300, 30), null);
  assert.equal(heightFor(scenes, 400, 30, [100, 900]), Math.round(15 * (340 / 20) + 60));
  assert.equal(heightFor(scenes, 4000, 30, [100, 900]), 900);
});

test("what was missed both times is held against chance", () => {
  assert.match(spaced(summariseMissed(FOUND, SET)), /^8\.0 m² were missed both times\. By chance it would be 2\.0 m²: the same places/);
  assert.match(summariseMissed({ ...FOUND, missed_by_chance_m2: 6 }, SET), /chance alone/);
  assert.match(summariseMissed({ ...FOUND, missed_both_m2: 0 }, SET), /No ground was missed both times/);
  assert.match(summariseMissed({ ...FOUND, missed_m2: [0, 0.1], missed_both_m2: 0 }, SET), /Neither/);
});

test("the corner is named by how many jobs missed it", () => {
  assert.deepEqual([findWorst(FOUND).place, findWorst(FOUND).count], ["north_east", 2]);
  assert.equal(describeCorner(FOUND), "Often: the north-east corner was missed in part in 2 of 3 jobs.");
  assert.match(describeCorner({ ...FOUND, season: FOUND.season.slice(0, 2) }), /^Yes: the north-east corner was missed in part in all 2 jobs/);
  assert.match(describeCorner({ ...FOUND, season: [FOUND.season[0], { missed_ninths_m2: ninths(0, 3) }] }), /^No: .* in one of 2 jobs only/);
  assert.match(describeCorner({ ...FOUND, season: [{ missed_ninths_m2: ninths(8, 0.4) }, { missed_ninths_m2: ninths(1, 0.4) }] }), /any of 2 jobs/);
});

test("a whole side that is missed is called a side and not a corner", () => {
  const east = { missed_ninths_m2: [0, 0, 5, 0, 0, 4, 0, 0, 4] };
  assert.match(describeCorner({ ...FOUND, season: [east, east] }), /^Yes: the east side/);
});

test("the table tells both and both together, in the reader's units", () => {
  const rows = Object.fromEntries(tabulateBeside(FOUND, SET).map(([name, ...cells]) => [name, cells.map(spaced)]));
  assert.deepEqual(rows.Liquid, ["10.0 L ± 0.2 L", "12.0 L ± 0.2 L", "22.0 L"]);
  assert.deepEqual(rows.Missed, ["20 m²", "10 m²", "8.0 m²"]);
  assert.deepEqual(rows["Mean, of what was wanted"], ["80 %", "100 %", "90 %"]);
  assert.match(spaced(describeTogether(FOUND, SET)), /75 % what both wanted, 20 % less and 5 % more/);
  assert.match(spaced(describePlaces(FOUND, SET)), /± 0\.14 m/);
  assert.match(describePlaces({ place_sd_m: null }, SET), /not known/);
});
