// The dashboard's pure modules, under node --test.
import assert from "node:assert/strict";
import { test } from "node:test";
import {
  beginInterval, describeCup, describeElapsed, describeStand, describeWalk, dropReading, emptyDraft, endInterval, readDraft,
  readSpeeds, requestOf, takeReading,
} from "../../server/dashboard/core/cup.js";
import { emptyDose, emptyTrack, litresOf, patchDose, patchTrack, wholeDose } from "../../server/dashboard/core/dose.js";
import { describeAge, describeAlarm, describeRate, describeWind } from "../../server/dashboard/core/figures.js";
import { fieldUnit, forgetCalibration, limitChanges, limitParts, mergeSetup, textOf, valueOf, zonesFromGeojson } from "../../server/dashboard/core/form.js";
import { formatFixed, formatFrom, formatLimit, formatNumber, formatSpan } from "../../server/dashboard/core/format.js";
import { boundsOf, fitView, project, roundLength, ticksWithin } from "../../server/dashboard/core/geometry.js";
import { makeRamp, oklabOfShare, srgbFromOklab, stepOfShare } from "../../server/dashboard/core/scale.js";
import { describeDoubts, describeNewest } from "../../server/dashboard/core/strips.js";
import { alarmSpans, describeChange, describeExceedance, describeShield, summariseStory } from "../../server/dashboard/core/story.js";
import { Store } from "../../server/dashboard/store.js";
import { UNIT_SETS, convert, quantityOf, revert } from "../../server/dashboard/core/units.js";

const close = (found, wanted, tolerance) => assert.ok(Math.abs(found - wanted) <= tolerance, `${found} is not ${wanted} ± ${tolerance}`);

test("rates agree with published conversions", () => {
  const gallon_per_acre = revert(1, "rate", "gal_per_acre");
  // Penn State Extension and Ohio State University Extension calibration tables: 1 GPA = 9.35 L/ha, GPA × 0.023 = gal/1000 ft².
  close(convert(gallon_per_acre, "rate", "l_per_ha"), 9.35, 0.02);
  close(convert(gallon_per_acre, "rate", "gal_per_1000ft2"), 0.023, 0.0001);
  // Penn State Extension, spray gun by the 1000 ft² method: 5.25 gal/1000 ft² = 228.7 gal/acre.
  close(convert(revert(5.25, "rate", "gal_per_1000ft2"), "rate", "gal_per_acre"), 228.7, 0.05);
  // Oklahoma Cooperative Extension: 40 gal/acre = 0.92 gal/1000 ft².
  close(convert(revert(40, "rate", "gal_per_acre"), "rate", "gal_per_1000ft2"), 0.92, 0.005);
});

test("speeds and volumes agree with published conversions", () => {
  close(revert(1, "speed", "gal_per_acre") / 0.3048, 88 / 60, 1e-9); // University of Nebraska Extension: 1 mph = 88 ft/min
  close(revert(1, "volume", "gal_per_acre"), 3.785, 0.0005); // the same: 1 US gal = 3.785 L
  // FAO Irrigation and Drainage Paper 56, example 14, as its worked copy prints it: 2.39 m/s is 8.62 km/h and 5.35 mph.
  close(convert(2.393, "speed", "l_per_ha"), 8.62, 0.02);
  close(convert(2.393, "speed", "gal_per_acre"), 5.35, 0.01);
});

test("every unit comes back to the figure it went out from", () => {
  for (const set of Object.keys(UNIT_SETS)) {
    for (const quantity of ["rate", "length", "area", "volume", "flow", "meter", "speed", "cup"]) {
      close(revert(convert(0.0371, quantity, set), quantity, set), 0.0371, 1e-15);
    }
  }
  assert.equal(convert(null, "rate", "l_per_ha"), null);
  assert.equal(convert(NaN, "rate", "l_per_ha"), null);
});

test("a key's unit is read from its name", () => {
  const wanted = { "sprayer.swath_m": "length", "treatment.target_l_per_m2": "rate", "flow_meter.pulses_per_l": "meter",
    "flow_meter.flow_l_per_min": "flow", "anemometer.mps_per_hz": "cup", "anemometer.offset_mps": "speed",
    "sprayer.tank_l": "volume", "sprayer.delay_s": null, "flow_meter.sd_percent": null, "treatment.under_fraction": null };
  for (const [key, quantity] of Object.entries(wanted)) assert.equal(quantityOf(key), quantity, key);
});

test("what is not known never looks like a number", () => {
  for (const value of [null, undefined, NaN, Infinity]) {
    assert.equal(formatNumber(value), "not known");
    assert.equal(formatFixed(value, 1), "not known");
    assert.equal(formatSpan(value), "not known");
    assert.equal(formatFrom(value), "not known");
  }
});

test("numbers and spans read plainly", () => {
  assert.equal(formatNumber(0.0366 * 100), "3.66");
  assert.equal(formatNumber(228.7), "229");
  assert.equal(formatNumber(1e6, 6), "1000000");
  assert.equal(formatNumber(-0.31, 2), "−0.31");
  assert.equal(formatFixed(-0.01, 1), "0.0");
  assert.equal(formatSpan(59.6), "1\u00a0min 0\u00a0s");
  assert.equal(formatSpan(3725), "1\u00a0h 2\u00a0min");
  assert.equal(formatFrom(359.7), "north (0°)");
  assert.equal(formatFrom(-129), "south-west (231°)");
});

test("OKLab turns into sRGB as its author prints it", () => {
  // Björn Ottosson, "A perceptual color space for image processing", 2020: white is (1, 0, 0); the matrices are the page's own.
  assert.deepEqual(srgbFromOklab([1, 0, 0]), [255, 255, 255]);
  assert.deepEqual(srgbFromOklab([0, 0, 0]), [0, 0, 0]);
  // CSS Color Module Level 4, section on OKLab: red (255, 0, 0) is oklab(0.62796 0.22486 0.12585).
  assert.deepEqual(srgbFromOklab([0.62796, 0.22486, 0.12585]), [255, 0, 0]);
});

test("equal distances from the target are equally light, and farther is always farther", () => {
  for (const scheme of ["light", "dark"]) {
    const middle = oklabOfShare(1, scheme)[0];
    for (let gap = 0.1; gap <= 1; gap += 0.1) {
      close(oklabOfShare(1 - gap, scheme)[0], oklabOfShare(1 + gap, scheme)[0], 1e-12);
      assert.ok(Math.abs(oklabOfShare(1 - gap, scheme)[0] - middle) > Math.abs(oklabOfShare(1.1 - gap, scheme)[0] - middle));
    }
    assert.deepEqual(oklabOfShare(7, scheme), oklabOfShare(2, scheme));
    assert.equal(makeRamp(scheme).length, 768);
  }
  assert.equal(stepOfShare(-1), 0);
  assert.equal(stepOfShare(3), 255);
});

test("too little and too much stay apart for eyes without red or green cones", () => {
  // Viénot, Brettel and Mollon 1999: both see only what blue and the sum of red and green tell. In OKLab that is b (blue against
  // yellow), so the two arms must part along it by far more than a just seen step of about 0.02 (common practice, no source).
  for (const scheme of ["light", "dark"]) {
    for (const gap of [0.2, 0.5, 1]) {
      assert.ok(oklabOfShare(1 + gap, scheme)[2] - oklabOfShare(1 - gap, scheme)[2] > 0.2 * gap - 1e-9, `${scheme} ${gap}`);
    }
  }
});

test("the picture of the dose is what the messages said", () => {
  const first = { reset: true, x0_m: 1, y0_m: 2, cell_m: 0.5, nx: 3, ny: 2, cells: [0, 5], l_per_m2: [0.04, 0.02] };
  let dose = patchDose(emptyDose(), first);
  close(litresOf(dose), 0.06 * 0.25, 1e-9);
  dose = patchDose(dose, { ...first, reset: false, cells: [5, 1, 6, -1, 2], l_per_m2: [0.03, 0.01, 9, 9, null] });
  close(litresOf(dose), 0.08 * 0.25, 1e-9);
  assert.equal(dose.refused, 3);
  assert.equal(dose.revision, 2);
  const grown = patchDose(dose, { ...first, reset: false, nx: 4, cells: [7], l_per_m2: [0.04] });
  close(litresOf(grown), 0.04 * 0.25, 1e-9);
  close(litresOf(wholeDose({ ...first, l_per_m2: [0, 0.1, null, 0, 0, 0.1] })), 0.2 * 0.25, 1e-8);
});

test("the way goes on, and begins again when it is told to", () => {
  const many = Array.from({ length: 200000 }, (_, place) => place);
  let track = patchTrack(emptyTrack(), { reset: true, east_m: many, north_m: many, spraying: many });
  track = patchTrack(track, { reset: false, east_m: [1], north_m: [2], spraying: [true] });
  assert.equal(track.east_m.length, 200001);
  assert.equal(patchTrack(track, { reset: true, east_m: [1], north_m: [2], spraying: [true] }).east_m.length, 1);
});

test("everything to be seen lies within the frame, north up", () => {
  const box = boundsOf({ zones: [{ rings_m: [[[-3, 1], [17, 1], [17, 40]]] }], position: { east_m: 20, north_m: -5 } });
  const view = fitView(box, 390, 320, 30);
  for (const [east_m, north_m] of [[-3, 1], [17, 40], [20, -5]]) {
    const [x, y] = project(view, east_m, north_m);
    assert.ok(x >= 30 - 1e-9 && x <= 360 + 1e-9 && y >= 30 - 1e-9 && y <= 290 + 1e-9, `${x} ${y}`);
  }
  assert.ok(project(view, 0, 10)[1] < project(view, 0, 0)[1]);
  assert.equal(boundsOf({}), null);
});

test("scale bars and ticks are round", () => {
  assert.equal(roundLength(7.3), 5);
  close(roundLength(0.23), 0.2, 1e-12);
  assert.equal(roundLength(NaN), 0);
  assert.deepEqual(ticksWithin(0, 10, 5), [0, 2, 4, 6, 8, 10]);
  assert.ok(ticksWithin(0, 3.7, 4).every((tick) => tick <= 3.7));
});

const wind = { mean_60s_mps: 4.4, mean_60s_sd_mps: 0.3, gust_3s_mps: 6, from_deg: 231, limit_mps: 4, height_m: 2 };

test("the words say which side of the limit and the target it is", () => {
  assert.match(describeWind({ wind }, "l_per_100m2").remark, /^0\.4\u00a0m\/s ABOVE the limit 4\.0/);
  assert.match(describeWind({ wind: { ...wind, mean_60s_mps: 3 } }, "l_per_100m2").remark, /^1\.0\u00a0m\/s below/);
  assert.match(describeWind({ wind: { ...wind, mean_60s_mps: null } }, "l_per_100m2").figure, /not known/);
  assert.match(describeWind({ wind: { ...wind, limit_mps: null } }, "l_per_100m2").remark, /^No limit is set/);
  const rate = { rate_l_per_m2: 0.03, target_l_per_m2: 0.04, rate_percent: 75, is_spraying: true };
  assert.match(describeRate(rate, "l_per_ha").remark, /^25\u00a0% under the target of 400/);
  assert.equal(describeRate({ ...rate, is_spraying: false }, "l_per_ha").figure, "Not spraying");
});

test("alarms have a word and a shape of their own, and silence is no calm", () => {
  const levels = ["none", "notice", "stop"].map((level) => describeAlarm({ level, reason: "r" }));
  assert.equal(new Set(levels.map(({ shape }) => shape)).size, 3);
  assert.equal(new Set(levels.map(({ word }) => word)).size, 3);
  assert.match(describeAlarm(null).reason, /No word/);
});

test("an old picture says how old it is", () => {
  assert.equal(describeAge(0.4, true).isOld, false);
  assert.match(describeAge(12, true).text, /12\u00a0s old/);
  assert.match(describeAge(1, false).text, /looking for the service/);
  assert.equal(describeAge(null, false).isOld, true);
});

test("a field goes out in the user's units and comes back the same", () => {
  const entry = { key: "treatment.target_l_per_m2", choices: null };
  for (const set of Object.keys(UNIT_SETS)) {
    close(valueOf(textOf(0.04, entry.key, set), entry, set), 0.04, 0.04 * 5e-6);
    assert.equal(fieldUnit(entry, set), UNIT_SETS[set].rate.unit);
  }
  assert.equal(valueOf("1,5", { key: "sprayer.swath_m" }, "l_per_ha"), 1.5);
  assert.deepEqual(valueOf("400, 420; 433", { key: "flow_meter.pulses_per_l" }, "l_per_ha"), [400, 420, 433]);
  assert.equal(valueOf("  ", entry, "l_per_ha"), undefined);
  assert.throws(() => valueOf("one", entry, "l_per_ha"), /is not a number/);
});

test("a limit is kept and shown as the label states it", () => {
  const changes = limitChanges(" 10 ", "mph");
  const setup = mergeSetup({ treatment: { wind_limit_mps: 4.5, target_l_per_m2: 0.04 } }, changes);
  assert.deepEqual(setup.treatment, { target_l_per_m2: 0.04, wind_limit_stated: "10 mph" });
  for (const set of Object.keys(UNIT_SETS)) {
    assert.deepEqual(limitParts(setup, set), { number: "10", unit: "mph" });
    assert.equal(formatLimit(4.4704, "10 mph", set), "10\u00a0mph (4.5\u00a0m/s)");
  }
  assert.equal(formatLimit(4.5, "4.5 m/s", "gal_per_acre"), "4.5\u00a0m/s");
  assert.equal(formatLimit(4.4704, undefined, "gal_per_acre"), "10.0\u00a0mph");
  assert.deepEqual(limitParts({ treatment: { wind_limit_mps: 5 } }, "l_per_ha"), { number: "18", unit: "km/h" });
  assert.deepEqual(limitParts({ treatment: { wind_limit_stated: "8 Knots" } }, "l_per_ha"), { number: "8", unit: "kn" });
  assert.deepEqual(limitParts({}, "l_per_100m2"), { number: "", unit: "m/s" });
  assert.deepEqual(Object.values(limitChanges("", "kn")), [undefined, undefined]);
  assert.equal(Object.values(limitChanges("4,5", "m/s"))[1], "4.5 m/s");
  assert.throws(() => limitChanges("ten", "mph"), /not a number/);
});

test("as much wind as the limit is not above it", () => {
  const wind = { limit_mps: 4.4704, limit_stated: "10 mph", mean_60s_mps: 4.4704, mean_60s_sd_mps: 0.1, gust_3s_mps: null };
  assert.doesNotMatch(JSON.stringify(describeWind({ wind }, "gal_per_acre")), /ABOVE/);
});

test("saving changes only what was changed", () => {
  const setup = { sprayer: { swath_m: 1, tank_l: 15 }, zone: [{ name: "a" }] };
  const merged = mergeSetup(setup, { "sprayer.tank_l": undefined, "grid.cell_m": 0.2 });
  assert.deepEqual(merged, { sprayer: { swath_m: 1 }, zone: [{ name: "a" }], grid: { cell_m: 0.2 } });
  assert.equal(setup.sprayer.tank_l, 15);
});

test("a line altered by hand is no longer the calibrated one", () => {
  const setup = { anemometer: { mps_per_hz: 0.34, scale_sd_percent: 1.2, calibrated_on: "2027-05-31" } };
  const altered = mergeSetup(setup, forgetCalibration({ "anemometer.mps_per_hz": 0.35 }));
  assert.deepEqual(altered, { anemometer: { mps_per_hz: 0.35 } });
  const given = { "anemometer.offset_mps": 0.1, "anemometer.scale_sd_percent": 2 };
  assert.equal(mergeSetup(setup, forgetCalibration(given)).anemometer.scale_sd_percent, 2);
  assert.deepEqual(mergeSetup(setup, forgetCalibration({ "grid.cell_m": 0.2 })).anemometer, setup.anemometer);
});

test("an outline is read from GeoJSON, or refused in words", () => {
  const ring = [[0, 0], [1, 0], [1, 1], [0, 0]];
  const feature = { type: "Feature", properties: { kind: "keep_out", name: "bed" }, geometry: { type: "MultiPolygon", coordinates: [[ring], [ring]] } };
  const zones = zonesFromGeojson(JSON.stringify({ type: "FeatureCollection", features: [feature] }));
  assert.deepEqual(zones.map(({ kind, rings }) => [kind, rings.length]), [["keep_out", 1], ["keep_out", 1]]);
  assert.throws(() => zonesFromGeojson("<xml>"), /not GeoJSON/);
  assert.throws(() => zonesFromGeojson('{"type":"Feature","geometry":{"type":"Point","coordinates":[0,0]}}'), /no polygon/);
});

test("the outline is wanted again with another job and with the first fix, and at no other time", () => {
  const store = new Store();
  let wanted = 0;
  store.addEventListener("job", () => { wanted += 1; });
  const rig = { age_s: 0.5 };
  const steps = [[null, null, 0], [null, { east_m: 0 }, 1], [null, { east_m: 1 }, 1], [{ id: 4 }, { east_m: 2 }, 2], [{ id: 4 }, null, 2],
    [{ id: 4 }, { east_m: 3 }, 3], [null, { east_m: 3 }, 4]];
  for (const [job, position, count] of steps) {
    store.takeSnapshot({ job, position, rig }, 10);
    assert.equal(wanted, count, JSON.stringify([job, position]));
  }
});

test("the age counts from the rig's sample, not from its arrival", () => {
  const store = new Store();
  assert.equal(store.ageAt(5), null);
  store.takeSnapshot({ job: null, position: null, rig: { age_s: 0.5 } }, 10);
  close(store.ageAt(12), 2.5, 1e-12);
});

function strip(pass_a, pass_b, verdict, from_m, to_m, more = {}) {
  return { pass_a, pass_b, verdict, from_m, to_m, spacing_m: 1, spacing_sd_m: 0.1, probability: 0.97, doubt: null, line_m: [], ...more };
}

function stripsOf(count, pairs) {
  const passes = Array.from({ length: count }, (_, place) => ({ pass: place + 1, length_m: 30, line_m: [] }));
  return { as_of_utc: null, way_points: 0, passes, pairs };
}

test("the newest strip is told in one sentence, the gravest part first", () => {
  const say = (count, ...pairs) => describeNewest(stripsOf(count, pairs), "l_per_100m2").text.replaceAll("\u00a0", " ");
  assert.equal(say(5, strip(4, 5, "even", 0, 30)), "Strip 5 beside 4: even.");
  assert.equal(say(5, strip(4, 5, "gap", 0.5, 29.5)), "Strip 5 beside 4: a strip seems missed.");
  assert.equal(say(5, strip(4, 5, "even", 0, 8), strip(4, 5, "gap", 8, 21), strip(4, 5, "even", 21, 30)),
    "Strip 5 beside 4: a strip seems missed, 8 to 21 m from the start of strip 4; even elsewhere.");
  assert.equal(say(5, strip(4, 5, "doubled", 2, 9), strip(4, 5, "doubled", 20, 30)),
    "Strip 5 beside 4: seems sprayed twice, 2 to 9 and 20 to 30 m from the start of strip 4.");
  const doubtful = (doubt) => strip(4, 5, "unsure", 0, 30, { doubt, spacing_m: 1.43, spacing_sd_m: 0.52 });
  assert.equal(say(5, doubtful("receiver")), "Strip 5 beside 4: cannot tell (receiver: spacing ± 0.5 m).");
  assert.equal(say(5, doubtful("slow")), "Strip 5 beside 4: cannot tell (receiver: too few fixes a second).");
  assert.equal(say(5, doubtful("spacing")), "Strip 5 beside 4: cannot tell (1.43 ± 0.5 m apart).");
  assert.equal(say(5, strip(3, 5, "even", 0, 30), strip(4, 5, "doubled", 0, 30)),
    "Strip 5 beside 4: seems sprayed twice. Strip 5 beside 3: even.");
  assert.equal(say(1), "Strip 1: no strip beside it yet.");
  assert.equal(say(4, strip(1, 2, "gap", 0, 30)), "Strip 4: no strip beside it.");
  assert.equal(say(0), "No strip was found so far.");
  assert.equal(describeNewest(null, "l_per_100m2").text, "Strips are judged at the end of each pass.");
  assert.equal(describeNewest(stripsOf(5, [strip(4, 5, "even", 0, 8), strip(4, 5, "gap", 8, 21)]), "l_per_100m2").verdict, "gap");
});

test("lengths of strips are told in the user's units", () => {
  const { text } = describeNewest(stripsOf(5, [strip(4, 5, "gap", 8, 21)]), "gal_per_acre");
  assert.match(text, /26 to 69\u00a0ft/); // 8 m = 26.2 ft, 21 m = 68.9 ft: 1 ft = 0.3048 m exactly
});

test("all that is doubtful so far is told, and nothing where all is even", () => {
  assert.equal(describeDoubts(null), "");
  assert.equal(describeDoubts(stripsOf(3, [strip(1, 2, "even", 0, 30)])), "");
  const text = describeDoubts(stripsOf(6, [strip(1, 2, "gap", 0, 9), strip(1, 2, "gap", 12, 15), strip(2, 3, "doubled", 0, 8),
    strip(3, 4, "unsure", 0, 5), strip(4, 5, "even", 0, 25)])).replaceAll("\u00a0", " ");
  assert.equal(text, "So far: a strip seems missed between 1 and 2; 2 and 3 seem to lie on one another; "
    + "how far apart strips lie cannot be told on 10 % of their length. Look at the ground before you spray again.");
});

test("strips that were asked for and strips from the stream are the same to the page", () => {
  const store = new Store();
  const told = [];
  store.addEventListener("strips", () => told.push(store.strips));
  const strips = stripsOf(1, []);
  store.takeSnapshot({ position: null, job: null }, 1);
  store.takeStrips(strips);
  store.takeSnapshot({ position: null, job: null, strips: null }, 2);
  assert.deepEqual(told, [strips, null]);
});

test("a reading beside a reference is begun, ended, typed and asked for", () => {
  const clock = { rig: "rig-1", boot: "0123abcd", mono: 100 };
  let draft = beginInterval(emptyDraft(), "references", clock, 1000);
  assert.equal(describeElapsed(draft.running, 46_000), "Counting for 45\u00a0s; 1\u00a0min 15\u00a0s to go.");
  assert.match(describeElapsed(draft.running, 131_000), /long enough/);
  const interval = endInterval(draft.running, { ...clock, mono: 221.5 });
  assert.deepEqual(interval, { boot: "0123abcd", start: 100, end: 221.5 });
  assert.throws(() => endInterval(draft.running, { ...clock, boot: "ffff0000", mono: 5 }), /started anew/);
  assert.throws(() => endInterval(draft.running, clock), /sent nothing/);
  draft = takeReading({ ...draft, running: null, open: { interval } }, "7,5 8.0", "mph");
  assert.deepEqual(requestOf(draft, "rig-1"), {
    way: "references", rig: "rig-1", accuracy_percent: 3,
    readings: [{ interval, speeds: [7.5, 8], unit: "mph", resolution: 0.1 }],
  });
  assert.deepEqual(readDraft(JSON.stringify(draft)), draft);
  assert.deepEqual(dropReading(draft, 0).readings, []);
});

test("only speeds are taken for readings, with the step of the display", () => {
  assert.deepEqual(readSpeeds("3"), { speeds: [3], resolution: 1 });
  assert.deepEqual(readSpeeds("3.25; 3.1"), { speeds: [3.25, 3.1], resolution: 0.1 });
  for (const text of ["", "  ", "-2", "0", "calm", "3 m/s"]) assert.throws(() => readSpeeds(text), /not one speed/);
  for (const text of [null, "{", "5", "{}"]) assert.deepEqual(readDraft(text), emptyDraft());
});

test("a calibration says its line and how sure it is, or why it is none", () => {
  const found = { is_usable: true, refusal: "", mps_per_hz: 0.358, offset_mps: 0.21, at_mps: 4.5, scale_sd: 0.0123,
    change_percent: 5.02, legs: 24, seconds: 610, wind_mps: 0.31 };
  assert.equal(describeWalk(found, "l_per_100m2"), "24 steady legs in 10\u00a0min 10\u00a0s, wind 0.3\u00a0m/s. Good enough. The line: "
    + "0.358\u00a0m/s per Hz and 0.21\u00a0m/s; at 4.5\u00a0m/s sure to ± 1.2 %, 5.0 % more than the settings say.");
  assert.match(describeWalk({ ...found, legs: 1, wind_mps: null }, "l_per_100m2"), /^1 steady leg in 10.min 10.s\. /);
  const none = { ...found, is_usable: false, refusal: "the wind changed during the walk", mps_per_hz: null };
  assert.equal(describeStand(none, "l_per_100m2"), "Not yet: The wind changed during the walk.");
  assert.match(describeCup({ mps_per_hz: 0.34, offset_mps: 0.2 }, "gal_per_acre"), /mph per Hz.*not calibrated, so ± 3 %/);
  assert.match(describeCup({ mps_per_hz: 0.34, offset_mps: 0.2, scale_sd_percent: 1.2, calibrated_on: "2027-05-31" }, "l_per_ha"), /on 2027-05-31 to ± 1.2 %/);
  assert.match(describeCup({}, "l_per_ha"), /no line yet/);
});

test("alarms are spans, and gaps between them stay gaps", () => {
  const alarm = ["none", "notice", "notice", "stop", "stop", "none", "stop"];
  assert.deepEqual(alarmSpans([0, 1, 2, 3, 4, 5, 6], alarm), [
    { level: "notice", from_s: 1, to_s: 2 }, { level: "stop", from_s: 3, to_s: 4 }, { level: "stop", from_s: 6, to_s: 6 },
  ]);
  assert.deepEqual(alarmSpans([], []), []);
});

test("each change of the alarm says what was told, what the wind was and whether that was right", () => {
  const change = { utc: 0, before: "none", level: "stop", reason: "60-s mean wind 4.1 m/s", then_mps: 4.1, now_mps: 3.2, verdict: "wrong" };
  const { head, text } = describeChange(change, "l_per_100m2");
  assert.match(head, /, stop$/);
  assert.equal(text, "“60-s mean wind 4.1\u00a0m/s” The 60-s mean was 3.2\u00a0m/s, as known now (then: 4.1\u00a0m/s). That was wrong.");
  assert.match(describeChange({ ...change, reason: "mean 4.1 m/s, limit 10 mph (4.5 m/s)" }, "gal_per_acre").text, /“mean 9\.2\u00a0mph, limit 10 mph \(4\.5 m\/s\)”/);
  assert.match(describeChange({ ...change, before: "stop", level: "notice" }, "l_per_ha").head, /back to notice$/);
  const off = describeChange({ ...change, before: "stop", level: "none", now_mps: null, verdict: "unsure" }, "l_per_ha");
  assert.match(off.head, /alarm off$/);
  assert.equal(off.text, "What the wind was is not known. Whether that was right cannot be said.");
});

test("a time above the limit says how late stop was and what was sprayed until then", () => {
  const found = { start_utc: 0, end_utc: 60, highest_mps: 5.2, alarm_t: 30, late_s: 12, sprayed_s: 12, volume_l: 0.24, passes: [3, 4] };
  assert.match(describeExceedance(found, "l_per_100m2"), /stop was told 12\u00a0s after the crossing; until then 12\u00a0s of spraying, 0.240\u00a0L in passes 3 and 4\.$/);
  assert.match(describeExceedance({ ...found, late_s: -5, sprayed_s: 0 }, "l_per_100m2"), /told 5\u00a0s before the crossing\.$/);
  assert.match(describeExceedance({ ...found, alarm_t: null, late_s: null, passes: [9] }, "l_per_100m2"), /never told; 12\u00a0s of spraying, 0.240\u00a0L in pass 9\.$/);
  const story = { exceedances: [found], changes: [{ verdict: "wrong" }, { verdict: "right" }], unwarned_passes: [9] };
  assert.equal(summariseStory(story, "l_per_100m2"), "By what is known now the 60-s mean was above the limit once. Before stop was told "
    + "12\u00a0s were sprayed above it, 0.240\u00a0L. Above the limit without a stop: pass 9. 1 of 2 changes of the alarm was wrong.");
  assert.match(summariseStory({ exceedances: [], changes: [], unwarned_passes: [] }, "l_per_ha"), /never was above.*never spoke/);
  assert.match(summariseStory(null, "l_per_ha"), /No limit/);
});

test("a shield is told only where one was found", () => {
  assert.equal(describeShield(null), null);
  assert.match(describeShield({ side: "ahead on the right", loss: 0.26 }), /from ahead on the right by about 25 % or more.*above the head/);
});
