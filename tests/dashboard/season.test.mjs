// The pure parts of the season's page.

import assert from "node:assert/strict";
import test from "node:test";

import {
  addDays, chooseDepth, dayOf, dayOfPlan, describeLine, doubtDay, explainMatter, partMatters, placeItems, scaleSoil, tellDay, timeOf, turnMonth,
  weeksOf,
} from "../../server/dashboard/core/season.js";
import { warmthIn } from "../../server/dashboard/core/units.js";

const MATTER = {
  kind: "repeat", state: "due", severity: "tell", since: "2027-05-24", until: "2027-05-31", until_time: null, title: "Conditioner again",
  sentence: "Conditioner again is due until 31 May.", reason: "A programme.", source: "P5", against: "", against_source: "",
};
const LINE = { day: "2027-05-03", name: "coring", zones: [], site: 1, water: null, temperature: null, is_planned: false };

test("a month is whole weeks that begin on Monday and hold each of its days once", () => {
  for (const month of ["2027-02", "2027-05", "2028-02", "2026-12", "2027-03"]) {
    const weeks = weeksOf(month);
    const days = weeks.flat();
    assert.ok(weeks.every((week) => week.length === 7 && new Date(`${week[0]}T12:00Z`).getUTCDay() === 1));
    days.slice(1).forEach((day, place) => assert.equal(day, addDays(days[place], 1)));
    const [year, number] = month.split("-").map(Number);
    const length = new Date(Date.UTC(year, number, 0)).getUTCDate();
    assert.equal(days.filter((day) => day.startsWith(month)).length, length);
  }
});

test("months turn over the year", () => {
  assert.equal(turnMonth("2026-12", 1), "2027-01");
  assert.equal(turnMonth("2027-01", -1), "2026-12");
  assert.equal(turnMonth("2027-05", 0), "2027-05");
});

test("a day and a time are the reader's own", () => {
  const date = new Date(2027, 4, 3, 7, 5);
  assert.equal(dayOf(date), "2027-05-03");
  assert.equal(timeOf(date), "07:05");
  assert.equal(addDays("2027-12-31", 1), "2028-01-01");
});

test("a journal's line tells a year that is another, and asks about a day far off", () => {
  assert.match(tellDay("2028-11-28", "2027-11-28"), / 2028$/);
  assert.doesNotMatch(tellDay("2027-11-28", "2027-11-28"), /2027/);
  for (const day of ["2027-11-28", "2028-06-29", "2026-11-28", ""]) assert.equal(doubtDay(day, "2027-11-28"), "");
  assert.match(doubtDay("2029-11-29", "2027-11-28"), /^2029-11-29 is 732 days ahead: is the year right/);
  assert.match(doubtDay("2025-11-29", "2027-11-28"), /ago: is the year right/);
});

test("what was done, what is due and until when stand on their days with a sign and a word", () => {
  const items = placeItems({ lines: [LINE, { ...LINE, is_planned: true, day: "2027-06-01" }], matters: [MATTER] }, new Map([[1, "Mill Lane"]]));
  assert.deepEqual([...items.keys()].sort(), ["2027-05-03", "2027-05-24", "2027-05-31", "2027-06-01"]);
  assert.equal(items.get("2027-05-03")[0].word, "Done");
  assert.equal(items.get("2027-06-01")[0].word, "Planned");
  assert.equal(items.get("2027-05-31")[0].text, "Conditioner again: until here");
  const signs = new Set([...items.values()].flat().map(({ sign }) => sign));
  assert.equal(signs.size, 3);
});

test("what is overdue stands where it was due, and what to wait for does not stand in the calendar", () => {
  const late = placeItems({ lines: [], matters: [{ ...MATTER, state: "overdue" }] }, new Map());
  assert.deepEqual([...late.keys()], ["2027-05-31"]);
  assert.equal(late.get("2027-05-31")[0].word, "Overdue");
  assert.equal(placeItems({ lines: [], matters: [{ ...MATTER, state: "wait" }] }, new Map()).size, 0);
});

test("a line names its lawn only where there are several, with water and warmth as they were typed", () => {
  const names = new Map([[1, "Mill Lane"], [2, "Hill Top"]]);
  assert.equal(describeLine({ ...LINE, zones: ["Front"], water: { value: 0.25, unit: "in" } }, names), "coring, 0.25 in, Front (Mill Lane)");
  assert.equal(describeLine({ ...LINE, temperature: { value: 55, unit: "°F" } }, new Map([[1, "Mill Lane"]])), "coring 55 °F");
});

test("practice and what speaks against it are both told", () => {
  const both = explainMatter({ ...MATTER, against: "Trials disagree.", against_source: "Purdue" });
  assert.deepEqual(both.map(([name]) => name), ["Reason", "Source", "Against it", "Source of that"]);
  assert.equal(explainMatter(MATTER).length, 2);
});

test("every matter is either told first or among the rest", () => {
  const states = ["overdue", "due", "wait", "conflict", "later", "fact"];
  const all = states.map((state, place) => ({ ...MATTER, state, since: `2027-05-0${place + 1}` }));
  all.push({ ...MATTER, state: "conflict", since: "2027-01-01" }, { ...MATTER, state: "conflict", severity: "ask", since: "2027-01-01" });
  const { first, rest } = partMatters(all);
  assert.equal(first.length + rest.length, all.length);
  assert.deepEqual(rest.map(({ state }) => state), ["later", "fact", "conflict"]);
});

test("one tap waters as deep as is asked for", () => {
  const due = { ...MATTER, kind: "watering_in", sentence: "Water in Mill Lane by 18:00 today: 0.3 in, 0.1 in so far." };
  assert.deepEqual(chooseDepth([MATTER, due], "l_per_ha"), { value: 0.3, unit: "in" });
  assert.deepEqual(chooseDepth([], "l_per_ha"), { value: 6, unit: "mm" });
  assert.deepEqual(chooseDepth([], "gal_per_acre"), { value: 0.25, unit: "in" });
});

test("a plan is noted as done on its day, and never on one to come", () => {
  assert.equal(dayOfPlan({ since: "2027-05-03" }, "2027-05-05"), "2027-05-03");
  assert.equal(dayOfPlan({ since: "2027-05-09" }, "2027-05-05"), "2027-05-05");
});

test("the soil's drawing holds every day and the threshold within its edges", () => {
  const trace = { threshold: { value: 55, unit: "°F" }, days: [{ day: "2027-04-01", mean_c: 8 }, { day: "2027-04-09", mean_c: 14 }] };
  const { x, y, means } = scaleSoil(trace, 400, 200, { left: 40, right: 10, top: 10, bottom: 20 });
  assert.equal(x("2027-04-01"), 40);
  assert.equal(x("2027-04-09"), 390);
  for (const value of [...means, 55]) assert.ok(y(value) > 10 && y(value) < 180);
  assert.equal(warmthIn(100, "°F"), 212);
  assert.ok(Number.isFinite(scaleSoil({ ...trace, days: trace.days.slice(0, 1) }, 400, 200, { left: 40, right: 10, top: 10, bottom: 20 }).x("2027-04-01")));
});
