// Shapes of a site: the plane that they are drawn on, and what is done to their rings. Corners are [longitude, latitude]
// in degrees, rings closed; whether a shape is one that ground can have, the service says.

import { say } from "./say.js";

const SEMI_MAJOR_M = 6378137; // WGS 84 (NIMA TR8350.2)
const FLATTENING = 1 / 298.257223563;
const DEGREE = Math.PI / 180;

/** The local plane through a place: metres a degree, as the service's. */
export function planeAt([lon, lat]) {
  const e2 = FLATTENING * (2 - FLATTENING);
  const w2 = 1 - e2 * Math.sin(lat * DEGREE) ** 2;
  const meridian = (SEMI_MAJOR_M * (1 - e2)) / (w2 * Math.sqrt(w2));
  const prime = SEMI_MAJOR_M / Math.sqrt(w2);
  return { lon, lat, per_lon: DEGREE * prime * Math.cos(lat * DEGREE), per_lat: DEGREE * meridian };
}

/** A corner as east and north of the plane's origin in metres. */
export function toMetres(plane, [lon, lat]) {
  return [(lon - plane.lon) * plane.per_lon, (lat - plane.lat) * plane.per_lat];
}

/** East and north as a corner, to nine decimals of a degree (a tenth of a millimetre). */
export function toDegrees(plane, [east_m, north_m]) {
  const round = (degrees) => Number(degrees.toFixed(9));
  return [round(plane.lon + east_m / plane.per_lon), round(plane.lat + north_m / plane.per_lat)];
}

/** The corners of a ring, the last not said twice. */
export function openRing(ring) {
  return ring.slice(0, -1);
}

/** A ring of corners, ended where it began. */
export function closeRing(corners) {
  return [...corners, corners[0]];
}

/** The zones as outlines in metres, for drawing. */
export function layShapes(plane, zones) {
  return zones.map(({ kind, rings }) => ({ kind, rings_m: rings.map((ring) => ring.map((corner) => toMetres(plane, corner))) }));
}

function changeRing(zone, ring, change) {
  const rings = zone.rings.map((each, place) => (place === ring ? closeRing(change(openRing(each))) : each));
  return { ...zone, rings, source: "drawn", area_sd_m2: null };
}

/** The zone with a corner moved; by hand it is no longer as it was walked. */
export function moveCorner(zone, { ring, corner }, place) {
  return changeRing(zone, ring, (corners) => corners.map((each, at) => (at === corner ? place : each)));
}

/** The zone with one corner more behind another. */
export function addCorner(zone, { ring, corner }, place) {
  return changeRing(zone, ring, (corners) => [...corners.slice(0, corner + 1), place, ...corners.slice(corner + 1)]);
}

/** The zone without a corner; a hole of three goes with any of them, an outside keeps its three. */
export function dropCorner(zone, { ring, corner }) {
  if (openRing(zone.rings[ring]).length > 3) {
    return changeRing(zone, ring, (corners) => corners.filter((_, at) => at !== corner));
  }
  if (ring === 0) throw new Error(say("site.three_corners"));
  return { ...zone, rings: zone.rings.filter((_, at) => at !== ring), source: "drawn", area_sd_m2: null };
}

/** The zone with a hole more. */
export function addHole(zone, corners) {
  return { ...zone, rings: [...zone.rings, closeRing(corners)], source: "drawn", area_sd_m2: null };
}

/** A name that no zone has yet: the base itself, or with a number. */
export function freshName(zones, base) {
  const taken = new Set(zones.map(({ name }) => name.trim().toLowerCase()));
  let [name, number] = [base, 1];
  while (taken.has(name.trim().toLowerCase())) name = `${base} ${number += 1}`;
  return name;
}

const gap = ([ax, ay], [bx, by]) => Math.hypot(ax - bx, ay - by);

/** The nearest corner of a zone within reach, as ring and corner; null when there is none. Places as the view has them. */
export function nearestCorner(rings, point, reach) {
  let best = null;
  rings.forEach((places, ring) => places.forEach((place, corner) => {
    const apart = gap(place, point);
    if (apart <= (best?.apart ?? reach)) best = { ring, corner, apart };
  }));
  return best;
}

/** The nearest side within reach, as ring and the corner that it begins at, with the place on it. */
export function nearestSide(rings, point, reach) {
  let best = null;
  rings.forEach((places, ring) => places.forEach((a, corner) => {
    const b = places[(corner + 1) % places.length];
    const length2 = gap(a, b) ** 2 || 1;
    const share = ((point[0] - a[0]) * (b[0] - a[0]) + (point[1] - a[1]) * (b[1] - a[1])) / length2;
    const foot = Math.min(1, Math.max(0, share));
    const place = [a[0] + foot * (b[0] - a[0]), a[1] + foot * (b[1] - a[1])];
    const apart = gap(place, point);
    if (apart <= (best?.apart ?? reach)) best = { ring, corner, apart, place };
  }));
  return best;
}

/** Whether a place lies in a shape, holes left out. */
export function isInside(rings, [x, y]) {
  let inside = false;
  for (const places of rings) {
    places.forEach(([ax, ay], at) => {
      const [bx, by] = places[(at + 1) % places.length];
      if (ay > y !== by > y && x < ax + ((y - ay) * (bx - ax)) / (by - ay)) inside = !inside;
    });
  }
  return inside;
}

/** What the service is asked about shapes: those there are, and the sketch as one more or as a hole of one. */
export function draftToCheck(zones, sketch, holeOf) {
  const plain = ({ name, kind, rings }) => ({ name, kind, rings });
  const isShape = sketch.length >= 3;
  const shown = zones.map((zone, place) => plain(isShape && holeOf === place ? addHole(zone, sketch) : zone));
  if (isShape && holeOf === null) shown.push({ name: "\u2026", kind: "zone", rings: [closeRing(sketch)] });
  return { zones: shown };
}
