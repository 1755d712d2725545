// What holds a start back, under node --test.
import assert from "node:assert/strict";
import { test } from "node:test";
import { findHold, judgeMeter, judgeSight, judgeWind, listReasons, shareTold } from "../../server/dashboard/core/reasons.js";
import { TOLD } from "../../server/dashboard/core/receivers.js";
import { describeFit, fitStrips } from "../../server/dashboard/core/rope.js";

const SET = "l_per_100m2";
const NOW = 1_750_075_200;
const need = (more = {}) => ({ minutes: 25, origin: "lawn", total_min: 24.2, walk_min: 14, turns_min: 7, fills_min: 0, passes: 14, fills: 0,
  area_m2: 750, pace_mps: 1, is_pace_known: false, ...more });
const outlook = (more = {}) => ({ state: "known", chance: 0.81, low: 0.68, high: 0.9, limit_mps: 3, days: 12, mean_min: 1, likely_min: 60, need: need(),
  record: { minutes: 30, days: 12, said: 40, came_true: 33 }, inversion: { is_likely: false, sun_deg: 30, below_mps: 1.5 }, fault: null, ...more });
const wind = { true_mps: 1.6, true_sd_mps: 0.1, mean_60s_mps: 1.7, mean_2min_mps: 1.8, mean_2min_sd_mps: 0.1, gust_3s_mps: 2.6, gust_3s_sd_mps: 0.2, limit_mps: 3, height_m: 2 };
const snapshot = (more = {}) => ({ at_utc: NOW - 2, rig: { name: "yard", spool_s: 0 }, receiver: { fix: "fixed", rate_hz: 5 }, swath_m: 1, wind, job: null,
  counts: { flow_pulses: 90, flow_ago_s: 120, flow_hz: 9, cup_pulses: 40, cup_ago_s: 0.2 }, alarm: { level: "none", reason: "" }, faults: [], ...more });
const next = (more = {}) => ({ choice: {}, papers: {}, problem: null, due: { is_due: false, sentence: "calibrated 12 days ago, 84 L sprayed since; due in 168 days or after 416 L" },
  setup: { anemometer: { calibrated_on: "2025-06-01" } }, ...more });
const health = (free_bytes = 2e10) => ({ store: { free_bytes } });
const list = (more = {}) => listReasons({ snapshot: snapshot(), outlook: outlook(), next: next(), order: [], health: health(), now_utc: NOW, ...more }, SET);
const byKey = (reasons, key) => reasons.find((each) => each.key === key);
const plain = (text) => text.replaceAll("\u00a0", " ");

test("a good morning holds nobody back, and everything that was looked at is named", () => {
  const reasons = list();
  assert.deepEqual(reasons.filter(({ state }) => state !== "open"), []);
  for (const key of ["wind", "receiver", "meter", "spool", "disk", "clock", "hold", "inversion", "sprayer", "calibrated_cup"]) assert.ok(byKey(reasons, key), key);
  assert.ok(reasons.every(({ name, text }) => name && text));
});

test("what holds back comes first and says what to do", () => {
  const reasons = list({ snapshot: snapshot({ faults: ["The flow meter is silent."], counts: { flow_ago_s: null } }), health: health(5e8), outlook: outlook({ chance: 0.3 }) });
  assert.deepEqual(reasons.map(({ state }) => state), [...reasons.map(({ state }) => state)].sort((a, b) => "shut ajar open".indexOf(a) - "shut ajar open".indexOf(b)));
  assert.deepEqual(reasons.filter(({ state }) => state === "shut").map(({ key }) => key), ["meter", "hold"]);
  assert.ok(reasons.filter(({ state }) => state !== "open").every(({ advice }) => advice.length > 0));
  assert.equal(reasons.filter(({ key }) => key === "meter").length, 1, "said once");
  assert.equal(byKey(reasons, "disk").state, "ajar");
});

test("what was sprayed lately holds back its own product on its own ground", () => {
  const papers = { site: { number: 1 }, zones: [], products: [{ number: 7 }] };
  const wait = { kind: "interval", state: "wait", site: 1, zones: ["Lawn"], products: [7], sentence: "Iron not again on the lawn before 19 December: 21 days are the least." };
  const held = (more, chosen = papers) => byKey(list({ next: next({ papers: chosen }), season: { matters: [{ ...wait, ...more }] } }), more.kind ?? "interval");
  assert.equal(held({}).state, "shut");
  assert.equal(findHold(list({ next: next({ papers }), season: { matters: [wait] } })).key, "interval");
  assert.equal(held({ kind: "re_entry", products: [9] }).state, "ajar", "whatever was sprayed there");
  for (const other of [{ state: "fact" }, { site: 2 }, { products: [8] }]) assert.equal(held(other), undefined);
  assert.equal(held({}, { ...papers, zones: ["Bank"] }), undefined, "another zone");
  assert.equal(list({ next: next({ papers }), season: { matters: [wait] }, snapshot: snapshot({ job: { state: "running" } }) }).some(({ key }) => key === "interval"), false);
  assert.equal(findHold(list()), null);
});

test("a receiver tells what was measured at that swath or the next narrower one", () => {
  assert.equal(shareTold("ordinary", 1), TOLD.ordinary[2][1] / TOLD.ordinary[2][2]);
  assert.equal(shareTold("ordinary", 0.99), TOLD.ordinary[1][1] / TOLD.ordinary[1][2]);
  assert.equal(shareTold("fixed", 0.4), null, "nobody measured that");
  assert.match(plain(judgeSight(snapshot(), SET).text), /\(fixed\) a strip left out at a swath of 1\.0 m is told in 10 of 10/);
  const single = judgeSight(snapshot({ receiver: { fix: "single", rate_hz: 5 } }), SET);
  assert.match(single.text, /in 8 of 10 under an ordinary sky, in 0 of 10 under a poor one/); // 225 of 299, 0 of 299
  assert.equal(single.state, "ajar");
  assert.equal(judgeSight(snapshot({ receiver: { fix: "none", rate_hz: null } }), SET).state, "shut");
  assert.match(judgeSight(snapshot({ receiver: { fix: "single", rate_hz: 1 } }), SET).text, /1\.0 fixes a second/);
  assert.equal(judgeSight(snapshot({ receiver: { fix: "fixed", rate_hz: 1 } }), SET).state, "open");
  assert.match(judgeSight(snapshot({ swath_m: 0.4 }), SET).text, /not tried/);
});

test("a meter that has not counted lately wants one squeeze over the bucket", () => {
  assert.equal(judgeMeter(snapshot()).state, "open");
  for (const flow_ago_s of [null, 5000]) assert.match(judgeMeter(snapshot({ counts: { flow_ago_s } })).advice, /over the bucket/);
  assert.equal(judgeMeter({}).state, "ajar", "a service that tells no counts");
});

test("wind is held against the limit at its height", () => {
  assert.match(plain(judgeWind(snapshot(), outlook(), SET).text), /Now 1\.6 ± 0\.1 m\/s, last 2 minutes 1\.8 ± 0\.1 m\/s, gust 2\.6 ± 0\.2 m\/s; limit 3\.0 m\/s at 2\.0 m/);
  const above = judgeWind(snapshot({ wind: { ...wind, mean_60s_mps: 3.5, mean_2min_mps: 3.4 } }), outlook({ state: "above" }), SET);
  assert.equal(above.state, "shut");
  assert.equal(judgeWind(snapshot({ wind: { ...wind, gust_3s_mps: 3.3 } }), outlook(), SET).state, "ajar");
  assert.equal(judgeWind(snapshot({ wind: { ...wind, limit_mps: null } }), outlook(), SET).state, "shut");
  assert.equal(judgeWind(snapshot({ wind: { ...wind, mean_2min_mps: null } }), outlook(), SET).state, "shut");
});

test("clock, samples that wait, calibrations and the season are told where they want a look", () => {
  const late = list({ snapshot: snapshot({ at_utc: NOW - 4000, rig: { name: "yard", spool_s: 90 } }),
    next: next({ due: { is_due: true, sentence: "never calibrated here" }, setup: { anemometer: {} }, choice: { treatment: 2 } }),
    order: [{ name: "Coring", day: "2025-06-15", treatment: null, reasons: ["holes let it in"] }, { name: "Spring", day: "2025-06-16", treatment: 2, reasons: [] }] });
  for (const key of ["clock", "spool", "sprayer", "calibrated_cup", "order"]) assert.equal(byKey(late, key).state, "ajar", key);
  assert.match(byKey(late, "order").text, /Planned before it: Coring on 2025-06-15 \(holes let it in\)\./);
  assert.equal(byKey(list({ next: next({ setup: { anemometer: { calibrated_on: "2023-01-01" } } }) }), "calibrated_cup").state, "ajar");
});

test("nothing is said of a rig that was never heard, and nothing of calibrations in a job", () => {
  const none = list({ snapshot: snapshot({ rig: { name: null }, faults: ["No rig has been heard yet."] }) });
  assert.deepEqual(none.filter(({ key }) => ["wind", "receiver", "meter", "clock"].includes(key)), []);
  assert.equal(none[0].key, "link");
  assert.deepEqual(list({ snapshot: snapshot({ job: { id: 1 } }) }).filter(({ key }) => ["sprayer", "calibrated_cup", "order", "meter"].includes(key)), []);
  assert.match(byKey(list({ outlook: outlook({ state: "short", minutes_known: 12, minutes_wanted: 70 }) }), "hold").text, /^12 of the last 70 minutes/);
  assert.deepEqual(listReasons({ snapshot: null, outlook: null, next: null, order: null, health: null, now_utc: NOW }, SET), []);
});

test("as many strips fit as end within the likely calm, and the stop is at a strip's end", () => {
  assert.deepEqual(fitStrips(outlook({ likely_min: 14 })), { count: 9, of: 14, stop_min: 13.5 }); // 1.5 min each
  assert.equal(describeFit(outlook({ likely_min: 14 })), "About 9 of 14 strips are likely to fit, 13 minutes from now on. Stop at the end of a strip.");
  assert.match(describeFit(outlook()), /^All 14 strips/);
  assert.match(describeFit(outlook({ likely_min: 0 })), /^Not one of 14/);
  assert.equal(describeFit(outlook({ likely_min: null })), "");
  assert.equal(describeFit(outlook({ need: need({ walk_min: null }) })), "", "an unknown lawn has no strips");
  const long = outlook({ likely_min: 60, need: need({ minutes: 60, total_min: 95, walk_min: 70, turns_min: 25, passes: 50 }) });
  assert.equal(fitStrips(long).count, 31, "1.9 min each; the strip that the hour cuts does not count");
});
