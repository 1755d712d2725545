// Shapes of a site: the plane, what is done to rings, and what is said of them, under node --test.
import assert from "node:assert/strict";
import { test } from "node:test";
import {
  addCorner, addHole, closeRing, draftToCheck, dropCorner, freshName, isInside, layShapes, moveCorner, nearestCorner, nearestSide,
  openRing, planeAt, toDegrees, toMetres,
} from "../../server/dashboard/core/shape.js";
import { describeArea, describeFar, describeFile, describeFlaw, describeProposal, describeShape, describeVersion, describeWalk } from "../../server/dashboard/core/shapewords.js";

const close = (found, wanted, tolerance) => assert.ok(Math.abs(found - wanted) <= tolerance, `${found} is not ${wanted} ± ${tolerance}`);
const SET = "l_per_100m2";
const PLANE = planeAt([-30, 45]);
const ring = (...places) => closeRing(places.map((place) => toDegrees(PLANE, place)));
const zone = (more = {}) => ({ name: "Front", kind: "zone", rings: [ring([0, 0], [20, 0], [20, 20], [0, 20])], source: "walked", area_sd_m2: 2, ...more });

test("a degree at 45 north is as long as published (physics.md G26, after WGS 84)", () => {
  close(PLANE.per_lat, 111131.777, 6e-4);
  close(PLANE.per_lon, 78846.835, 6e-4);
});

test("metres and degrees go there and back to a tenth of a millimetre", () => {
  for (const place of [[0, 0], [13.37, -42.01], [-250.5, 99.9]]) {
    toMetres(PLANE, toDegrees(PLANE, place)).forEach((value, axis) => close(value, place[axis], 1e-4));
  }
});

test("a corner is moved, added and taken out, the ring stays closed and is no longer as it was walked", () => {
  const moved = moveCorner(zone(), { ring: 0, corner: 0 }, toDegrees(PLANE, [-5, -5]));
  assert.deepEqual(moved.rings[0][0], moved.rings[0].at(-1));
  assert.deepEqual(moved.rings[0][0], toDegrees(PLANE, [-5, -5]));
  assert.equal(moved.source, "drawn");
  assert.equal(moved.area_sd_m2, null);
  const added = addCorner(zone(), { ring: 0, corner: 3 }, toDegrees(PLANE, [-3, 10]));
  assert.deepEqual(openRing(added.rings[0])[4], toDegrees(PLANE, [-3, 10]));
  assert.equal(openRing(dropCorner(added, { ring: 0, corner: 4 }).rings[0]).length, 4);
  assert.equal(zone().source, "walked");
});

test("the outside keeps three corners, a hole of three goes as a whole", () => {
  const triangle = zone({ rings: [ring([0, 0], [9, 0], [0, 9])] });
  assert.throws(() => dropCorner(triangle, { ring: 0, corner: 1 }), /Three corners are the least/);
  const holed = addHole(zone(), ring([3, 3], [6, 3], [6, 6]).slice(0, -1));
  assert.equal(holed.rings.length, 2);
  assert.equal(dropCorner(holed, { ring: 1, corner: 0 }).rings.length, 1);
});

test("the nearest corner and side within reach are found, and none beyond", () => {
  const rings = [[[0, 0], [20, 0], [20, 20], [0, 20]], [[5, 5], [8, 5], [8, 8]]];
  assert.deepEqual([nearestCorner(rings, [7, 6], 2).ring, nearestCorner(rings, [7, 6], 2).corner], [1, 1]);
  assert.equal(nearestCorner(rings, [12, 12], 2), null);
  const side = nearestSide(rings, [0.5, 10], 1);
  assert.deepEqual([side.ring, side.corner, side.place], [0, 3, [0, 10]]);
  assert.equal(nearestSide(rings, [12, 12], 2), null);
  assert.equal(isInside(rings, [2, 2]), true);
  assert.equal(isInside(rings, [7.5, 5.5]), false, "in the hole");
});

test("names are made different from those there are", () => {
  assert.equal(freshName([zone()], "Lawn"), "Lawn");
  assert.equal(freshName([zone(), zone({ name: "front 2" })], "Front"), "Front 3");
});

test("a sketch of three corners is checked along, as a shape or as a hole", () => {
  const sketch = ring([3, 3], [6, 3], [6, 6]).slice(0, -1);
  assert.equal(draftToCheck([zone()], sketch, null).zones.length, 2);
  assert.equal(draftToCheck([zone()], sketch, 0).zones[0].rings.length, 2);
  assert.deepEqual(Object.keys(draftToCheck([zone()], sketch.slice(0, 2), null).zones[0]), ["name", "kind", "rings"]);
  assert.equal(layShapes(PLANE, [zone()])[0].rings_m[0].length, 5);
});

test("areas are said with twice their uncertainty in the chosen units", () => {
  assert.equal(describeArea(412.34, null, SET), "412.3\u00a0m²");
  assert.equal(describeArea(412.34, 3.1, SET), "412.3\u00a0m² ± 6.2\u00a0m²");
  assert.equal(describeArea(92.90304, null, "gal_per_1000ft2"), "1000\u00a0ft²");
});

test("what is wrong stands for the area, with its place", () => {
  const flaw = { problem: "its edge crosses itself between corners 1 and 2 and between 3 and 4", lon: -30.0001234, lat: 45.0005678 };
  assert.match(describeShape(zone(), { area_m2: null, flaws: [flaw] }, SET), /^Front: its edge crosses itself/);
  assert.match(describeShape(zone(), { area_m2: 400, flaws: [] }, SET), /^Front: to treat, 400\.0.m² ± 4\.0/);
  assert.match(describeShape(zone({ rings: [] }), undefined, SET), /no shape yet/);
  assert.match(describeFlaw(flaw), /marked on the drawing, at -30\.000123, 45\.000568\.$/);
  assert.equal(describeFlaw({ problem: "it has no outline", lon: null, lat: null }), "it has no outline.");
});

test("a walk tells what is missing while under way, and what the edge is worth when done", () => {
  const found = { is_usable: false, refusal: "the walk is open by 5.2 m: go on to where it began", area_m2: 120, area_sd_m2: 4, length_m: 41, beside_m2: 4.1 };
  assert.match(describeWalk(found, SET), /^So far 41\.0.m and, closed straight, 120\.0.m² ± 8\.0.m²\. The walk is open by 5\.2 m/);
  assert.match(describeWalk(found, "gal_per_acre").replaceAll("\u00a0", " "), /The walk is open by 17\.1 ft: go on/);
  assert.equal(describeWalk({ ...found, area_m2: 1 }, SET), "So far 41.0\u00a0m. The walk is open by 5.2 m: go on to where it began.");
  assert.match(describeWalk({ ...found, is_usable: true, refusal: "" }, SET), /10 cm beside the edge all the way round would be 4\.1.m²/);
  assert.match(describeWalk({ ...found, is_usable: true, refusal: "" }, "gal_per_acre"), /4 in beside/);
  assert.equal(describeWalk({ refusal: "no position came from the rig: has its receiver a fix?", area_m2: null }, SET), "No position came from the rig: has its receiver a fix?");
});

test("a file's shapes are told one by one", () => {
  const good = { name: "Front", zone: zone({ area_sd_m2: null }), area_m2: 400, notes: ["heights were left out"], flaws: [] };
  const bad = { name: "Bow", zone: null, area_m2: null, notes: [], flaws: [{ problem: "its edge crosses itself", lon: 1, lat: 2 }] };
  assert.equal(describeProposal(good, SET), "Front, 400.0\u00a0m². Heights were left out.");
  assert.equal(describeProposal(bad, SET), "Bow: not taken. Its edge crosses itself.");
  assert.equal(describeFile([good]), "1 shape in it.");
  assert.equal(describeFile([good, bad, bad]), "3 shapes in it, 2 not taken: why stands beside them.");
});

test("a rig in another country is a doubt, one at home is none", () => {
  assert.equal(describeFar(9000), "");
  assert.match(describeFar(5_400_000), /5,400 km .* longitude given before latitude/);
});

test("a version is told with its area and the jobs that keep it", () => {
  const version = { version: 3, made_utc: 1.8e9, is_retired: false, treated_m2: 400, zones: [{ kind: "zone" }, { kind: "keep_out" }], jobs: [4, 7] };
  assert.match(describeVersion(version, SET), /^Version 3, .*: 400\.0.m² to treat in 1 zone; the shape of jobs 4, 7$/);
  assert.match(describeVersion({ ...version, zones: [], jobs: [] }, SET), /no zones$/);
});
