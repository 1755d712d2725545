// The mix sheet and the tank in words.

import assert from "node:assert/strict";
import { test } from "node:test";

import { tellAfter } from "../../server/dashboard/core/aftercare.js";
import { tellOtherSprayer } from "../../server/dashboard/core/papers.js";
import {
  addressOfSheet, evenOut, loadsOf, stepsOf, tankOfSnapshot, tellCaution, tellFill, tellPasses, tellRefusal, tellRest, tellStated,
  tellTank, tellWalk, tellWindLimit, wordsOfTool, writeAmount,
} from "../../server/dashboard/core/fill.js";

const METRIC = "l_per_100m2";
const US = "gal_per_1000ft2";
const plain = (text) => text.replaceAll("\u00a0", " ");
const amount = (more = {}) => ({
  name: "Feed", form: "solution", volume_l: 0.1875, mass_kg: null, is_weighed: false, tool: "cup", tool_step: 0.01, is_too_coarse: false, ...more,
});
const load = (mix_l, ...amounts) => ({ mix_l, area_m2: mix_l / 0.04, carrier_l: mix_l, first_carrier_l: mix_l / 2, rest_carrier_l: mix_l / 2, amounts });

test("amounts take the unit that people measure with, three digits", () => {
  assert.equal(plain(writeAmount(0.1514, METRIC)), "151 mL");
  assert.equal(plain(writeAmount(0.1514, US)), "5.12 fl oz"); // University of Georgia's backpack mix: 5.12 fl oz in 2 gal
  assert.equal(plain(writeAmount(7.5, METRIC)), "7.50 L");
  assert.equal(plain(writeAmount(0.9996, METRIC)), "1.00 L");
  assert.equal(plain(writeAmount(0.0453592, US, true)), "1.60 oz");
  assert.equal(plain(writeAmount(1.134, US, true)), "2.50 lb");
  assert.equal(plain(writeAmount(0.0002, METRIC)), "0.200 mL");
  assert.equal(writeAmount(null, METRIC), "not known");
});

test("a tool says its steps, a syringe in millilitres everywhere, and when it is too coarse", () => {
  assert.equal(plain(wordsOfTool(amount(), METRIC)), "Measure it with a measuring cup (steps of 10 mL).");
  assert.equal(plain(wordsOfTool(amount({ tool: "jug", tool_step: 0.1 }), METRIC)), "Measure it with a jug (steps of 100 mL).");
  const fine = amount({ tool: "fine syringe", tool_step: 0.0002, volume_l: 0.0047 });
  assert.equal(plain(wordsOfTool(fine, US)), "Measure it with a fine syringe: 4.70 mL (steps of 0.2 mL).");
  assert.match(wordsOfTool({ ...fine, is_too_coarse: true }, METRIC), /^Too small to measure well/);
  const weighed = amount({ is_weighed: true, mass_kg: 0.05, tool: "kitchen scale", tool_step: 0.001 });
  assert.equal(plain(wordsOfTool(weighed, METRIC)), "Weigh it on a kitchen scale (steps of 1 g).");
});

test("a tank is filled by half the water, each product, the rest of the water, with its cautions where they matter", () => {
  const steps = stepsOf(load(15, amount(), amount({ name: "Wetter" })), METRIC);
  assert.deepEqual(steps.map(({ what }) => what), ["Half of the water", "Feed", "Wetter", "The rest of the water"]);
  assert.match(steps[0].remark, /hose never dips/);
  assert.match(steps[1].remark, /gloves and eye protection/);
  assert.match(steps[2].remark, /never concentrates together/);
  assert.deepEqual(stepsOf(load(15), METRIC).map(({ what }) => what), ["Water"]);
});

test("loads are told with their numbers", () => {
  const titles = (full_count, last) => loadsOf({ full: full_count ? load(15) : null, full_count, last: last ? load(3) : null }).map(({ title, numbers }) => [title, numbers]);
  assert.deepEqual(titles(2, true), [["Tanks 1 to 2, each", [1, 2]], ["Tank 3, the last: not full", [3]]]);
  assert.deepEqual(titles(0, true), [["One tank, not full", [1]]]);
  assert.deepEqual(titles(1, false), [["Tank 1", [1]]]);
});

test("a last tank hardly worth mixing is spread over all", () => {
  const sheet = { full_count: 5, total: { mix_l: 75.4 }, cautions: [{ what: "a small last load" }] };
  assert.equal(evenOut(sheet).count, 6);
  assert.ok(Math.abs(evenOut(sheet).each_l - 75.4 / 6) < 1e-9);
  assert.equal(evenOut({ ...sheet, cautions: [] }), null);
});

test("the walk is told by the course that people pace out", () => {
  const walk = { flow_l_per_min: 2.4, flow_origin: "typed", swath_m: 1, directions: 1, pace_mps: 1, seconds_per_10_m: 10, seconds_per_100_ft: 30.48, verdict: "walkable" };
  assert.deepEqual([plain(tellWalk({ walk }, METRIC).figure), tellWalk({ walk }, METRIC).what], ["10.0 s", "for each 10 m"]);
  assert.deepEqual([plain(tellWalk({ walk }, US).figure), tellWalk({ walk }, US).what], ["30.5 s", "for each 100 ft"]);
  assert.match(tellWalk({ walk: { ...walk, verdict: "too fast" } }, US).verdict, /walk twice/);
  assert.match(tellWalk({ walk: { ...walk, directions: 2 } }, US).remark, /crosswise/);
  assert.equal(tellWalk({ walk: null }, METRIC), null);
  assert.equal(tellPasses({ passes: 23, passes_a_tank: 9.2, full_count: 2 }), "23 passes in all. A full tank lasts for about 9.2 of them.");
  assert.equal(tellPasses({ passes: null }), "");
});

test("the tank is told with its doubt in one unit, and what nobody entered as assumed", () => {
  const tank = { left_l: 9.5, left_sd_l: 0.2, is_assumed: false, is_contradiction: false, treats_m2: 237.5, area_left_m2: 400 };
  assert.equal(plain(tellTank(tank, METRIC).figure), "9.50 ± 0.40 L");
  assert.equal(plain(tellTank({ ...tank, left_l: 0.5, left_sd_l: 0.1 }, METRIC).figure), "500 ± 200 mL");
  assert.equal(plain(tellTank(tank, METRIC).lines[0]), "Enough for 238 m². 400 m² are left to do.");
  assert.match(tellTank({ ...tank, is_assumed: true }, METRIC).lines[1], /a full tank is assumed/);
  assert.match(tellTank({ ...tank, is_contradiction: true }, METRIC).lines[1], /More was sprayed/);
  const live = tankOfSnapshot({ tank_left_l: 8, tank_left_sd_l: 0.1, is_tank_assumed: false, target_l_per_m2: 0.04, area_left_m2: null });
  assert.equal(live.treats_m2, 200);
});

test("after a stop the way with fewer fills is told", () => {
  const mix = (full_count, last_l, total_l) => ({ full_count, full: full_count ? load(15) : null, last: last_l ? load(last_l) : null, total: load(total_l) });
  const rest = { area_left_m2: 400, tank_left_l: 9.7, treats_m2: 242, surplus_l: 0, sheet: mix(0, 6.3, 6.3), top_up: load(5.3), after: mix(0, 1, 1) };
  assert.equal(plain(tellRest(rest, METRIC).lines[1]), "Spray it out, then mix 6.30 L.");
  assert.deepEqual(tellRest(rest, METRIC).loads.map(({ title }) => title), ["The last tank"]);
  const single = { ...rest, after: null };
  assert.equal(plain(tellRest(single, METRIC).lines[1]), "Top up now with 5.30 L: that is all.");
  const done = { ...rest, sheet: null, top_up: null, after: null, surplus_l: 2 };
  assert.equal(plain(tellRest(done, METRIC).lines[1]), "Mix no more: 2.00 L will be left over.");
  assert.deepEqual(tellRest(done, METRIC).loads, []);
});

test("refusals, fills, limits and cautions are said in the chosen units", () => {
  const refusal = { key: "litres", detail: "litres: 22 L would be in a tank of 15 L: check number and unit", message: "" };
  assert.equal(plain(tellRefusal(refusal, METRIC)), "22.0 L would be in a tank of 15.0 L: check number and unit");
  assert.equal(plain(tellRefusal(refusal, US)), "5.81 gal would be in a tank of 3.96 gal: check number and unit");
  assert.equal(tellRefusal(new Error("gone"), US), "Gone");
  assert.equal(plain(tellRefusal({ detail: "0 L is outside 0.1 to 2,000 L" }, US)), "0 gal is outside 0.0264 gal to 528 gal");
  assert.match(plain(tellRefusal({ key: "area", detail: "area: 0 m² is outside 1 to 1,000,000 m²" }, US)), /^0 ft² is outside 10\.8 ft² to 10763910 ft²$/);
  assert.equal(plain(tellRefusal({ detail: "40.7 L/ha is too much" }, US)), "40.7 L/ha is too much");
  assert.equal(plain(tellFill({ added_l: 15, load: 2 }, METRIC)), "15.0 L filled in, tank 2 of the sheet");
  assert.equal(plain(tellFill({ holds_l: 3 }, METRIC)), "holds 3.00 L");
  assert.equal(plain(tellStated({ value: 1.5, unit: "fl oz/1000 ft2" })), "1.5 fl oz/1000 ft²");
  assert.equal(plain(tellStated({ value: 400, unit: "L/ha" })), "400 L/ha");
  assert.equal(plain(tellWindLimit({ limit_stated: "10 mph", averaging_s: 120, height_m: null, subject: "Feed" }, METRIC)), "Wind: at most 10 mph (over 2 min 0 s), by Feed.");
  assert.equal(tellWindLimit(null, METRIC), "");
  assert.match(tellCaution({ what: "a strong mix", subject: "Feed", value: 0.4, least: 0, most: 0.25 }, METRIC), /40 % of the mix/);
});

test("what labels ask for afterwards is said once, the longest time counts", () => {
  const bare = { watering: "either", water_within_h: null, water_depth_stated: null, dry_h: null, re_entry_h: null };
  const soil = { ...bare, name: "Wake", watering: "must", water_within_h: 24, water_depth_stated: "0.25 in", re_entry_h: 4 };
  assert.equal(tellAfter({ products: [soil, { ...bare, name: "Iron", watering: "must_not", dry_h: 12, re_entry_h: 2 }] }),
    "Afterwards: people and animals off for 4 h, and until it is dry; water Wake in within 24 h with 0.25 in; keep Iron dry for 12 h.");
  assert.match(tellAfter({ products: [{ ...bare, name: "Iron", watering: "must_not" }] }), /until it is dry, or longer .*; do not water Iron in\.$/);
  assert.equal(tellAfter({ products: [] }), "");
});

test("a sheet for another sprayer than the next job's is said", () => {
  const papers = { treatment: { number: 3 }, sprayer: { name: "Small" } };
  assert.match(tellOtherSprayer({ sprayer: "Blue" }, papers, 3), /for Blue, the next job is chosen with Small/);
  assert.equal(tellOtherSprayer({ sprayer: "Small" }, papers, 3), "");
  assert.equal(tellOtherSprayer({ sprayer: "Blue" }, papers, 4), "");
  assert.equal(tellOtherSprayer({ sprayer: "Blue" }, null, 3), "");
});

test("a sheet is asked for with what was chosen", () => {
  const choice = { sprayer: 2, area_m2: null, fill_l: 10, spare_l: null, flow_l_per_min: 1.5, is_even: false, zones: ["a b", "c"] };
  assert.equal(addressOfSheet(3, choice, "2027-05-31"), "/treatments/3/sheet?today=2027-05-31&sprayer=2&fill_l=10&flow_l_per_min=1.5&zones=a+b&zones=c");
  assert.match(addressOfSheet(3, { ...choice, spare_l: 0, area_m2: 0 }, "2027-05-31"), /area_m2=0/);
});
