// The strip underfoot, under node --test.
import assert from "node:assert/strict";
import { test } from "node:test";
import { describeUnderfoot, faceAfter, findBearing, findBegin, frayOf, lookDown, turnToWalker } from "../../server/dashboard/core/underfoot.js";

const close = (found, wanted, tolerance = 1e-9) => assert.ok(Math.abs(found - wanted) <= tolerance, `${found} is not ${wanted}`);

/** Strips to and fro along east, `spacing_m` apart, the last one walked half. */
function walk(spacing_m, strips = 3) {
  const track = { east_m: [], north_m: [], spraying: [] };
  for (let strip = 0; strip < strips; strip += 1) {
    const points = Array.from({ length: strip === strips - 1 ? 21 : 41 }, (_, step) => 0.5 * step);
    for (const along of points) {
      track.east_m.push(strip % 2 ? 20 - along : along);
      track.north_m.push(strip * spacing_m);
      track.spraying.push(true);
    }
  }
  return { track, position: { east_m: track.east_m.at(-1), north_m: track.north_m.at(-1), heading_deg: null } };
}

test("what lies ahead is up and what lies right of the walker is right", () => {
  const position = { east_m: 5, north_m: 5 };
  for (const [bearing, ahead, right] of [[0, [5, 7], [7, 5]], [90, [7, 5], [5, 3]], [180, [5, 3], [3, 5]], [270, [3, 5], [5, 7]]]) {
    const [across_a, along_a] = turnToWalker(position, bearing, ahead);
    close(across_a, 0);
    close(along_a, 2);
    const [across_r, along_r] = turnToWalker(position, bearing, right);
    close(across_r, 2);
    close(along_r, 0);
  }
});

test("the present strip begins at the last turn", () => {
  const { track, position } = walk(1.0);
  close(findBearing(track, position), 90);
  assert.equal(findBegin(track, position, 90), 82);
});

test("the strip beside lies on its side at its spacing, whichever way is walked", () => {
  for (const spacing of [0.7, 1.0, 1.4]) {
    const east = lookDown({ ...walk(spacing, 3), strips: null, swath_m: 1, sd_m: 0.1 });
    assert.equal(east.beside[0].spacing_m, null, "nothing to the north");
    close(east.beside[1].spacing_m, spacing);
    const west = lookDown({ ...walk(spacing, 4), strips: null, swath_m: 1, sd_m: 0.1 });
    close(west.beside[0].spacing_m, spacing);
    assert.equal(west.beside[1].spacing_m, null);
  }
});

test("a strip that was left out leaves the next one in sight and one that is too far leaves none", () => {
  close(lookDown({ ...walk(2.0), strips: null, swath_m: 1, sd_m: 0.1 }).beside[1].spacing_m, 2);
  assert.equal(lookDown({ ...walk(3.0), strips: null, swath_m: 1, sd_m: 0.1 }).beside[1].spacing_m, null);
});

test("strips judged after a pass take the place of the live way", () => {
  const { track, position } = walk(1.0);
  const strips = { way_points: 82, passes: [{ line_m: [[0, 0], [20, 0]] }, { line_m: [[20, 0.8], [0, 0.8]] }] };
  close(lookDown({ track, position, strips, swath_m: 1, sd_m: 0.1 }).beside[1].spacing_m, 1.2);
});

test("a strip walked over again is seen as doubled, not lost", () => {
  close(lookDown({ ...walk(0.1), strips: null, swath_m: 1, sd_m: 0.02 }).beside[1].spacing_m, 0.1);
});

test("without position, width or way nothing is drawn and words say why", () => {
  const { track, position } = walk(1.0);
  assert.equal(lookDown({ track, position: null, strips: null, swath_m: 1, sd_m: 0.1 }), null);
  assert.equal(lookDown({ track, position, strips: null, swath_m: null, sd_m: 0.1 }), null);
  const still = { east_m: [], north_m: [], spraying: [] };
  assert.equal(lookDown({ track: still, position, strips: null, swath_m: 1, sd_m: 0.1 }), null);
  assert.match(describeUnderfoot(null, { hasPosition: false, swath_m: 1 }, "l_per_ha"), /tells no place/);
  assert.match(describeUnderfoot(null, { hasPosition: true, swath_m: 1 }, "l_per_ha"), /few steps/);
});

test("the sentence judges a spacing only as far as the receiver can", () => {
  const say = (spacing, sd_m) => describeUnderfoot(lookDown({ ...walk(spacing), strips: null, swath_m: 1, sd_m }), { hasPosition: true, swath_m: 1 }, "l_per_ha");
  assert.match(say(0.7, 0.05), /on the right.*too near/);
  assert.match(say(1.4, 0.05), /too far/);
  assert.match(say(1.1, 0.2), /right, as far as can be told/);
  assert.match(say(1.4, 1.0), /cannot tell/);
  assert.match(say(1.4, null), /how surely is not known/);
  assert.match(describeUnderfoot(lookDown({ ...walk(1, 1), strips: null, swath_m: 1, sd_m: 0.1 }), { hasPosition: true, swath_m: 1 }, "l_per_ha"), /No strip beside/);
});

test("frays are as wide as what is not known, and stay with their row", () => {
  const draws = Array.from({ length: 4000 }, (_, row) => frayOf(row, 0));
  const mean = draws.reduce((sum, each) => sum + each, 0) / draws.length;
  const sd = Math.sqrt(draws.reduce((sum, each) => sum + (each - mean) ** 2, 0) / draws.length);
  close(mean, 0, 0.06);
  close(sd, 1, 0.06);
  assert.equal(frayOf(17, 1), frayOf(17, 1));
});

test("the picture turns over once at each turn on foot and not along a bend", () => {
  const count = (points) => {
    const track = { east_m: [], north_m: [], spraying: [] };
    let [facing_deg, turns] = [null, 0];
    for (const [east_m, north_m] of points) {
      track.east_m.push(east_m);
      track.north_m.push(north_m);
      track.spraying.push(true);
      const view = lookDown({ position: { east_m, north_m, heading_deg: null }, track, strips: null, swath_m: 1, sd_m: 0.1 });
      const face = faceAfter(facing_deg, view);
      facing_deg = face.facing_deg;
      turns += Number(face.isTurn);
    }
    return turns;
  };
  const line = (from, to, y) => Array.from({ length: 51 }, (_, k) => [from + ((to - from) * k) / 50, y]);
  const arc = (x, y, radius, from, to, steps) => Array.from({ length: steps }, (_, k) => {
    const angle = from + ((to - from) * k) / steps;
    return [x + radius * Math.cos(angle), y + radius * Math.sin(angle)];
  });
  const half = Math.PI / 2;
  assert.equal(count([...line(0, 10, 0), ...arc(10, 0.5, 0.5, -half, half, 8), ...line(10, 0, 1)]), 1);
  assert.equal(count([...line(0, 10, 0), ...arc(10, 0.5, 0.5, -half, half, 8), ...line(10, 0, 1), ...line(0, 10, 2)]), 2);
  assert.equal(count(arc(0, 0, 12, 0, 2 * Math.PI, 400)), 0, "round a lawn in a ring");
});
