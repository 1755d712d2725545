// The pure parts of a record on the dashboard.

import assert from "node:assert/strict";
import test from "node:test";

import { sayDegrees } from "../../server/dashboard/core/format.js";

import {
  groupItems, hintToType, labelOf, missingKeys, readTyped, tellInstant, tellItem, tellSource, tellState, tellZone, writeTyped,
} from "../../server/dashboard/core/record.js";
import { writeUnit } from "../../server/dashboard/core/units.js";

const CLOCK = { set: "gal_per_1000ft2", offset_s: -18000 };
const METRIC = { set: "l_per_100m2", offset_s: 7200 };
const item = (more) => ({ key: "mix_l", label: "Mix", group: "What", kind: "volume", value: 3.785411784, unit: "L", source: "measured", missing: "", beside: null, amended: [], ...more });

test("a refused temperature is said in the degrees that were typed", () => {
  assert.equal(sayDegrees("260 degC is outside -60 to 60 degC", "gal_per_acre"), "500\u00a0°F is outside -76 to 140\u00a0°F");
  assert.equal(sayDegrees("260 degC is outside -60 to 60 degC", "l_per_ha"), "260\u00a0°C is outside -60 to 60\u00a0°C");
  assert.equal(sayDegrees("must be filled in", "l_per_ha"), "must be filled in");
});

test("items are told in the chosen units, labels' own amounts as they are", () => {
  assert.equal(tellItem(item({}), CLOCK), "1.00\u00a0gal");
  assert.equal(tellItem(item({}), METRIC), "3.79\u00a0L");
  assert.equal(tellItem(item({ kind: "amount", value: 15.26, unit: "fl oz" }), METRIC), "15.3\u00a0fl oz");
  assert.equal(tellItem(item({ kind: "rate", value: 6, unit: "fl oz/1000 ft2" }), METRIC), "6.00\u00a0fl oz/1000 ft²");
  assert.equal(tellItem(item({ kind: "celsius", value: 15 }), CLOCK), "59\u00a0°F");
  assert.equal(tellItem(item({ kind: "bearing", value: 242.2 }), CLOCK), "from the south-west (242°)");
  assert.equal(tellItem(item({ kind: "off", value: 13.82 }), CLOCK), "+13.8\u00a0%");
  assert.equal(tellItem(item({ value: null, missing: "no treatment was chosen" }), CLOCK), "not known: no treatment was chosen");
  assert.equal(writeUnit("mL/100 m2"), "mL/100 m²");
});

test("times follow the record's own clock, not the reader's", () => {
  assert.equal(tellInstant(1778743816, -18000), "2026-05-14 02:30");
  assert.equal(tellZone(-18000), "UTC−05:00");
  assert.equal(tellZone(20700), "UTC+05:45");
  assert.equal(tellZone(0), "UTC");
});

test("what is typed and written goes there and back", () => {
  for (const clock of [CLOCK, METRIC]) {
    for (const [kind, value] of [["area", 200], ["speed", 2.25], ["celsius", 17.5], ["percent", 60], ["bearing", 270], ["volume", 8], ["height", 2]]) {
      const back = readTyped(kind, writeTyped(kind, value, "", clock), clock);
      assert.ok(Math.abs(back - value) < 1e-3 * Math.abs(value), `${kind} ${back}`);
    }
    assert.equal(readTyped("instant", writeTyped("instant", 1778743800, "", clock), clock), 1778743800);
    assert.equal(readTyped("amount", writeTyped("amount", 12.5, "fl oz", clock), clock), "12.5 fl oz");
  }
  assert.equal(readTyped("text", "  ", CLOCK), null);
  assert.equal(readTyped("percent", "60,5", CLOCK), 60.5);
  assert.throws(() => readTyped("speed", "fast", CLOCK), /not a number/);
  assert.throws(() => readTyped("instant", "yesterday", CLOCK), /no date/);
  assert.match(hintToType("amount", "gal_per_acre", 0), /fl oz/);
});

test("a value says where it comes from, and what stands beside it", () => {
  assert.equal(tellSource(item({})), "measured");
  assert.equal(tellSource(item({ beside: 9 })), "measured; typed was 9");
  assert.equal(tellSource(item({ source: "typed", beside: "Willow" })), "typed; before: Willow");
  assert.equal(tellSource(item({ amended: [{}] })), "amended");
});

test("a record's state is told in words", () => {
  const row = { state: "unsigned", is_reviewed: true, signature: null, missing: 2, amendments: 0, proposals: 0 };
  assert.equal(tellState(row), "not signed, 2 things are missing");
  assert.equal(tellState({ ...row, missing: 1 }), "not signed, one thing is missing");
  assert.equal(tellState({ ...row, missing: 0 }), "all there, not signed");
  assert.equal(tellState({ ...row, is_reviewed: false }), "not reviewed yet");
  assert.equal(tellState({ ...row, state: "open" }), "the job is still open");
  assert.equal(tellState({ ...row, signature: { name: "A." }, amendments: 1, proposals: 2 }), "signed by A., one amendment; a later review differs");
});

test("items are grouped, rows numbered, and only chosen rules' needs are missed", () => {
  const items = [item({ group: "Who" }), item({ key: "product.2.name", label: "Product" }), item({ group: "Who" })];
  assert.deepEqual(groupItems(items).map(([group, rows]) => [group, rows.length]), [["Who", 2], ["What", 1]]);
  assert.equal(labelOf(items[1]), "Product 2");
  const rules = [{ is_chosen: true, needs: [{ missing: ["a", "b"] }, { missing: ["b"] }] }, { is_chosen: false, needs: [{ missing: ["c"] }] }];
  assert.deepEqual([...missingKeys(rules)], ["a", "b"]);
});
