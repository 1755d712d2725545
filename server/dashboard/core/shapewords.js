// Shapes of a site in words: areas, what is wrong, walks so far, files, versions.

import { formatInstant, formatQuantity, sayLengths } from "./format.js";
import { say } from "./say.js";
import { convert, unitOf } from "./units.js";

export const KINDS = { zone: say("site.to_treat"), keep_out: say("site.keep_out") };

/** An area with how sure it is, where that is known. */
export function describeArea(area_m2, sd_m2, set) {
  const area = formatQuantity(area_m2, "area", set, convert(area_m2, "area", set) >= 100 ? 4 : 3);
  return sd_m2 === null || sd_m2 === undefined ? area : `${area} ± ${formatQuantity(2 * sd_m2, "area", set, 2)}`;
}

/** A shape in a line: its name, what it is, and its area or what is wrong. */
export function describeShape(zone, told, set) {
  const kind = KINDS[zone.kind];
  if (zone.rings.length === 0) return say("site.no_shape", { name: zone.name, kind });
  if (!told) return `${zone.name}: ${kind}`;
  if (told.flaws.length > 0) return `${zone.name}: ${told.flaws[0].problem}`;
  return `${zone.name}: ${kind}, ${describeArea(told.area_m2, zone.area_sd_m2, set)}`;
}

/** What is wrong with a shape, with the place. */
export function describeFlaw({ problem, lon, lat }) {
  return lon === null ? `${problem}.` : say("site.flaw_at", { problem, lon: lon.toFixed(6), lat: lat.toFixed(6) });
}

const FAR_M = 20_000;

/** That the rig is nowhere near the site; empty where it may be. */
export function describeFar(far_m) {
  return far_m < FAR_M ? "" : say("site.far_rig", { km: Math.round(far_m / 1000).toLocaleString("en") });
}

const capital = (words) => `${words.charAt(0).toUpperCase()}${words.slice(1)}`;

/** A walk so far or done: area, uncertainty, length, and what is in the way of keeping it. */
export function describeWalk(walk, set) {
  const found = { ...walk, refusal: sayLengths(walk.refusal ?? "", set) };
  if (found.area_m2 === null) return `${capital(found.refusal)}.`.replace("?.", "?");
  const length = formatQuantity(found.length_m, "length", set);
  const area = describeArea(found.area_m2, found.area_sd_m2, set);
  const why = capital(found.refusal);
  if (found.area_m2 < 2 * found.area_sd_m2) return say("site.so_far", { length, why });
  if (!found.is_usable) return say("site.so_far_area", { length, area, why });
  const beside = formatQuantity(found.beside_m2, "area", set, 2);
  const width = convert(0.1, "length", set) < 0.2 ? "10 cm" : "4 in";
  return say("site.walked", { area, length, width, beside });
}

/** A shape of a file in a line. */
export function describeProposal(row, set) {
  if (row.zone === null) return say("site.not_taken", { name: row.name, why: capital(row.flaws[0].problem) });
  const notes = row.notes.map((note) => ` ${capital(note)}.`).join("");
  return `${row.name}, ${describeArea(row.area_m2, row.zone.area_sd_m2, set)}.${notes}`;
}

/** How many of a file's shapes can be taken. */
export function describeFile(rows) {
  const good = rows.filter(({ zone }) => zone !== null).length;
  const refused = rows.length - good;
  if (refused === 0) return say("site.in_file", { n: good });
  return say("site.in_file_refused", { shapes: say("site.shapes", { n: rows.length }), n: refused });
}

/** A version of a site in a line. */
export function describeVersion({ version, made_utc, is_retired, treated_m2, zones, jobs }, set) {
  const zoneCount = zones.filter(({ kind }) => kind === "zone").length;
  const what = zoneCount === 0 ? say("site.no_zones") : say("site.in_zones", { area: describeArea(treated_m2, null, set), n: zoneCount });
  const kept = jobs.length === 0 ? "" : `; ${say("site.shape_of_jobs", { n: jobs.length, jobs: jobs.join(", ") })}`;
  return `${say("site.version", { version, when: formatInstant(made_utc), what: is_retired ? say("site.put_away") : what })}${kept}`;
}

/** The length's unit that corners are typed in. */
export function lengthUnit(set) {
  return unitOf("length", set);
}
