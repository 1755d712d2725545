// The pure parts of a sprayer's calibration.

import assert from "node:assert/strict";
import test from "node:test";

import { describeChanges, describeCheck, emptyCheck, hasUse, readCheck, requestOfCheck } from "../../server/dashboard/core/check.js";

test("a catch by volume, by weight and with the rig's count is asked in the units that were typed", () => {
  const stretch = { rig: "rig-1", boot: "0123abcd", start: 1, end: 2 };
  const draft = { ...emptyCheck("catch", "gal_per_acre"), step: "0,5", runs: [{ amount: "44", seconds: "46", pulses: "", stretch: null }, { amount: "45", seconds: "", pulses: "", stretch }] };
  assert.deepEqual(requestOfCheck("catch", draft), {
    way: "catch", step: { value: 0.5, unit: "fl oz" }, temperature_c: 15,
    runs: [{ volume: { value: 44, unit: "fl oz" }, seconds: 46 }, { volume: { value: 45, unit: "fl oz" }, stretch }] });
  const weighed = requestOfCheck("catch", { ...draft, unit: "g", runs: [{ amount: "1994", seconds: "60", pulses: "900" }] });
  assert.deepEqual(weighed.scale_step, { value: 0.5, unit: "g" });
  assert.deepEqual(weighed.runs[0], { weight: { value: 1994, unit: "g" }, seconds: 60, pulses: 900 });
  assert.throws(() => requestOfCheck("catch", { ...draft, step: "fine" }), /is not a number/);
});

test("rows of cups, walks and whole checks are asked without what was left empty", () => {
  assert.deepEqual(requestOfCheck("swath", { ...emptyCheck("swath", "l_per_ha"), rows: ["0 25 50,5 25 0", ""] }),
    { way: "swath", spacing: { value: 25, unit: "cm" }, rows: [{ amounts: [0, 25, 50.5, 25, 0] }] });
  assert.deepEqual(requestOfCheck("walk", { ...emptyCheck("walk", "gal_per_acre"), times: ["25", "24.5"] }),
    { way: "walk", course: { value: 100, unit: "ft" }, times_s: [25, 24.5] });
  const whole = { ...emptyCheck("check", "gal_per_acre"), target: "31", volume: "31", step: "0.5", times: ["20"] };
  assert.deepEqual(requestOfCheck("check", whole), { way: "rate", method: "plot", target: { value: 31, unit: "gal/acre" },
    volume: { value: 31, unit: "fl oz" }, step: { value: 0.5, unit: "fl oz" }, times_s: [20] });
});

test("a refusal is a sentence without the field's name", () => {
  assert.deepEqual(describeCheck("catch", { is_usable: false, refusal: "catch: 2 are too few: catch 3 times or more" }, "l_per_ha"),
    ["Not yet: 2 are too few: catch 3 times or more."]);
  const small = { is_usable: false, refusal: "catch: 0.0887206 L in steps of 0.0295735 L may be off by 16.7%: catch at least 0.739338 L" };
  assert.deepEqual(describeCheck("catch", small, "gal_per_acre").map((line) => line.replaceAll("\u00a0", " ")),
    ["Not yet: 3.00 fl oz in steps of 1.00 fl oz may be off by 16.7%: catch at least 25.0 fl oz."]);
});

test("figures follow the user's units and say their doubt", () => {
  const found = { is_usable: true, swath_m: 1.2192, swath_m_margin: 0.12192, left_m: -0.4, right_m: 0.8192, pattern: "triangle", unevenness: 0.02, words: [] };
  const lines = describeCheck("swath", found, "gal_per_acre").map((line) => line.replaceAll("\u00a0", " "));
  assert.deepEqual(lines, ["Swath 4.000 ft ± 10 %, pattern triangle.", "Passes at this swath lie 2.0 % uneven.", "Its middle lies 0.688 ft to the right of the nozzle."]);
});

test("only a counted catch and a swath can be put to use, and what changed is said", () => {
  assert.equal(hasUse({ is_usable: true, way: "catch", pulses_per_l: 495 }), true);
  assert.equal(hasUse({ is_usable: true, way: "catch", pulses_per_l: null }), false);
  assert.equal(hasUse({ is_usable: true, way: "walk" }), false);
  assert.equal(hasUse({ is_usable: false, way: "swath" }), false);
  assert.equal(describeChanges([{ key: "swath", before: { value: 1, unit: "m" }, after: { value: 1.2, unit: "m" } }]), "In use. swath: 1.000 m, now 1.200 m.");
});

test("a draft that cannot be read is begun anew", () => {
  assert.deepEqual(readCheck("walk", "l_per_ha", "{"), emptyCheck("walk", "l_per_ha"));
  assert.equal(readCheck("walk", "l_per_ha", "{\"course\":\"40\"}").course, "40");
});
