// The straightened lawn's pure part, and the pass that is looked at.
import assert from "node:assert/strict";
import { test } from "node:test";
import { Choice } from "../../server/dashboard/core/choice.js";
import {
  describeStrip, foldOf, hitStrip, joinBins, layRows, placeAlong, placeOfTime, shareAt, straighten,
} from "../../server/dashboard/core/straight.js";

const close = (found, wanted, tolerance) => assert.ok(Math.abs(found - wanted) <= tolerance, `${found} is not ${wanted} ± ${tolerance}`);

const SWATH_M = 2;
const PACE_MPS = 1;
const TARGET = 0.02; // at 1 m/s and 2 m that is 0.04 L/s, 2.4 L/min

/** Two passes of 20 m, one north and one back, a fix a second; the flow stops between 8 and 12 m of the first. */
function walkTwice({ turned = false } = {}) {
  const track = { t_s: [], east_m: [], north_m: [] };
  const flow = { flow_l_per_min: [] };
  for (let t = 0; t <= 50; t += 1) {
    const north = t <= 20 ? t : t < 30 ? 20 : 50 - t;
    track.t_s.push(100 + t);
    track.east_m.push(turned ? north : t <= 20 ? 1 : 4);
    track.north_m.push(turned ? (t <= 20 ? 1 : 4) : north);
    flow.flow_l_per_min.push(t > 20 && t < 30 ? 0 : t > 8 && t < 12 ? 0 : t <= 20 ? 2.4 : 1.2);
  }
  const pass = (number, start_s, heading_deg, percent) => ({ pass: number, start_s, end_s: start_s + 20, length_m: 20, heading_deg: heading_deg + (turned ? 90 : 0),
    percent_of_target: percent, dose_l_per_m2: (TARGET * percent) / 100, wind_verdict: "within", wind_mean_mps: 2, speed_mps: PACE_MPS });
  const dose = { x0_m: 0, y0_m: 0, cell_m: 1, nx: 30, ny: 30, l_per_m2: new Float32Array(900) };
  for (let row = 0; row < 5; row += 1) for (let column = 0; column < 2; column += 1) dose.l_per_m2[row * 30 + column] = 2 * TARGET;
  const wind = { t_s: track.t_s, mean_60s_mps: track.t_s.map((t) => (t - 100) / 10), limit_mps: 4 };
  const pairs = [{ pass_a: 1, pass_b: 2, verdict: "gap", from_m: 5, to_m: 15, probability: 0.93, spacing_m: 3 },
    { pass_a: 1, pass_b: 2, verdict: "even", from_m: 0, to_m: 5, probability: 1, spacing_m: 2 }];
  return { passes: [pass(1, 100, 0, 85), pass(2, 130, 180, 50)], pairs, track, flow, dose, wind, target_l_per_m2: TARGET, swath_m: SWATH_M };
}

test("each metre of a strip holds what flowed while it was walked", () => {
  const { strips } = straighten(walkTwice());
  assert.equal(strips.length, 2);
  const [first, second] = strips;
  assert.equal(first.bins.length, 20);
  close(first.bins[3].share, 1, 1e-9);
  close(first.bins[16].share, 1, 1e-9);
  close(second.bins[10].share, 0.5, 1e-9);
  const litres = first.bins.reduce((sum, bin) => sum + bin.share * TARGET * SWATH_M * (bin.to_m - bin.from_m), 0);
  close(litres, 0.04 * 17, 1e-9); // 20 s at 0.04 L/s less two dry seconds and the two halves beside them
});

test("dry metres are bare and doubled ground is crossed, nowhere else", () => {
  const { strips: [first, second] } = straighten(walkTwice());
  assert.deepEqual(joinBins(first.bins, ({ isBare }) => isBare).map((ends) => ends.map(Math.round)), [[9, 11]]);
  assert.deepEqual(joinBins(first.bins, ({ isDoubled }) => isDoubled).map((ends) => ends.map(Math.round)), [[0, 5]]);
  assert.deepEqual(joinBins(second.bins, ({ isDoubled }) => isDoubled), []);
});

test("strips lie on the sheet as on the lawn whichever way the lawn points, at true length", () => {
  for (const turned of [false, true]) {
    const sheet = straighten(walkTwice({ turned }));
    const [first, second] = sheet.strips;
    close(sheet.long_m, 20, 1e-9);
    close(placeAlong(first, 0), 0, 1e-9);
    close(placeAlong(second, 0), 20, 1e-9);
    close(placeAlong(second, 20), 0, 1e-9);
    assert.equal(foldOf(first, second), "top");
    assert.equal(foldOf(second, first), "bottom");
    assert.equal(foldOf(first, first), "across");
  }
});

test("the thread is the wind of the time when the place was walked", () => {
  const { strips: [first, second] } = straighten(walkTwice());
  const windAt = (strip, at_m) => strip.thread.find((point) => Math.abs(point.at_m - at_m) < 1e-9).mps;
  close(windAt(first, 10), 1, 1e-9);
  close(windAt(second, 10), 4, 1e-9);
});

test("what is known now of the wind goes before what was known then", () => {
  const job = walkTwice();
  job.wind.known_60s_mps = job.wind.t_s.map(() => 3);
  assert.ok(straighten(job).strips[0].thread.every(({ mps }) => mps === 3));
});

test("only what is doubtful lies between strips, and is told in words", () => {
  const sheet = straighten(walkTwice());
  assert.deepEqual(sheet.between.map(({ verdict }) => verdict), ["gap"]);
  const words = describeStrip(sheet.strips[0], sheet.between, "l_per_100m2");
  assert.equal(words.replaceAll("\u00a0", " "), "20.0 m to the north, 85 % of its target; dry from 9.0 m to 11 m; on ground sprayed twice from 0 m to 5.0 m; "
    + "wind 2.0 m/s, within the limit; towards pass 2 a gap from 5.0 m to 15 m (93 % sure).");
});

test("a pass without a single fix is drawn by its own figure and not as dry", () => {
  const job = walkTwice();
  job.track = { t_s: [], east_m: [], north_m: [] };
  const { strips: [first] } = straighten(job);
  assert.deepEqual(first.bins.map(({ share, isBare }) => [share, isBare]), [[0.85, false]]);
});

test("rows keep every strip on the page, apart, and a tap finds it", () => {
  for (const [count, width_px] of [[1, 360], [10, 360], [60, 360], [60, 1100], [400, 800]]) {
    const sheet = { strips: Array.from({ length: count }, (_, place) => ({ pass: place + 1 })), long_m: 30 };
    const layout = layRows(sheet, width_px);
    assert.equal(layout.boxes.length, count);
    for (const box of layout.boxes) {
      assert.ok(box.left_px >= 0 && box.left_px + layout.slot_px <= width_px, "within the page");
      assert.equal(hitStrip(layout, box.left_px + 3, box.top_px + 3), box.pass);
      assert.ok(box.base_px <= layout.height_px);
    }
    assert.equal(hitStrip(layout, width_px + 5, 5), null);
  }
});

test("a time's place is found at, between and beyond samples", () => {
  assert.deepEqual([0, 1, 1.5, 3, 9].map((t) => placeOfTime([1, 2, 3], t)), [0, 0, 1, 2, 3]);
});

test("a place outside the grid has no dose", () => {
  const dose = { x0_m: 10, y0_m: 20, cell_m: 0.5, nx: 2, ny: 2, l_per_m2: [1, 2, 3, 4] };
  assert.equal(shareAt(dose, 2, 10.7, 20.7), 2);
  assert.equal(shareAt(dose, 2, 9.9, 20.1), 0);
  assert.equal(shareAt(dose, 2, 10.1, 21.1), 0);
  assert.equal(shareAt(dose, 0, 10.1, 20.1), 0);
});

test("a choice is told once, let go when taken again, and steps stay within the job", () => {
  const choice = new Choice([1, 2, 5]);
  const told = [];
  choice.addEventListener("change", () => told.push(choice.pass));
  choice.step(-1);
  choice.step(1);
  choice.take(5);
  choice.take(5);
  choice.take(9);
  choice.step(1);
  choice.step(1);
  assert.deepEqual(told, [5, null, 5, null, 1, 2]);
  new Choice([]).step(1);
});

test("what flows while the rig stands falls where it stands", () => {
  const track = { t_s: [0, 1, 2, 3, 4, 5, 6], east_m: [0, 0, 0, 0, 0, 0, 0], north_m: [0, 1, 2, 2, 2, 3, 4] };
  const pass = { pass: 1, start_s: 0, end_s: 6, length_m: 4, heading_deg: 0, percent_of_target: 150, dose_l_per_m2: 1.5 * TARGET, wind_verdict: null, wind_mean_mps: null };
  const [strip] = straighten({ passes: [pass], pairs: [], track, flow: { flow_l_per_min: Array(7).fill(60 * TARGET * SWATH_M) },
    dose: { x0_m: 0, y0_m: 0, cell_m: 1, nx: 0, ny: 0, l_per_m2: [] }, wind: { t_s: [0] }, target_l_per_m2: TARGET, swath_m: SWATH_M }).strips;
  close(strip.bins.reduce((sum, { share }) => sum + share, 0), 6, 1e-9);
  close(strip.bins[2].share, 3, 1e-9);
});
