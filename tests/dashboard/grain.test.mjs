// Dose as grain: how many strokes, which way they point, what crosses and what frays.
import assert from "node:assert/strict";
import { test } from "node:test";
import { combWay, densityOf, describeBlur, growGrain, hashOf, nearestWay } from "../../server/dashboard/core/grain.js";

const close = (found, wanted, tolerance) => assert.ok(Math.abs(found - wanted) <= tolerance, `${found} is not ${wanted} ± ${tolerance}`);

/** A lawn of 40 by 10 m with an even dose, walked along by passes 2 m apart at 1 m/s. */
function spray(share, { doubt = "0", angle = 0 } = {}) {
  const track = { t_s: [], east_m: [], north_m: [], spraying: [] };
  for (let pass = 0; pass < 5; pass += 1) {
    for (let step = 0; step <= 40; step += 1) {
      const [along, across] = [step - 20, 2 * pass - 4];
      track.t_s.push(60 * pass + step);
      track.east_m.push(along * Math.cos(angle) - across * Math.sin(angle));
      track.north_m.push(along * Math.sin(angle) + across * Math.cos(angle));
      track.spraying.push(step === 0 ? 0 : 1);
    }
  }
  const [nx, ny] = [40, 10];
  return { dose: { x0_m: -20, y0_m: -5, cell_m: 1, nx, ny, l_per_m2: new Float32Array(nx * ny).fill(share * 0.02), sd_tenths: doubt.repeat(nx * ny) },
    track, target_l_per_m2: 0.02, swath_m: 2 };
}

const angleOf = ({ line_m: [x0, y0, x1, y1] }) => Math.atan2(y1 - y0, x1 - x0);

test("the same job gives the same strokes, wherever and whenever it is drawn", () => {
  assert.deepEqual(growGrain(spray(1), 0.3), growGrain(spray(1), 0.3));
});

test("places are strewn evenly and without a pattern from one to the next", () => {
  const values = [];
  for (let column = -50; column < 50; column += 1) for (let row = -50; row < 50; row += 1) values.push(hashOf(column, row, 2));
  const mean = values.reduce((sum, value) => sum + value, 0) / values.length;
  close(mean, 0.5, 4 / Math.sqrt(12 * values.length)); // four standard errors of an even spread
  const lagged = values.slice(1).reduce((sum, value, place) => sum + (value - mean) * (values[place] - mean), 0) / values.length;
  close(lagged, 0, 4 / (12 * Math.sqrt(values.length)));
  assert.ok(values.every((value) => value >= 0 && value < 1));
});

test("strokes are denser with dose, and missed ground is bare", () => {
  const places = (40 * 10) / 0.3 ** 2;
  assert.equal(growGrain(spray(0.05), 0.3).length, 0);
  for (const share of [0.3, 0.5, 1, 1.4]) {
    const wanted = densityOf(share);
    close(growGrain(spray(share), 0.3).length / places, wanted, 0.03); // three standard errors and the lawn's edge
  }
  assert.ok(densityOf(1.5) > densityOf(1) && densityOf(5) === 1);
});

test("strokes point the way that was walked", () => {
  for (const angle of [0, 0.7, Math.PI / 2, -2.5]) {
    const strokes = growGrain(spray(1, { angle }), 0.5);
    const near = strokes.filter(({ t }) => Number.isFinite(t));
    assert.ok(near.length > 100);
    for (const stroke of near) close(Math.cos(angleOf(stroke) - angle), 1, 0.02);
  }
});

test("where it is doubled, and nowhere else, every stroke is crossed", () => {
  const twice = growGrain(spray(2), 0.4);
  const [plain, crossed] = ["plain", "crossed"].map((kind) => twice.filter((stroke) => stroke.kind === kind));
  assert.ok(plain.length > 500);
  assert.equal(plain.length, crossed.length);
  plain.forEach((stroke, place) => close(Math.abs(angleOf(crossed[place]) - angleOf(stroke)), 0.9, 1e-6));
  assert.equal(growGrain(spray(1.5), 0.4).filter(({ kind }) => kind === "crossed").length, 0);
});

test("strokes fray where the dose is not known, in twos from one foot, wider with doubt", () => {
  assert.ok(growGrain(spray(1, { doubt: "2" }), 0.4).every(({ kind }) => kind === "plain"));
  const spread = (doubt) => {
    const strokes = growGrain(spray(1, { doubt }), 0.4);
    assert.ok(strokes.length > 500 && strokes.every(({ kind }) => kind === "frayed"));
    const [one, other] = strokes;
    assert.deepEqual(one.line_m.slice(0, 2), other.line_m.slice(0, 2));
    return angleOf(other) - angleOf(one);
  };
  assert.ok(spread("8") > spread("3"));
  close(spread("x"), spread("9"), 1e-9);
});

test("a stroke has the time when its ground was walked, a crossing that of the second visit", () => {
  const job = spray(2);
  const half = job.track.t_s.length;
  for (let k = 0; k < half; k += 1) {
    job.track.t_s.push(1000 + job.track.t_s[k]);
    for (const name of ["east_m", "north_m", "spraying"]) job.track[name].push(job.track[name][k]);
  }
  const strokes = growGrain(job, 0.4);
  for (let k = 0; k < strokes.length; k += 2) {
    const [plain, crossed] = [strokes[k], strokes[k + 1]];
    assert.deepEqual([plain.kind, crossed.kind], ["plain", "crossed"]);
    if (!Number.isFinite(plain.t)) continue;
    assert.ok(plain.t < 1000 && crossed.t >= 1000);
  }
});

test("where nobody walked near there is no direction, and a way without spray bears none", () => {
  const { track } = spray(1);
  assert.equal(nearestWay(combWay(track, 2), 0, 30), null);
  assert.equal(nearestWay(combWay({ ...track, spraying: track.spraying.map(() => 0) }, 2), 0, 0), null);
  const found = nearestWay(combWay(track, 2), 3.1, 0.2);
  close(found.t, 120 + 23.1, 0.2);
  assert.equal(found.again_t, null);
});

test("the receiver's blur is said for the swath it is held against", () => {
  assert.match(describeBlur(0.02, 1), /much better/);
  assert.match(describeBlur(0.2, 1), /a part of a strip/);
  assert.match(describeBlur(0.6, 1), /hardly better/);
  assert.match(describeBlur(NaN, 1), /not known/);
  assert.match(describeBlur(0.6, 3), /a part of a strip/);
});
