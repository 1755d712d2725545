// The pure parts of what jobs rest on.

import assert from "node:assert/strict";
import test from "node:test";

import { choiceOf, describeNext, groupParts, zonesToChoose } from "../../server/dashboard/core/papers.js";

const SETUP = { sprayer: { swath_m: 1.2192, tank_l: 15 }, treatment: { target_l_per_m2: 0.04, wind_limit_stated: "10 mph" } };
const NONE = { site: null, sprayer: null, treatment: null, operator: null, customer: null, zones: [], products: [], fill: null };
const plain = (lines) => lines.map((line) => line.replaceAll("\u00a0", " "));

test("what is next is told in the user's units, and the limit in the label's words", () => {
  const papers = { ...NONE, treatment: { number: 1, name: "Feed" }, site: { number: 1, name: "Home" }, sprayer: { number: 2, name: "Boom" }, zones: ["Front"] };
  assert.deepEqual(plain(describeNext({ problem: null, papers, setup: SETUP }, "l_per_100m2")), [
    "Feed on Home (Front), 4.00 L/100 m², wind limit 10 mph.", "With Boom: swath 1.22 m, tank 15.0 L."]);
  assert.match(describeNext({ problem: null, papers, setup: SETUP }, "gal_per_1000ft2")[1], /swath 4.00\u00a0ft/);
});

test("nothing chosen and a choice that does not go are said", () => {
  assert.match(describeNext({ problem: null, papers: NONE, setup: SETUP }, "l_per_ha")[0], /Nothing is chosen/);
  assert.deepEqual(describeNext({ problem: "sprayer: Boom is put away", papers: NONE, setup: SETUP }, "l_per_ha"), ["What is chosen does not go: sprayer: Boom is put away."]);
});

test("later parts lie under the job that they belong to", () => {
  const jobs = [{ id: 5, part_of: null }, { id: 4, part_of: 2 }, { id: 3, part_of: 2 }, { id: 2, part_of: null }, { id: 1, part_of: 9 }];
  assert.deepEqual(groupParts(jobs).map(({ job, isPart }) => [job.id, isPart]), [[5, false], [2, false], [3, true], [4, true], [1, false]]);
});

test("zones to choose are the site's, or those of the treatment that the site still has", () => {
  const site = { card: { zones: [{ name: "Front", kind: "zone" }, { name: "Pond", kind: "keep_out" }, { name: "Back", kind: "zone" }] } };
  assert.deepEqual(zonesToChoose(site, undefined), ["Front", "Back"]);
  assert.deepEqual(zonesToChoose(site, { card: { zones: ["Back", "Gone"] } }), ["Back"]);
  assert.deepEqual(zonesToChoose(undefined, undefined), []);
});

test("a form begins with the papers that a job has", () => {
  const papers = { ...NONE, site: { number: 3, version: 2, name: "Home" }, zones: ["Back"], fill: { value: 2, unit: "gal" } };
  assert.deepEqual(choiceOf(papers), { site: 3, zones: ["Back"], fill: { value: 2, unit: "gal" } });
});
