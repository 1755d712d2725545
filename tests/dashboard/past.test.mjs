// The pure parts of the air's page: periods by the reader's clocks, steps that fit, gaps, labels, words; tables brought along.

import assert from "node:assert/strict";
import test from "node:test";

import { LADDER_S, LEAST_PX, SPANS, besides, chooseStep, describePeriod, describeSource, describeStep, describeStore, finerAt, gapsOf, isNext,
  periodAround, placeAt, stepsOf, ticksOf, titleOf, topOf, writeFrom, writeStep, zoneOf } from "../../server/dashboard/core/past.js";
import { LARGEST_BYTES, describeProgress, describeReport, draftOf, mappingOf, nameOf, offerZones, openKeys, refuseFile } from "../../server/dashboard/core/readings.js";
import { Past } from "../../server/dashboard/past.js";
import { scaleTime } from "../../server/dashboard/draw/air.js";

process.env.TZ = "Europe/Berlin";
const HOUR_S = 3600;
const at = (...parts) => new Date(parts[0], parts[1] - 1, ...parts.slice(2)).getTime() / 1000;
const plain = (text) => text.replaceAll("\u00a0", " ").replaceAll("\u202f", " ");
const SET = "l_per_100m2";

test("days, weeks, months and years are those of the reader's clocks", () => {
  // Summer time in the European Union: Directive 2000/84/EC, last Sundays of March and October.
  const hours = (span, ...day) => { const { from_s, to_s } = periodAround(span, at(...day)); return (to_s - from_s) / HOUR_S; };
  assert.equal(hours("day", 2025, 3, 30, 12), 23);
  assert.equal(hours("day", 2025, 10, 26, 12), 25);
  assert.equal(hours("week", 2025, 3, 30), 7 * 24 - 1);
  assert.equal(hours("month", 2024, 2, 10), 29 * 24);
  assert.equal(hours("year", 2024, 7, 1), 366 * 24);
  assert.equal(new Date(periodAround("week", at(2025, 6, 1)).from_s * 1000).getDay(), 1);
});

test("periods follow one another without a hole, over changes of clocks too", () => {
  for (const span of Object.keys(SPANS)) {
    let period = periodAround(span, at(2025, 1, 1));
    for (let k = 0; k < 400; k += 1) {
      const next = besides(period, 1);
      assert.equal(next.from_s, period.to_s);
      assert.deepEqual(besides(next, -1), period);
      period = next;
    }
  }
});

test("looking closer keeps the instant in sight, down to the day", () => {
  let period = periodAround("year", at(2025, 10, 26, 2));
  for (const span of ["month", "day", "day"]) {
    period = finerAt(period, at(2025, 10, 26, 2));
    assert.equal(period.span, span);
    assert.ok(period.from_s <= at(2025, 10, 26, 2) && at(2025, 10, 26, 2) < period.to_s);
  }
});

test("steps fit the width, each wide enough to be seen, and are whole minutes", () => {
  for (const span of Object.keys(SPANS)) {
    for (const width_px of [260, 334, 900, 1380, 2400]) {
      const period = periodAround(span, at(2025, 6, 15));
      const step_s = chooseStep(period, width_px);
      assert.ok(((step_s / (period.to_s - period.from_s)) * width_px) >= LEAST_PX, `${span} ${width_px}`);
      assert.equal(step_s % 60, 0);
      assert.ok((period.to_s - period.from_s) / step_s <= 3000, "the service gives no more than 3000");
      const finer = LADDER_S[LADDER_S.indexOf(step_s) - 1];
      if (finer) assert.ok((finer / (period.to_s - period.from_s)) * width_px < LEAST_PX);
    }
  }
  assert.equal(chooseStep(periodAround("year", at(2025, 6, 15)), 1), LADDER_S.at(-1));
});

test("ticks stand on the reader's round hours and days, labels apart", () => {
  for (const span of Object.keys(SPANS)) {
    for (const width_px of [260, 900]) {
      for (const day of [at(2025, 3, 30), at(2025, 10, 26), at(2025, 6, 1)]) {
        const period = periodAround(span, day);
        const ticks = ticksOf(period, width_px);
        assert.ok(ticks.length >= 2 && ticks.length <= 31, `${span} ${ticks.length}`);
        ticks.forEach(({ at_s, until_s, label }, place) => {
          assert.equal(new Date(at_s * 1000).getMinutes(), 0);
          if (span !== "day") assert.equal(new Date(at_s * 1000).getHours(), 0);
          assert.ok(at_s >= period.from_s && at_s < period.to_s);
          assert.equal(until_s, ticks[place + 1]?.at_s ?? period.to_s);
          assert.notEqual(label, "");
        });
      }
    }
  }
  assert.equal(ticksOf(periodAround("day", at(2025, 3, 30)), 2000).length, 23, "the hour that clocks skip has no tick");
});

function seriesOf(starts, length_s, more = {}) {
  const all = (value) => starts.map(() => value);
  return { source: 1, start_utc: starts, end_utc: starts.map((start) => start + length_s), mean_mps: all(2), mean_sd_mps: all(0.5),
    gust_3s_mps: all(3), from_deg: all(null), from_sd_deg: all(null), known_fraction: all(1), below_fraction: all(0),
    station_fraction: all(1), ...more };
}

test("what is not known is a gap, what is still to come is none", () => {
  const period = { span: "day", from_s: 0, to_s: 24 * HOUR_S };
  const steps = stepsOf(seriesOf([0, HOUR_S, 5 * HOUR_S], HOUR_S, { known_fraction: [1, 0.001, 0.2] }), period);
  assert.deepEqual(steps.map(({ from_s }) => from_s), [0, 5 * HOUR_S], "a stray second makes no hour known");
  assert.deepEqual(gapsOf(steps, period, 7 * HOUR_S), [{ from_s: HOUR_S, to_s: 5 * HOUR_S }, { from_s: 6 * HOUR_S, to_s: 7 * HOUR_S }]);
  assert.deepEqual(gapsOf(steps, period).at(-1), { from_s: 6 * HOUR_S, to_s: 24 * HOUR_S });
  assert.deepEqual(gapsOf([], period, 0), []);
  assert.deepEqual(gapsOf([], period), [{ from_s: 0, to_s: 24 * HOUR_S }]);
  assert.ok(!isNext(steps[0], steps[1]));
  assert.ok(isNext({ to_s: 5 }, { from_s: 5 }));
  assert.ok(!isNext(undefined, steps[0]));
  assert.deepEqual(stepsOf(undefined, period), []);
});

test("steps that reach over the period's ends are cut there", () => {
  const [step] = stepsOf(seriesOf([-HOUR_S], 3 * HOUR_S), { from_s: 0, to_s: HOUR_S });
  assert.deepEqual([step.from_s, step.to_s], [0, HOUR_S]);
});

test("the axis holds all that is drawn, in any unit, and is never nought", () => {
  const steps = stepsOf(seriesOf([0, HOUR_S], HOUR_S, { mean_mps: [2, 5], gust_3s_mps: [3, null], mean_sd_mps: [null, 1] }), { from_s: 0, to_s: 1e5 });
  assert.equal(topOf(steps, (value) => value), 6 * 1.08);
  assert.equal(topOf(steps, (value) => value * 3.6, 9), 9 * 3.6 * 1.08);
  assert.equal(topOf([], (value) => value), 1);
});

test("an instant is where the drawing has it, and back", () => {
  const { x, at: back } = scaleTime({ from_s: 1000, to_s: 87400 }, 900);
  for (const at_s of [1000, 40000, 87400]) assert.ok(Math.abs(back(x(at_s)) - at_s) < 1e-6);
  const steps = [{ from_s: 0, to_s: 10 }, { from_s: 20, to_s: 30 }];
  assert.deepEqual([-5, 5, 12, 18, 25, 99].map((at_s) => placeAt(steps, at_s)), [0, 0, 0, 1, 1, 1]);
  assert.equal(placeAt([], 5), -1);
});

test("a step is told in words with its scatter, and a direction only where one is known", () => {
  const [step] = stepsOf(seriesOf([at(2025, 6, 1, 9)], HOUR_S), periodAround("day", at(2025, 6, 1)));
  const text = plain(describeStep(step, SET));
  assert.match(text, /mean 2\.0 m\/s ± 0\.5 m\/s, highest gust 3\.0 m\/s, standing\.$/);
  assert.doesNotMatch(text, /from|known|calm/);
  const walked = { ...step, from_deg: 315, from_sd_deg: 22.4, standing: 0.25, known: 0.5, below: 0.2, mean_sd_mps: null, gust_3s_mps: null };
  assert.match(plain(describeStep(walked, SET)), /mean 2\.0 m\/s, from the north-west \(315°\) ± 22°, 25 % standing, 50 % of it known, 20 % of that too calm/);
  assert.equal(writeFrom({ from_deg: null, from_sd_deg: null }), "not known");
  assert.doesNotMatch(writeStep({ from_s: at(2025, 6, 1), to_s: at(2025, 6, 2) }), / to /);
  assert.match(writeStep({ from_s: at(2025, 6, 2), to_s: at(2025, 6, 9) }), / to /);
});

test("a period's mean weighs its steps by what is known", () => {
  const period = periodAround("day", at(2025, 6, 1));
  const steps = stepsOf(seriesOf([period.from_s, period.from_s + HOUR_S], HOUR_S,
    { mean_mps: [1, 4], known_fraction: [1, 0.5], gust_3s_mps: [2, 7], station_fraction: [1, 0.4] }), period);
  const text = plain(describePeriod(steps, period, SET, 2));
  assert.match(text, /2\.0 m above the ground: mean 2\.0 m\/s, highest gust 7\.0 m\/s/);
  assert.match(text, /6 % of the time known, the rig stood in 80 % and was walked in 20 % of it/);
  assert.match(plain(describePeriod(steps, period, SET, 2, period.from_s + 3 * HOUR_S)), / 50 % of the time known/, "what is to come is not missing");
  assert.match(describePeriod([], period, SET, 2), /nothing was recorded/);
  assert.match(plain(describePeriod(steps, period, "gal_per_acre", 2)), /6\.6 ft above the ground: mean 4\.5 mph/);
});

test("titles, sources and zones are told", () => {
  assert.equal(titleOf(periodAround("year", at(2025, 6, 1))), "2025");
  const source = { kind: "import", name: "mast", height_m: 10, blocks: 525600, from_utc: at(2024, 1, 1), to_utc: at(2025, 1, 1) };
  assert.match(plain(describeSource(source, SET)), /^mast, brought along, at 10 m: 525 600 blocks, /);
  assert.match(describeSource({ ...source, from_utc: null, to_utc: null }, SET), /empty$/);
  assert.match(describeSource({ ...source, kind: "rig", blocks: 1 }, SET), /^Rig mast, at 10.m: 1 block, /);
  assert.equal(zoneOf(at(2025, 6, 1)), "Europe/Berlin");
  assert.equal(zoneOf(at(2025, 6, 1), false), "+02:00");
  assert.equal(zoneOf(at(2025, 1, 1), false), "+01:00");
});

const MAPPING = { time: [1], speed: 2, unit: "km/h", gust: 3, direction: null, flag: 4, good_flags: ["0"], missing: [-999, 99.9],
  separator: ";", decimal: ",", date_order: null, zone: null, stamp: null, height_m: null, first_line: 3 };
const doubts = (...keys) => keys.map((key) => ({ key, sentence: `${key}?` }));

test("what is doubtful is left open, what is sure is filled in", () => {
  const draft = draftOf({ mapping: MAPPING, doubts: doubts("zone", "stamp", "height_m", "good_flags", "speed", "gust", "date_order") });
  assert.deepEqual([draft.speed, draft.gust, draft.direction, draft.unit], [null, null, 0, "km/h"]);
  assert.deepEqual(Object.keys(openKeys(draft)).sort(), ["date_order", "good_flags", "gust", "height_m", "speed", "stamp", "zone"]);
});

test("a draft becomes the service's mapping once all is told", () => {
  const draft = draftOf({ mapping: MAPPING, doubts: doubts("zone", "stamp", "height_m", "date_order", "missing") });
  Object.assign(draft, { zone: "+01:00", stamp: "end", date_order: "by_file", height: "6,56", missing: "-999; 99,9" });
  assert.deepEqual(Object.keys(openKeys(draft)), ["missing"], "looked at before it counts");
  draft.confirmed.missing = true;
  assert.deepEqual(openKeys(draft), {});
  assert.deepEqual(mappingOf(draft, SET), { ...MAPPING, zone: "+01:00", stamp: "end", date_order: null, height_m: 6.56 });
  assert.equal(mappingOf(draft, "gal_per_acre").height_m, 1.999); // 6.56 ft at 0.3048 m
});

test("what cannot be read is told at its field, and flags that say nothing can be good ones", () => {
  const draft = draftOf({ mapping: { ...MAPPING, good_flags: ["", "ok"] }, doubts: [] });
  assert.equal(draft.good_flags, "(empty) | ok");
  assert.deepEqual(mappingOf({ ...draft, height: "2" }, SET).good_flags, ["", "ok"]);
  assert.throws(() => mappingOf({ ...draft, height: "2", missing: "none" }, SET), (problem) => problem.key === "missing");
  assert.deepEqual(mappingOf({ ...draft, height: "2", flag: 0 }, SET).good_flags, []);
  assert.ok("height_m" in openKeys({ ...draft, height: "high" }));
  assert.ok(!("zone" in openKeys({ ...draft, date_order: "epoch_s" })), "seconds since 1970 need no zone");
});

test("a file is refused before it is sent where it cannot be meant", () => {
  assert.match(refuseFile({ name: "a.csv", size: 0 }), /a\.csv is empty/);
  assert.match(refuseFile({ name: "a.csv", size: LARGEST_BYTES + 1 }), /larger than 64 MB/);
  assert.equal(refuseFile({ name: "a.csv", size: LARGEST_BYTES }), "");
  assert.equal(nameOf({ name: "yard 2025.csv.gz" }), "yard 2025");
  assert.equal(nameOf({ name: ".csv" }), "readings");
});

test("clocks to choose from name the one without summer time", () => {
  assert.deepEqual(offerZones(new Date(2025, 6, 1)).map(([code]) => code), ["UTC", "Europe/Berlin", "+01:00"]);
});

test("an import is told with every count", () => {
  const report = { name: "yard", rows: 1000, used_rows: 990, blocks: 980, added_blocks: 980, median_mps: 2, highest_mean_mps: 6.1, highest_gust_mps: null,
    from_utc: at(2025, 3, 1), to_utc: at(2025, 3, 2), known_fraction: 0.5, gaps: { count: 1, longest_s: 7200 }, taken: ["Speeds are taken as km/h."],
    notes: [{ sentence: "10 rows carry a flag: left out.", lines: [4, 9] }] };
  const told = describeReport(report, SET);
  assert.match(plain(told.head), /^990 rows of 1 000 rows used, 10 rows left out; 980 blocks kept, 980 of them new\.$/);
  assert.match(plain(told.check), /Median 2\.0 m\/s, highest mean 6\.1 m\/s, no gusts; .*50 % of that time known\. 1 gap, the longest of 2 h 0 min\.$/);
  assert.deepEqual(told.notes, ["10 rows carry a flag: left out. The first: lines 4, 9."]);
  assert.match(plain(describeProgress({ sent: 5e5, size: 1e6, since_s: 0 })), /^Sending: 50 % of 1 MB\.$/);
  assert.match(plain(describeProgress({ sent: 1e6, size: 1e6, since_s: 3.4 })), /reads the rows: 3 s so far/);
});

test("what is kept and since when is told", () => {
  const store = { file_bytes: 312e6, keep_hours: 48, outside_jobs_since_utc: at(2025, 6, 1, 9), removed_messages: 1234567 };
  assert.match(plain(describeStore(store)), /^The store takes 312 MB\. Of raw messages outside jobs 48 hours of recording are kept, now since .*2025.*\. 1 234 567 older ones have been removed; jobs/);
  assert.match(plain(describeStore({ ...store, outside_jobs_since_utc: null, removed_messages: 0 })), /kept\. None have been removed yet/);
  assert.match(plain(describeStore({ ...store, keep_hours: null })), /Nothing is ever removed/);
});

/** A service whose answers come when `answer` is called; `asked` holds what was asked for. */
class HeldFeed {
  asked = [];

  ask(path) {
    const query = new URLSearchParams(path.split("?")[1]);
    return new Promise((resolve, reject) => this.asked.push({ query, resolve, reject }));
  }
}

const YARD = { id: 3, kind: "rig", name: "yard", height_m: 2, blocks: 9, from_utc: at(2025, 5, 1), to_utc: at(2025, 6, 1, 12) };
const answerOf = (query) => ({ sources: [YARD], series: [{ ...seriesOf([Number(query.get("from"))], HOUR_S), source: 3 }] });
const turn = () => new Promise((resolve) => { setTimeout(resolve); });

async function answer(feed, place) {
  feed.asked[place].resolve(answerOf(feed.asked[place].query));
  await turn();
}

test("the page opens where the newest source ends, and shows nothing before it is answered", async () => {
  const feed = new HeldFeed();
  const past = new Past(feed, () => 300);
  past.load();
  await answer(feed, 0);
  assert.deepEqual([past.steps, past.source.id], [[], 3]);
  await answer(feed, 1);
  assert.equal(past.period.from_s, at(2025, 6, 1));
  assert.equal(past.steps.length, 1);
});

test("of two questions the last one counts, whichever is answered first", async () => {
  const feed = new HeldFeed();
  const past = new Past(feed, () => 300);
  past.goTo(periodAround("day", at(2025, 6, 1)));
  past.step(-1);
  past.step(-1);
  assert.deepEqual(feed.asked.map(({ query }) => Number(query.get("from"))), [at(2025, 6, 1), at(2025, 5, 31), at(2025, 5, 30)]);
  await answer(feed, 2);
  await answer(feed, 0);
  assert.equal(past.period.from_s, at(2025, 5, 30));
  assert.equal(past.steps[0].from_s, at(2025, 5, 30));
  past.leave();
  past.step(-1);
  await answer(feed, 3);
  assert.equal(past.period.from_s, at(2025, 5, 30), "a page that was left takes nothing more");
});

test("a zone that the service does not know is asked for by its offset, and a failure leaves what was shown", async () => {
  const feed = new HeldFeed();
  const past = new Past(feed, () => 300);
  const problems = [];
  past.addEventListener("failed", ({ problem }) => problems.push(problem.message));
  past.goTo(periodAround("day", at(2025, 6, 1)));
  feed.asked[0].reject(Object.assign(new Error("unknown"), { key: "zone" }));
  await turn();
  assert.deepEqual(feed.asked.map(({ query }) => query.get("zone")), ["Europe/Berlin", "+02:00"]);
  await answer(feed, 1);
  past.step(-1);
  feed.asked[2].reject(new Error("gone"));
  await turn();
  assert.deepEqual(problems, ["gone"]);
  assert.equal(past.wanted, past.period);
  assert.equal(past.period.from_s, at(2025, 6, 1));
});

test("what is still to come is not asked for", () => {
  const feed = new HeldFeed();
  const past = new Past(feed, () => 300);
  assert.equal(past.step(1), null);
  assert.equal(feed.asked.length, 0);
});
