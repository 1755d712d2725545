// The pure parts of a card's form.

import assert from "node:assert/strict";
import test from "node:test";

import { firstUnit, hintOfField, readNumber, readNumbers, readTexts, writeNumber } from "../../server/dashboard/core/card.js";

const RATE = { units: { "mL/100 m2": [0.01, 100], "L/ha": [0.001, 2000], "fl oz/1000 ft2": [0.003, 600], "pt/acre": [0.001, 1000] } };

test("a field begins with a unit of the user's set", () => {
  assert.equal(firstUnit(RATE, "l_per_100m2"), "mL/100 m2");
  assert.equal(firstUnit(RATE, "l_per_ha"), "L/ha");
  assert.equal(firstUnit(RATE, "gal_per_1000ft2"), "fl oz/1000 ft2");
  assert.equal(firstUnit(RATE, "gal_per_acre"), "pt/acre");
  assert.equal(firstUnit({ units: { L: [0.1, 2000], gal: [0.03, 500] } }, "gal_per_acre"), "gal");
  assert.equal(firstUnit({ units: { bar: [0.1, 20], psi: [1, 290] } }, "l_per_ha"), "bar");
});

test("numbers are read with a point or a comma, and what is none is said", () => {
  assert.equal(readNumber(" 3,5 "), 3.5);
  assert.equal(readNumber(""), null);
  assert.deepEqual(readNumbers("430 450,5; 460"), [430, 450.5, 460]);
  assert.deepEqual(readTexts("front,  back ,"), ["front", "back"]);
  assert.throws(() => readNumber("3 oz"), /not a number/);
  assert.equal(writeNumber(0.1 + 0.2), "0.3");
});

test("a field says its limits in the unit chosen", () => {
  const field = { ...RATE, kind: "stated", hint: "", refers: "", is_needed: true };
  assert.equal(hintOfField(field, "L/ha"), "0.001 to 2000 L/ha; needed");
});
