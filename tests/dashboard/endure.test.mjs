// Long jobs: a way of hours as few lines, a map that tells what changed, whole ones that come packed.

import assert from "node:assert/strict";
import test from "node:test";

import { changedSince, emptyDose, emptyTrack, patchDose, patchTrack } from "../../server/dashboard/core/dose.js";
import { boundsOf } from "../../server/dashboard/core/geometry.js";
import { emptyTrail, growTrail, pointsOf } from "../../server/dashboard/core/trail.js";

const pack = (values) => Buffer.from(values.buffer).toString("base64");

/** Up and down strips of 100 m with a little noise, a point a step, the spray off in the turns. */
function walkStrips(strips, step_m = 0.08) {
  const track = emptyTrack();
  for (let strip = 0; strip < strips; strip += 1) {
    const count = Math.round(100 / step_m);
    for (let k = 0; k <= count; k += 1) {
      const along_m = strip % 2 === 0 ? k * step_m : 100 - k * step_m;
      const noise_m = 0.01 * Math.sin(k * 12.9898 + strip);
      patchTrack(track, { reset: false, east_m: [strip + noise_m], north_m: [along_m], spraying: [k === 0 ? 0 : 1] });
    }
  }
  return track;
}

/** How far a point lies from the nearest of some lines. */
function farFrom([x, y], lines) {
  let least = Infinity;
  for (const line of lines) {
    for (let k = 1; k < line.length; k += 1) {
      const [[ax, ay], [bx, by]] = [line[k - 1], line[k]];
      const squared = (bx - ax) ** 2 + (by - ay) ** 2;
      const share = squared === 0 ? 0 : Math.min(1, Math.max(0, ((x - ax) * (bx - ax) + (y - ay) * (by - ay)) / squared));
      least = Math.min(least, Math.hypot(x - ax - share * (bx - ax), y - ay - share * (by - ay)));
    }
  }
  return least;
}

test("a way of many points is drawn by few corners, and none of its points lies off the lines by more than the tolerance", () => {
  const track = walkStrips(6);
  const trail = growTrail(emptyTrail(0.05), track);
  const lines = trail.runs.map((run) => pointsOf(run, track));
  const corners = lines.reduce((sum, line) => sum + line.length, 0);
  assert.ok(track.east_m.length > 7000);
  assert.ok(corners < 60, `${corners} corners`);
  for (let place = 0; place < track.east_m.length; place += 7) {
    assert.ok(farFrom([track.east_m[place], track.north_m[place]], lines) <= 0.1, `point ${place}`);
  }
});

test("corners of a bent way stay, and a way that comes back is not cut short", () => {
  const round = emptyTrack();
  for (let k = 0; k <= 720; k += 1) {
    const angle = (k * Math.PI) / 360;
    patchTrack(round, { reset: false, east_m: [5 * Math.cos(angle)], north_m: [5 * Math.sin(angle)], spraying: [1] });
  }
  const lines = growTrail(emptyTrail(0.05), round).runs.map((run) => pointsOf(run, round));
  round.east_m.forEach((east_m, place) => assert.ok(farFrom([east_m, round.north_m[place]], lines) <= 0.1));
  const back = patchTrack(emptyTrack(), { reset: true, east_m: [0, 1, 2, 3, 2, 1], north_m: [0, 0, 0, 0, 0, 0], spraying: [1, 1, 1, 1, 1, 1] });
  assert.deepEqual(pointsOf(growTrail(emptyTrail(0.1), back).runs[0], back), [[0, 0], [3, 0], [1, 0]]);
});

test("a trail that grows is the same as one that is made at once", () => {
  const whole = walkStrips(2);
  const grown = emptyTrack();
  const trail = emptyTrail(0.05);
  for (let first = 0; first < whole.east_m.length; first += 10) {
    patchTrack(grown, { reset: false, ...Object.fromEntries(["east_m", "north_m", "spraying"].map((name) => [name, whole[name].slice(first, first + 10)])) });
    growTrail(trail, grown);
  }
  assert.deepEqual(trail, growTrail(emptyTrail(0.05), whole));
});

test("from a place of the way on only what comes after it is drawn", () => {
  const track = walkStrips(3);
  const trail = growTrail(emptyTrail(0.05), track);
  const sprayed = trail.runs.filter(({ isSpraying }) => isSpraying);
  const from = sprayed[1].at[0] + 3;
  assert.deepEqual(pointsOf(sprayed[0], track, from), []);
  assert.ok(pointsOf(sprayed[1], track, from).length >= 2);
  assert.deepEqual(pointsOf(sprayed[2], track, from), pointsOf(sprayed[2], track));
  assert.deepEqual(pointsOf(sprayed[2], track, Infinity), []);
});

test("the box of a way grows with it and is what bounds the drawing", () => {
  const track = walkStrips(2);
  const { box, ...bare } = track;
  assert.deepEqual(boundsOf({ track }), boundsOf({ track: bare }));
  assert.equal(boundsOf({ track: emptyTrack() }), null);
});

test("a packed way and a packed map are what was packed", () => {
  const told = { reset: true, east_mm: pack(Int32Array.of(-1500, 2)), north_mm: pack(Int32Array.of(0, 70_000)), spraying: pack(Uint8Array.of(0, 1)) };
  const track = patchTrack(emptyTrack(), told);
  assert.deepEqual([track.east_m, track.north_m, track.spraying], [[-1.5, 0.002], [0, 70], [0, 1]]);
  const frame = { x0_m: 1, y0_m: 2, cell_m: 0.5, nx: 2, ny: 2 };
  const dose = patchDose(emptyDose(), { reset: true, ...frame, step_l_per_m2: 0.001, steps: pack(Uint16Array.of(0, 40, 65535, 7)) });
  assert.deepEqual([...dose.l_per_m2].map((value) => Math.round(value * 1000)), [0, 40, 65535, 7]);
});

test("a map tells which cells changed since it was drawn, and when that is no longer known", () => {
  const frame = { x0_m: 0, y0_m: 0, cell_m: 0.1, nx: 10, ny: 10 };
  let dose = patchDose(emptyDose(), { reset: true, ...frame, cells: [], l_per_m2: [] });
  const drawn = dose.revision;
  assert.equal(changedSince(dose, drawn).east, -Infinity);
  dose = patchDose(dose, { reset: false, ...frame, cells: [12, 34], l_per_m2: [1, 1] });
  dose = patchDose(dose, { reset: false, ...frame, cells: [55], l_per_m2: [1] });
  assert.deepEqual(changedSince(dose, drawn), { west: 2, south: 1, east: 6, north: 6 });
  assert.deepEqual(changedSince(dose, dose.revision - 1), { west: 5, south: 5, east: 6, north: 6 });
  const again = patchDose(dose, { reset: true, ...frame, cells: [], l_per_m2: [] });
  assert.equal(changedSince(again, dose.revision), null);
  for (let k = 0; k < 100; k += 1) dose = patchDose(dose, { reset: false, ...frame, cells: [k], l_per_m2: [1] });
  assert.equal(changedSince(dose, drawn), null);
});
