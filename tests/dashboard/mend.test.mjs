// The touch-up plan in words, under node --test.
import assert from "node:assert/strict";
import { test } from "node:test";
import {
  describeAlone, describeLook, describeMix, describeRepeat, describeRest, describeThin, groupLooks, shorten, summariseMend, wayOf,
} from "../../server/dashboard/core/mend.js";

const SET = "l_per_100m2";
const STRIP = { kind: "gap", passes: [3, 4], why_not: null, order: 1, lines_m: [[[0, 0], [1, 20]]], length_m: 20, width_m: 1, area_m2: 20,
  volume_l: 1, probability: 0.97, place_sd_m: 0.02, doubled_if_wrong_m2: 20 };
const PLAN = { repeats: [], looks: [], alone: [], thin: [], area_m2: 0, volume_l: 0, allowance_l: 0, small_count: 0, small_m2: 0, untold_m: 0, seams_m: 100 };
const plain = (text) => text.replaceAll("\u00a0", " ");

test("the head says how much is to be walked, and what only the eye can find", () => {
  assert.equal(summariseMend(PLAN, SET), "Nothing to mend was found.");
  assert.equal(summariseMend({ ...PLAN, alone: [{}] }, SET), "No strip has to be walked again.");
  const one = { ...PLAN, repeats: [STRIP], area_m2: 20, volume_l: 1, allowance_l: 0.1 };
  assert.equal(plain(summariseMend(one, SET)), "One strip was missed. Walk it again: 20.0 m², 1.00 L; with a little to spare 1.10 L.");
  const hidden = { ...STRIP, why_not: "placing" };
  assert.match(plain(summariseMend({ ...one, looks: [hidden] }, SET)), /by eye: 1\.00 L more if you do\.$/);
  assert.match(summariseMend({ ...PLAN, looks: [hidden] }, SET), /^A strip is missing, but this receiver cannot place it/);
  assert.match(summariseMend({ ...PLAN, looks: [{ ...STRIP, why_not: "unsure" }] }, SET), /^No strip is sure enough/);
});

test("a strip says where, how long, how sure, and what it does if that is wrong", () => {
  const { head, text } = describeRepeat(STRIP, SET);
  assert.equal(head, "Between passes 3 and 4");
  assert.equal(plain(text), "20.0 m to the north, 1.0 m wide, 1.00 L; 97 % sure. If it was not missed, 20.0 m² get twice the rate.");
  assert.match(plain(describeRepeat({ ...STRIP, probability: 0.9999 }, SET).text), /over 99 % sure/);
  assert.match(describeRepeat({ ...STRIP, lines_m: [STRIP.lines_m[0], STRIP.lines_m[0]] }, SET).text, /in 2 lanes/);
  assert.equal(describeRepeat({ ...STRIP, kind: "edge", passes: [] }, SET).head, "Beside the edge");
  assert.match(plain(describeRepeat(STRIP, "gal_per_1000ft2").text), /65\.6 ft to the north/);
});

test("which way a line leads", () => {
  assert.deepEqual([[0, 1], [1, 1], [1, 0], [1, -1], [0, -1], [-1, -1], [-1, 0], [-1, 1]].map((end) => wayOf([[0, 0], end])),
    ["north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"]);
});

test("pieces between the same passes are one place to look at, the missing ones first", () => {
  const unsure = { ...STRIP, why_not: "unsure", probability: null };
  const edge = { ...STRIP, kind: "edge", passes: [], why_not: "unlikely", probability: 0.5 };
  const looks = [unsure, { ...unsure, length_m: 5, volume_l: 0.25 }, edge, edge, { ...STRIP, why_not: "placing", place_sd_m: 0.4 }];
  const found = groupLooks({ ...PLAN, looks });
  assert.deepEqual(found.map(({ why_not, count }) => [why_not, count]), [["placing", 1], ["unlikely", 1], ["unlikely", 1], ["unsure", 2]]);
  assert.equal(plain(describeLook(found[3], SET).text), "25.0 m in 2 pieces, cannot be told. If you see that it was missed: 1.25 L.");
  assert.match(plain(describeLook(found[0], SET).text), /a strip is missing \(97 % sure\), but it is placed only to ± 0\.4 m: find it by eye/);
});

test("a receiver that tells next to nothing is said to, and no single place is named", () => {
  const plan = { ...PLAN, looks: [{ ...STRIP, why_not: "unsure", probability: null }], untold_m: 70 };
  assert.match(summariseMend(plan, SET), /cannot tell missed strips at this swath: look at the whole lawn/);
  assert.deepEqual(groupLooks(plan), []);
  assert.equal(groupLooks({ ...plan, untold_m: 50 }).length, 1);
});

test("what was doubled says how much too much, and whether that is beyond the label", () => {
  const found = { kind: "doubled", passes: [7, 8], area_m2: 25, times_target: 2.06, surplus_l: 0.445, probability: 0.98, is_beyond_label: true };
  const { head, text } = describeAlone(found, { most_times: 1.5, strictest: "Feed" }, SET);
  assert.equal(head, "Passes 7 and 8 lie on one another");
  assert.equal(plain(text), "25.0 m² got 2.1 times the target, 0.45 L too much; 98 % sure. "
    + "That is beyond the label of Feed: its most is 1.5 times what was planned.");
  assert.doesNotMatch(describeAlone({ ...found, is_beyond_label: null }, {}, SET).text, /label/);
});

test("thin passes that are mended in one way are told together", () => {
  const thin = (pass, way) => ({ pass, way, area_m2: 30, lacking_l_per_m2: 0.01 });
  const [same, label] = describeThin([thin(1, "weaker"), thin(4, "weaker"), thin(6, "label")], 0.05);
  assert.equal(same.head, "2 passes (1, 4)");
  assert.equal(plain(same.text), "got 80 % of the target. To mend it: 20 % of the product in the usual water, at the usual pace.");
  assert.match(plain(label.text), /read the label's carrier range/);
});

test("what to mix goes by what is left in the tank", () => {
  assert.equal(plain(describeMix({ need_l: 1.1, from_tank_l: 0, mix_l: 1.1, left_l: 0 }, SET)), "Mix 1.10 L: as strong as before.");
  assert.match(plain(describeMix({ need_l: 1.1, from_tank_l: 0.4, mix_l: 0.7, left_l: 0 }, SET)), /Use the 0\.400 L in the tank and mix 0\.700 L more/);
  const load = { carrier_l: 1, amounts: [{ name: "Feed", is_weighed: false, volume_l: 0.1, mass_kg: 0.12 }, { name: "Iron", is_weighed: true, volume_l: null, mass_kg: 0.0567 }] };
  const told = { need_l: 1.1, from_tank_l: 0, mix_l: 1.1, left_l: 0, load };
  assert.equal(plain(describeMix(told, SET)), "Mix 1.10 L: 1.00 L of water and 100 mL of Feed, 56.7 g of Iron.");
  assert.equal(plain(describeMix(told, "gal_per_acre")), "Mix 0.291 gal: 0.264 gal of water and 3.38 fl oz of Feed, 2.00 oz of Iron."); // 29.57 mL a fl oz
  assert.match(plain(describeMix({ need_l: 1.1, from_tank_l: 1.1, mix_l: 0, left_l: 2 }, SET)), /enough; 2\.00 L will be left/);
  assert.equal(describeMix({ need_l: 0, from_tank_l: 0, mix_l: 0, left_l: 2 }, SET), "");
});

test("what is left out is told with its sum", () => {
  assert.equal(describeRest(PLAN, SET), "");
  const words = plain(describeRest({ ...PLAN, small_count: 2, small_m2: 1.3, untold_m: 40 }, SET));
  assert.equal(words, "2 smaller strips, 1.3 m² in all, are not worth a walk. "
    + "On 40 % of the length between passes this receiver cannot tell how far apart they lie.");
  assert.deepEqual(shorten([1, 2, 3], 2), { shown: [1, 2], more: 1 });
});
