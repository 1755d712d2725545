// A job that changes under one's hands is told in words, unless it was these hands.

import assert from "node:assert/strict";
import test from "node:test";

import { describeElsewhere } from "../../server/dashboard/core/elsewhere.js";

const job = (state) => ({ id: 1, state });

test("each change that was not made here is told", () => {
  const told = [[null, "running"], ["running", "paused"], ["paused", "running"], ["paused", null], ["running", null]]
    .map(([was, is]) => describeElsewhere(was && job(was), is && job(is), null, 0));
  assert.deepEqual(told.map((words) => words.split(" ")[0]), ["Started", "Paused", "Going", "Finished", "Finished"]);
});

test("what was pressed here is no news, for a while; what somebody else pressed against it is", () => {
  const paused = { kind: "pause", at_ms: 1000 };
  assert.equal(describeElsewhere(job("running"), job("paused"), paused, 2000), "");
  assert.notEqual(describeElsewhere(job("running"), job("paused"), paused, 60_000), "");
  assert.match(describeElsewhere(job("running"), null, paused, 2000), /^Finished/);
  assert.equal(describeElsewhere(job("paused"), job("running"), { kind: "start", at_ms: 1000 }, 2000), "");
});

test("nothing is told while nothing changes, and of what was so before the page opened", () => {
  assert.equal(describeElsewhere(job("running"), job("running"), null, 0), "");
  assert.equal(describeElsewhere(undefined, job("running"), null, 0), "");
  assert.equal(describeElsewhere(null, null, null, 0), "");
});
