// Start now?: what is answered and why, under node --test.
import assert from "node:assert/strict";
import { test } from "node:test";
import { describeAlarm } from "../../server/dashboard/core/figures.js";
import { formatHour, formatTime, tellSpeeds } from "../../server/dashboard/core/format.js";
import { cutRope, describeRope, planStrips } from "../../server/dashboard/core/rope.js";
import { answerStart, describeAir, describeHours, describeInversion, describeNeed, describeTrust, sayTenths } from "../../server/dashboard/core/start.js";
import { UNIT_SETS } from "../../server/dashboard/core/units.js";
import { Store } from "../../server/dashboard/store.js";

const close = (found, wanted, tolerance) => assert.ok(Math.abs(found - wanted) <= tolerance, `${found} is not ${wanted} ± ${tolerance}`);
const SET = "l_per_100m2";
const NOW = 1_750_075_200;
const need = (more = {}) => ({ minutes: 25, origin: "lawn", total_min: 24.2, walk_min: 12.5, turns_min: 3.8, fills_min: 6, passes: 28, fills: 1,
  area_m2: 750, pace_mps: 1, is_pace_known: false, ...more });
const outlook = (more = {}) => ({ state: "known", chance: 0.81, low: 0.68, high: 0.9, limit_mps: 3, height_m: 2, days: 12.3, mean_min: 1,
  minutes_known: 70, minutes_wanted: 70, need: need(), record: { minutes: 30, days: 12, said: 40, came_true: 33 },
  inversion: { is_likely: false, sentence: "", sun_deg: 30, below_mps: 1.5 }, ...more });
const snapshot = (more = {}) => ({ alarm: { level: "none", reason: "" }, faults: [], ...more });
const answer = (shown, told, more = {}, set = SET) => {
  const found = answerStart(shown, told, set, { isConnected: true, isOld: false, ...more });
  return { ...found, all: `${found.word} ${found.text}`.replaceAll("\u00a0", " ") };
};

test("the first sentence answers, in the user's units", () => {
  assert.equal(answer(snapshot(), outlook()).all, "Yes, likely: 8 in 10 that it stays under 3.0 m/s for the 25 minutes.");
  assert.match(answer(snapshot(), outlook(), {}, "gal_per_acre").all, /under 6\.7 mph for/); // 1 mph = 0.44704 m/s exactly
  assert.equal(answer(snapshot(), outlook({ chance: 0.34 })).all, "Better wait: 3 in 10 that it stays under 3.0 m/s for the 25 minutes.");
  assert.equal(answer(snapshot(), outlook({ chance: 0.6 })).word, "Uncertain:");
  const left = outlook({ need: need({ origin: "left", minutes: 12 }) });
  assert.match(answer(snapshot(), left).all, /for the 12 minutes that are left\.$/);
});

test("the tenths are those that the service says", () => {
  assert.deepEqual([0.02, 0.049, 0.051, 0.72, 0.949, 0.951, 1].map(sayTenths),
    ["under 1 in 10", "under 1 in 10", "1 in 10", "7 in 10", "9 in 10", "over 9 in 10", "over 9 in 10"]);
});

test("a yes is said only where nothing speaks against it", () => {
  const held = answer(snapshot(), outlook(), { hold: { text: "Not again before 19 December." } });
  assert.equal(held.kind, "doubt");
  assert.match(held.all, /^Calm, but not yet: Not again before 19 December\. 8 in 10/);
  const inversion = { is_likely: true, sentence: "Calm is not good.", sun_deg: 4, below_mps: 1.5 };
  const cases = [
    [snapshot({ alarm: { level: "stop", reason: "" } }), outlook(), "no"],
    [snapshot({ alarm: { level: "notice", reason: "" } }), outlook(), "doubt"],
    [snapshot({ faults: ["The flow meter is silent."] }), outlook(), "doubt"],
    [snapshot(), outlook({ inversion }), "doubt"],
    [snapshot(), outlook({ state: "above", chance: null }), "no"],
    [snapshot(), outlook({ state: "short", chance: null }), "unknown"],
    [snapshot(), null, "unknown"],
    [null, outlook(), "unknown"],
  ];
  for (const [shown, told, kind] of cases) assert.equal(answer(shown, told).kind, kind, JSON.stringify(shown));
  assert.equal(answer(snapshot(), outlook(), { isOld: true }).kind, "unknown");
  assert.equal(answer(snapshot(), outlook(), { isOld: true, isConnected: false }).kind, "unknown");
  assert.equal(answer(snapshot(), outlook(), { isConnected: false }).kind, "yes", "a moment's break changes nothing");
});

test("a no names the mean that is above the limit", () => {
  const above = (mean_60s_mps, level) => answer(snapshot({ wind: { mean_60s_mps }, alarm: { level, reason: "" } }), outlook({ state: "above" })).all;
  assert.match(above(3.4, "none"), /last minute's mean, 3\.4 m\/s, is above the limit of 3\.0 m\/s/);
  assert.match(above(2.8, "stop"), /alarm is on/);
  assert.match(above(2.8, "none"), /wind of the last 10 minutes was above/);
  assert.match(above(null, "none"), /wind of the last 10 minutes was above/);
});

test("where nothing is known it says what to do", () => {
  const said = { no_limit: /My gear/, no_rig: /stand in the yard for 70 minutes/, silent: /power and its link/, no_date: /view of the sky/,
    no_wind: /anemometer/, short: /let the rig stand in the yard for 70 minutes; 12 of them are there/ };
  for (const [state, wanted] of Object.entries(said)) {
    const found = answer(snapshot(), outlook({ state, chance: null, limit_mps: state === "no_limit" ? null : 3, minutes_known: 12 }));
    assert.match(found.all, wanted);
    assert.equal(found.kind, "unknown");
  }
});

test("the wind is told with its error, the limit at its height", () => {
  const wind = { true_mps: 1.6, true_sd_mps: 0.12, mean_2min_mps: 1.8, mean_2min_sd_mps: 0.1, gust_3s_mps: 2.6, gust_3s_sd_mps: 0.2, limit_mps: 3, height_m: 2 };
  const lines = describeAir({ wind }, SET).map(({ figure, remark }) => `${figure} ${remark}`.trim().replaceAll("\u00a0", " "));
  assert.deepEqual(lines, ["1.6 ± 0.1 m/s", "1.8 ± 0.1 m/s 1.2 m/s below the limit 3.0 m/s at 2.0 m", "2.6 ± 0.2 m/s"]);
  const none = describeAir({ wind: { ...wind, true_mps: null, mean_2min_mps: null, gust_3s_mps: null, limit_mps: null } }, SET);
  assert.deepEqual(none.map(({ figure }) => figure), ["not known", "not known", "not known"]);
  assert.equal(none[1].remark, "No limit is set");
});

test("the chance's range, days and record are told, and what it rests on without days", () => {
  const [range, days, record] = describeTrust(outlook());
  assert.equal(range, "Nine times of ten the true chance lies between 7 and 9 in 10.");
  assert.equal(days, "12 days of wind at this place stand behind it.");
  assert.equal(record, "Looking back over 12 days, every 5 minutes, it would have said so 40 times here for 30 minutes; 33 times it stayed calm.");
  assert.match(describeTrust(outlook({ days: 0, record: null })).join(" "), /many places share.*not said so here before/);
  assert.match(describeTrust(outlook({ mean_min: 10 })).join(" "), /means over 10 minutes/);
  assert.deepEqual(describeTrust(outlook({ state: "short" })), []);
  assert.deepEqual(describeTrust(null), []);
});

test("the minutes needed are told with how they were reckoned", () => {
  const say = (more, set = SET) => describeNeed(need(more), set).replaceAll("\u00a0", " ");
  assert.equal(say({}), "25 minutes. The whole lawn, 750 m² at 1.0 m/s (assumed): walking 13 min, turns 3.8 min, 1 refill 6.0 min.");
  assert.match(say({ total_min: 95.2, minutes: 60 }), /the longest that can be told\. The whole lawn takes about 96/);
  assert.equal(say({ origin: "chosen", minutes: 40 }), "40 minutes, as you chose. The lawn takes about 25.");
  assert.match(say({ origin: "usual", minutes: 30, total_min: null, area_m2: null }), /no outline of the lawn is set/);
  assert.match(say({ origin: "left", fills: 0, is_pace_known: true }, "gal_per_acre"), /What is left, 8073 ft²/);
});

test("usual hours are told on the reader's clock and never as a forecast of weather", () => {
  const hours = { minutes: 30, days: 12, usual: [{ from_utc: NOW - 3600, to_utc: NOW + 3600 }, { from_utc: NOW + 36000, to_utc: NOW + 43200 }],
    next_utc: NOW + 36000, next_share: 0.87 };
  const [usual, now] = describeHours(hours, NOW);
  assert.ok(usual.includes(formatHour(NOW - 3600)) && usual.includes(formatHour(NOW + 43200)), usual);
  assert.equal(now, "Now is such a time.");
  assert.match(describeHours(hours, NOW + 7200)[1], /next such hour begins about .*: there 9 in 10 stretches stayed calm/);
  assert.match(describeHours({ ...hours, days: 2 }, NOW)[0], /fewer than three days/);
  assert.match(describeHours({ ...hours, usual: [], next_utc: null }, NOW)[0], /No hour of the day/);
  assert.match(describeHours({ ...hours, usual: [{ from_utc: NOW, to_utc: NOW + 86400 }] }, NOW)[0], /At any hour/);
});

test("an inversion is a caution with sun and wind, and the lawn page says it beside no alarm", () => {
  const calm = { is_likely: true, sentence: "Calm is not the same as good.", sun_deg: -3, below_mps: 1.5 };
  assert.match(describeInversion(calm, "gal_per_acre"), /sun is down and the wind is below 3\.4\u00a0mph.*a caution, not a finding/);
  assert.match(describeInversion({ ...calm, is_likely: false, sun_deg: 12 }, SET), /12° high: less wind than/);
  assert.match(describeInversion({ ...calm, is_likely: false, sun_deg: 50 }, SET), /no inversion is to be feared/);
  assert.match(describeInversion({ ...calm, is_likely: false, sun_deg: null }, SET), /not known/);
  const lawn = (alarm, ...more) => describeAlarm(alarm, SET, ...more).reason;
  assert.match(lawn({ level: "none", reason: "" }, calm), /^Calm under a low sun can be an inversion/);
  assert.match(lawn({ level: "none", reason: `Opened. ${calm.sentence}` }, calm), /^Opened\. Calm under a low sun[^.]*\.$/, "said once");
  assert.equal(lawn({ level: "stop", reason: "Stop.", since_utc: NOW }, calm), "Stop.");
});

test("a lull's word is shown with its time, and only while it is news", () => {
  const word = { level: "none", reason: "Opened.", since_utc: NOW };
  assert.equal(describeAlarm(word, SET).reason, `${formatTime(NOW)}: Opened.`);
  assert.equal(describeAlarm(word, SET, null, NOW + 800).reason, `${formatTime(NOW)}: Opened.`);
  assert.equal(describeAlarm(word, SET, null, NOW + 1000).reason, "");
  assert.equal(describeAlarm({ level: "notice", reason: "Watch.", since_utc: NOW }, SET, null, NOW + 1000).reason, "Watch.");
  assert.equal(describeAlarm(null, SET).reason, "No word about the wind yet");
});

test("speeds in the service's sentences come in every set's unit", () => {
  const said = "60-s mean wind 5.1 m/s, limit 4.5 m/s: stop";
  for (const set of Object.keys(UNIT_SETS)) {
    const unit = UNIT_SETS[set].speed.unit;
    const told = tellSpeeds(said, set).replaceAll("\u00a0", " ");
    assert.equal(told.split(unit).length, 3, told);
    if (unit !== "m/s") assert.ok(!told.includes("m/s"), told);
  }
  assert.equal(tellSpeeds("stays under 4.4704 m/s", SET), "stays under 4.5\u00a0m/s");
  assert.equal(tellSpeeds("off by 0.45 to 0.89408 m/s", "gal_per_acre"), "off by 1.0 to 2.0\u00a0mph");
  assert.match(tellSpeeds(said, "gal_per_acre"), /11\.4\u00a0mph, limit 10\.1\u00a0mph/);
});

test("an outlook that was asked for and one from the stream are the same to the page", () => {
  const store = new Store();
  const told = [];
  store.addEventListener("outlook", () => told.push(store.outlook?.chance ?? null));
  store.takeOutlook(outlook());
  store.takeSnapshot({ position: null, job: null, rig: { age_s: 2 }, outlook: outlook({ chance: 0.5 }) }, 1);
  store.takeSnapshot({ position: null, job: null, rig: { age_s: 2 } }, 2);
  assert.deepEqual(told, [0.81, 0.5]);
  assert.deepEqual([store.heardAgo(5), store.ageAt(5)], [3, 5]);
});

test("strips and refills fill the minutes that the job takes, one behind the other", () => {
  const parts = planStrips(need());
  assert.equal(parts.filter((part) => part.isFill).length, 1);
  assert.equal(parts.filter((part) => !part.isFill).length, 28);
  assert.equal(parts[0].from_min, 0);
  parts.slice(1).forEach((part, place) => close(part.from_min, parts[place].to_min, 1e-9));
  close(parts[parts.length - 1].to_min, 12.5 + 3.8 + 6, 1e-9);
  assert.equal(parts.findIndex((part) => part.isFill), 14, "two tanks last equally long");
});

test("strips end with the minutes, however many the lawn has, and there are none of an unknown lawn", () => {
  const parts = planStrips(need({ minutes: 10, passes: 5000, walk_min: 900, fills: 12, fills_min: 72 }));
  assert.ok(parts.every((part) => part.from_min < part.to_min && part.to_min <= 10));
  close(parts[parts.length - 1].to_min, 10, 1e-9);
  assert.deepEqual(planStrips(need({ walk_min: null })), []);
  assert.deepEqual(planStrips(need({ passes: 0, walk_min: 0, turns_min: 0, fills: 0, fills_min: 0 })), []);
});

test("a rope has a gap where minutes are missing and is never thinner than its mean", () => {
  const rope = cutRope({ begin_utc: NOW, mean_mps: [null, 1, 2, null, 3], gust_3s_mps: [null, 1.5, null, null, 2.5] });
  assert.deepEqual(rope, [[{ at_min: -3.5, mean_mps: 1, gust_mps: 1.5 }, { at_min: -2.5, mean_mps: 2, gust_mps: 2 }],
    [{ at_min: -0.5, mean_mps: 3, gust_mps: 3 }]]);
  assert.deepEqual(cutRope({ mean_mps: [null], gust_3s_mps: [null] }), []);
});

test("the drawing is told in words for those who cannot see it", () => {
  const recent = { begin_utc: NOW, mean_mps: [1, null, 2], gust_3s_mps: [1.5, null, 3.5] };
  assert.equal(describeRope(outlook({ recent }), SET).replaceAll("\u00a0", " "),
    "Last 30 minutes: means of a minute from 1.0 m/s to 2.0 m/s, highest gust 3.5 m/s; the limit is 3.0 m/s. To come: 28 strips in 25 minutes.");
  assert.match(describeRope(outlook({ recent: { mean_mps: [1], gust_3s_mps: [null] }, limit_mps: null }), SET), /gust not known; no limit is set/);
  assert.match(describeRope(outlook({ recent: null }), SET), /No minute/);
});
