// The first time's steps, under node --test.
import assert from "node:assert/strict";
import { test } from "node:test";
import { describeLaid, findTrial, hasStrip, keepFigures, listSteps, suggestTarget } from "../../server/dashboard/core/first.js";

const SET = "l_per_100m2";
const plain = (text) => text.replaceAll("\u00a0", " ");
const counts = (more = {}) => ({ flow_pulses: 54, flow_ago_s: 20, flow_hz: 9, cup_pulses: 3, cup_ago_s: 1, ...more });
const snapshot = (more = {}) => ({ rig: { name: "practice-rig", link: "online" }, receiver: { fix: "fixed", sats: 24 }, counts: counts(),
  passes_done: 0, is_spraying: false, volume_l: 0.12, job: null, ...more });
const seen = (more = {}) => ({ snapshot: snapshot(), age_s: 0.2, isKept: false, trial: null, review: null, left: [], ...more });
const states = (more) => listSteps(seen(more), SET).map(({ state }) => state).join(" ");

test("before anything is heard the first step is due and nothing is ticked", () => {
  assert.equal(states({ snapshot: null, age_s: null }), "now later later later later later later");
  const none = snapshot({ rig: { name: null, link: "unknown" }, receiver: { fix: null }, counts: { flow_pulses: null, cup_ago_s: null } });
  assert.equal(states({ snapshot: none }), "now later later later later later later");
});

test("steps tick themselves off by what the service sees, in whatever order", () => {
  assert.equal(states({}), "done done done done now later later");
  assert.equal(states({ snapshot: snapshot({ counts: counts({ flow_pulses: 3 }) }) }), "done done now done later later later", "a bump is no squeeze");
  assert.equal(states({ snapshot: snapshot({ receiver: { fix: "none" } }) }), "done now done done later later later");
  assert.equal(states({ age_s: 20 }), "now done done done later later later", "a rig that fell silent is no longer heard");
  assert.equal(states({ isKept: true }), "done done done done done now later");
});

test("a step that can be left out makes room for the next, and is ticked all the same once it is seen", () => {
  const still = snapshot({ counts: counts({ cup_ago_s: null }) });
  assert.equal(states({ snapshot: still }), "done done done now later later later");
  assert.equal(states({ snapshot: still, left: ["cup"] }), "done done done left now later later");
  assert.equal(states({ left: ["cup"] }), "done done done done now later later");
});

test("the trial is done when it is ended, and what it laid when it is computed", () => {
  const trial = { id: 1, isOver: false };
  assert.equal(states({ isKept: true, trial }), "done done done done done now later");
  const walked = listSteps(seen({ trial, snapshot: snapshot({ passes_done: 1 }) }), SET)[5];
  assert.match(walked.advice, /A strip is done/);
  assert.match(plain(walked.seen), /0\.12 L so far, 1 strip walked/);
  assert.equal(hasStrip(snapshot({ passes_done: 1, is_spraying: true })), false, "not while the next one is walked");
  assert.equal(states({ trial: { id: 1, isOver: true } }), "done done done done done done now");
  assert.equal(states({ trial: { id: 1, isOver: true }, review: { state: "ready", volume_l: 0.2, passes: 1 } }), "done done done done done done done");
});

test("the rate wanted is what the flow lays at the pace", () => {
  // 9 pulses a second of 450 a litre are 1.2 L/min: at 1 m/s over 1 m that is 0.02 L/m2.
  assert.ok(Math.abs(suggestTarget(counts(), { swath_m: 1, pulses_per_l: 450, pace_mps: 1 }) - 0.02) < 1e-12);
  assert.equal(suggestTarget(counts({ flow_hz: null }), { swath_m: 1, pulses_per_l: 450, pace_mps: 1 }), null);
  assert.equal(suggestTarget(counts(), { swath_m: 1, pulses_per_l: undefined, pace_mps: 1 }), null);
});

test("the newest trial among the jobs is the one that a page begins with", () => {
  const job = (id, name, state = "finished") => ({ id, name, state });
  assert.equal(findTrial([]), null);
  assert.equal(findTrial([job(3, "North lawn")]), null);
  assert.deepEqual(findTrial([job(1, "Water trial"), job(4, "Water trial", "running"), job(5, "North lawn")]), { id: 4, isOver: false, wasSeen: true });
});

test("only the three figures and the rate are kept, the rest of the settings stays", () => {
  const crossed = { sprayer: {}, flow_meter: {}, treatment: { target_l_per_m2: 0.05, directions: 2 } };
  assert.equal(keepFigures(crossed, { swath_m: 1, pulses_per_l: 450, pace_mps: 1 }, 0.02).treatment.target_l_per_m2, 0.04, "a strip is half of it");
  const setup = { sprayer: { swath_m: 2, tank_l: 12 }, flow_meter: { pulses_per_l: [400, 420], flow_l_per_min: [1, 2], sd_percent: 3 },
    treatment: { target_l_per_m2: 0.05, wind_limit_mps: 4 }, anemometer: { mps_per_hz: 0.3 } };
  assert.deepEqual(keepFigures(setup, { swath_m: 1, pulses_per_l: 450, pace_mps: 1 }, 0.0200491), {
    sprayer: { swath_m: 1, tank_l: 12 }, flow_meter: { pulses_per_l: 450, sd_percent: 3 },
    treatment: { target_l_per_m2: 0.02, wind_limit_mps: 4 }, anemometer: { mps_per_hz: 0.3 } });
  assert.equal(keepFigures(setup, { swath_m: 1, pulses_per_l: 450 }, null).treatment.target_l_per_m2, 0.05);
  assert.equal(setup.sprayer.swath_m, 2, "what was read is not changed");
});

test("what was laid on the strips is told with its spread, apart from what went into the bucket", () => {
  const review = { volume_l: 0.28, volume_sd_l: 0.0056 }; // a meter of 2 %
  const strip = { volume_l: 0.08, area_m2: 4, dose_l_per_m2: 0.02, dose_sd_l_per_m2: 0.02 * Math.hypot(0.02, 0.015) };
  const told = describeLaid(review, [strip, strip], SET);
  assert.deepEqual(told.lines.map(({ figure }) => plain(figure)), ["0.160 ± 0.003 L", "8.00 ± 0.12 m²", "2.00 ± 0.05 L/100 m²"]); // 2.5 % in all
  assert.match(plain(told.rest), /Another 0\.12 L went elsewhere/);
  const sure = describeLaid({ volume_l: 0.08, volume_sd_l: null }, [{ ...strip, dose_sd_l_per_m2: null }], SET);
  assert.deepEqual([plain(sure.lines[0].figure), sure.rest], ["0.0800 L", ""]);
  assert.equal(describeLaid(review, [], SET).lines[2].figure, "not known", "no strip was told from the rest");
});
