// Units: SI inside, one set chosen by the user shown everywhere at once.

import { say } from "./say.js";

export const GALLON_L = 3.785411784;
export const FOOT_M = 0.3048;
export const ACRE_M2 = 4046.8564224;
export const MILE_PER_HOUR_MPS = 0.44704;

const metric = {
  length: { unit: "m", per_si: 1 },
  area: { unit: "m²", per_si: 1 },
  volume: { unit: "L", per_si: 1 },
  flow: { unit: "L/min", per_si: 1 },
  meter: { unit: say("units.pulses_per_litre"), per_si: 1 },
};
const customary = {
  length: { unit: "ft", per_si: 1 / FOOT_M },
  area: { unit: "ft²", per_si: 1 / FOOT_M ** 2 },
  volume: { unit: "gal", per_si: 1 / GALLON_L },
  flow: { unit: "gal/min", per_si: 1 / GALLON_L },
  meter: { unit: say("units.pulses_per_gallon"), per_si: GALLON_L },
};
const in_mps = { speed: { unit: "m/s", per_si: 1 }, cup: { unit: say("units.mps_per_hz"), per_si: 1 } };
const in_kmh = { speed: { unit: "km/h", per_si: 3.6 }, cup: { unit: say("units.kmh_per_hz"), per_si: 3.6 } };
const in_mph = {
  speed: { unit: "mph", per_si: 1 / MILE_PER_HOUR_MPS },
  cup: { unit: say("units.mph_per_hz"), per_si: 1 / MILE_PER_HOUR_MPS },
};

export const UNIT_SETS = {
  l_per_100m2: { label: say("units.l_per_100m2"), rate: { unit: "L/100 m²", per_si: 100 }, ...metric, ...in_mps },
  l_per_ha: { label: say("units.l_per_ha"), rate: { unit: "L/ha", per_si: 10000 }, ...metric, ...in_kmh },
  gal_per_1000ft2: {
    label: say("units.gal_per_1000ft2"),
    rate: { unit: "gal/1000 ft²", per_si: (1000 * FOOT_M ** 2) / GALLON_L }, ...customary, ...in_mph,
  },
  gal_per_acre: {
    label: say("units.gal_per_acre"),
    rate: { unit: "gal/acre", per_si: ACRE_M2 / GALLON_L }, ...customary, ...in_mph,
  },
};

/** Whether a set of units is the US customary one. */
export function isCustomary(set) {
  return set.startsWith("gal");
}

/** A label's unit with its square written as one. */
export function writeUnit(unit) {
  return unit.replaceAll("ft2", "ft²").replaceAll("m2", "m²");
}

/** A temperature of degrees Celsius in °C or °F. */
export function warmthIn(value_c, unit) {
  return unit === "°F" ? value_c * 1.8 + 32 : value_c;
}
export const FIRST_SET = "l_per_100m2";

/** A value in SI as a number in the chosen set; null stays null. */
export function convert(value, quantity, set) {
  if (value === null || value === undefined || !Number.isFinite(value)) return null;
  return value * UNIT_SETS[set][quantity].per_si;
}

/** A number in the chosen set back in SI. */
export function revert(number, quantity, set) {
  return number / UNIT_SETS[set][quantity].per_si;
}

/** The unit's sign. */
export function unitOf(quantity, set) {
  return UNIT_SETS[set][quantity].unit;
}

const SUFFIXES = [
  ["pulses_per_l", "meter"], ["_mps_per_hz", "cup"], ["mps_per_hz", "cup"], ["_l_per_m2", "rate"], ["_l_per_min", "flow"],
  ["_mps", "speed"], ["_m2", "area"], ["_m", "length"], ["_l", "volume"],
];

/** What a key measures, by the unit in its name; null where the unit is the same in every set. */
export function quantityOf(key) {
  const found = SUFFIXES.find(([suffix]) => key.endsWith(suffix));
  return found ? found[1] : null;
}
