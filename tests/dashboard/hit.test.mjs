// What is under a finger, and labels that do not collide.

import assert from "node:assert/strict";
import test from "node:test";
import { hitAxis, hitBox, hitLine } from "../../server/dashboard/core/hit.js";
import { Room, boxAround, overlaps, placeLabels, placesRound } from "../../server/dashboard/core/labels.js";

test("the nearest line within reach is hit, also between its points and beyond its end", () => {
  const lines = [["a", [[0, 0], [0, 10]]], ["b", [[4, 0], [4, 10]]], ["lone", [[20, 20]]], ["none", []]];
  assert.equal(hitLine(lines, [1, 5], 3), "a");
  assert.equal(hitLine(lines, [2.5, 5], 3), "b");
  assert.equal(hitLine(lines, [0, 12], 3), "a");
  assert.equal(hitLine(lines, [0, 14], 3), null);
  assert.equal(hitLine(lines, [21, 20], 3), "lone");
});

test("a point on the border of two boxes belongs to one of them", () => {
  const boxes = [["one", { left: 0, right: 10, top: 0, bottom: 5 }], ["two", { left: 10, right: 20, top: 0, bottom: 5 }]];
  assert.equal(hitBox(boxes, [10, 0]), "two");
  assert.equal(hitBox(boxes, [9.9, 4.9]), "one");
  assert.equal(hitBox(boxes, [5, 5]), null);
});

test("an axis tells the value under a point and nothing beside it", () => {
  assert.equal(hitAxis(60, [10, 110], [100, 200]), 150);
  assert.equal(hitAxis(9, [10, 110], [100, 200]), null);
  assert.equal(hitAxis(111, [10, 110], [100, 200]), null);
});

test("the important label keeps its place and the other one goes beside it", () => {
  const label = (rank) => ({ places: placesRound([50, 50], 20, 10), width_px: 20, height_px: 10, rank });
  const [later, first] = placeLabels([label(2), label(1)]);
  assert.deepEqual(first.place, [50, 50]);
  assert.deepEqual(later.place, [50, 38]);
});

test("a label without room is left out, and none lies beyond the frame", () => {
  const frame = { left: 0, right: 30, top: 0, bottom: 12 };
  const label = { places: placesRound([15, 6], 20, 10), width_px: 20, height_px: 10, rank: 0 };
  const [one, two] = placeLabels([label, label], frame);
  assert.deepEqual(one.place, [15, 6]);
  assert.equal(two, null);
});

test("no two of many labels overlap, however they crowd", () => {
  let state = 7;
  const next = () => {
    state = (state * 1103515245 + 12345) % 2147483648;
    return state / 2147483648;
  };
  const frame = { left: 0, right: 400, top: 0, bottom: 300 };
  const labels = Array.from({ length: 200 }, () => {
    const [width_px, height_px] = [10 + 40 * next(), 12];
    return { places: placesRound([400 * next(), 300 * next()], width_px, height_px), width_px, height_px, rank: Math.floor(3 * next()) };
  });
  const found = placeLabels(labels, frame).filter((each) => each !== null);
  assert.ok(found.length > 40 && found.length < 200, `${found.length} were placed`);
  found.forEach(({ box }, place) => {
    assert.ok(box.left >= 0 && box.right <= 400 && box.top >= 0 && box.bottom <= 300);
    for (const other of found.slice(place + 1)) assert.equal(overlaps(box, other.box), false);
  });
});

test("ground that is kept free bears no label", () => {
  const room = new Room();
  room.block(boxAround([0, 0], 10, 10));
  assert.equal(room.take([[4, 0]], 6, 6), null);
  assert.deepEqual(room.take([[4, 0], [9, 0]], 6, 6).place, [9, 0]);
});
