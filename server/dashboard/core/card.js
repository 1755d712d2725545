// A card's form: what each field holds as text, and what was typed back as a value; in the units that people chose.

import { say } from "./say.js";
import { isCustomary } from "./units.js";

const AREAS = { l_per_100m2: /100 m2/, l_per_ha: /\/ha/, gal_per_1000ft2: /1000 ft2/, gal_per_acre: /acre/ };
const CUSTOMARY = /ft|acre|gal|oz|lb|\bin\b|mph|psi|pt|qt|tbsp/;

/** The unit that a field begins with: the first that suits the user's set, else the first of all. */
export function firstUnit(field, set) {
  const units = Object.keys(field.units);
  const suits = (unit) => isCustomary(set) === CUSTOMARY.test(unit);
  return units.find((unit) => AREAS[set].test(unit)) ?? units.find(suits) ?? units[0];
}

/** A number as people type it, without digits that say nothing. */
export function writeNumber(value) {
  return value === null || value === undefined ? "" : String(Number(Number(value).toPrecision(10)));
}

/** A typed number: null when empty; an Error in plain words when it is none. */
export function readNumber(text) {
  const trimmed = text.trim();
  if (trimmed === "") return null;
  const number = Number(trimmed.replace(",", "."));
  if (!Number.isFinite(number)) throw new Error(say("cards.no_number", { typed: trimmed }));
  return number;
}

/** Several typed numbers, parted by spaces or semicolons. */
export function readNumbers(text) {
  return text.split(/[;\s]+|,\s+/).filter(Boolean).map(readNumber);
}

/** Several texts, a comma between. */
export function readTexts(text) {
  return text.split(",").map((part) => part.trim()).filter(Boolean);
}

/** What may be entered in a field, in the unit chosen. */
export function hintOfField(field, unit) {
  const range = field.units ? field.units[unit] : field.range;
  const isReference = field.refers !== "" || field.kind === "rows";
  const ends = range ? range.map((end) => writeNumber(Number(end).toPrecision(3))) : [];
  const limits = range && !isReference ? `${say("cards.from_to", { from: ends[0], to: ends[1] })} ${field.units ? unit : field.unit}`.trim() : "";
  return [field.hint, limits, field.is_needed ? say("cards.needed") : ""].filter(Boolean).join("; ");
}

/** A choice as words. */
export function wordsOfChoice(choice) {
  return choice.replaceAll("_", " ");
}
