// Shapes of a site in words: areas, what is wrong, walks so far, files, versions.

import { formatInstant, formatQuantity, sayLengths } from "./format.js";
import { convert, unitOf } from "./units.js";

export const KINDS = { zone: "to treat", keep_out: "keep out" };

/** An area with how sure it is, where that is known. */
export function describeArea(area_m2, sd_m2, set) {
  const area = formatQuantity(area_m2, "area", set, convert(area_m2, "area", set) >= 100 ? 4 : 3);
  return sd_m2 === null || sd_m2 === undefined ? area : `${area} ± ${formatQuantity(2 * sd_m2, "area", set, 2)}`;
}

/** A shape in a line: its name, what it is, and its area or what is wrong. */
export function describeShape(zone, told, set) {
  const kind = KINDS[zone.kind];
  if (zone.rings.length === 0) return `${zone.name}: ${kind}, no shape yet`;
  if (!told) return `${zone.name}: ${kind}`;
  if (told.flaws.length > 0) return `${zone.name}: ${told.flaws[0].problem}`;
  return `${zone.name}: ${kind}, ${describeArea(told.area_m2, zone.area_sd_m2, set)}`;
}

/** What is wrong with a shape, with the place. */
export function describeFlaw({ problem, lon, lat }) {
  return lon === null ? `${problem}.` : `${problem}: marked on the drawing, at ${lon.toFixed(6)}, ${lat.toFixed(6)}.`;
}

const FAR_M = 20_000;

/** That the rig is nowhere near the site; empty where it may be. */
export function describeFar(far_m) {
  return far_m < FAR_M ? "" : `Look again: the rig is ${Math.round(far_m / 1000).toLocaleString("en")} km from these shapes. Is longitude given before latitude?`;
}

const capital = (words) => `${words.charAt(0).toUpperCase()}${words.slice(1)}`;

/** A walk so far or done: area, uncertainty, length, and what is in the way of keeping it. */
export function describeWalk(walk, set) {
  const found = { ...walk, refusal: sayLengths(walk.refusal ?? "", set) };
  if (found.area_m2 === null) return `${capital(found.refusal)}.`.replace("?.", "?");
  const length = formatQuantity(found.length_m, "length", set);
  const area = describeArea(found.area_m2, found.area_sd_m2, set);
  if (found.area_m2 < 2 * found.area_sd_m2) return `So far ${length}. ${capital(found.refusal)}.`;
  if (!found.is_usable) return `So far ${length} and, closed straight, ${area}. ${capital(found.refusal)}.`;
  const beside = formatQuantity(found.beside_m2, "area", set, 2);
  const width = convert(0.1, "length", set) < 0.2 ? "10 cm" : "4 in";
  return `${area} in a round of ${length} (95 in 100 lie within ±, by the receiver). ${width} beside the edge all the way round would be ${beside}.`;
}

/** A shape of a file in a line. */
export function describeProposal(row, set) {
  if (row.zone === null) return `${row.name}: not taken. ${capital(row.flaws[0].problem)}.`;
  const notes = row.notes.map((note) => ` ${capital(note)}.`).join("");
  return `${row.name}, ${describeArea(row.area_m2, row.zone.area_sd_m2, set)}.${notes}`;
}

/** How many of a file's shapes can be taken. */
export function describeFile(rows) {
  const good = rows.filter(({ zone }) => zone !== null).length;
  const refused = rows.length - good;
  const count = (number) => (number === 1 ? "1 shape" : `${number} shapes`);
  if (refused === 0) return `${count(good)} in it.`;
  return `${count(rows.length)} in it, ${refused} not taken: why stands beside ${refused === 1 ? "it" : "them"}.`;
}

/** A version of a site in a line. */
export function describeVersion({ version, made_utc, is_retired, treated_m2, zones, jobs }, set) {
  const zoneCount = zones.filter(({ kind }) => kind === "zone").length;
  const what = zoneCount === 0 ? "no zones" : `${describeArea(treated_m2, null, set)} to treat in ${zoneCount === 1 ? "1 zone" : `${zoneCount} zones`}`;
  const kept = jobs.length === 0 ? "" : `; the shape of job${jobs.length === 1 ? "" : "s"} ${jobs.join(", ")}`;
  return `Version ${version}, ${formatInstant(made_utc)}: ${is_retired ? "put away" : what}${kept}`;
}

/** The length's unit that corners are typed in. */
export function lengthUnit(set) {
  return unitOf("length", set);
}
