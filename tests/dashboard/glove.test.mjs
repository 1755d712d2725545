// The bar under a gloved thumb, under node --test.
import assert from "node:assert/strict";
import { test } from "node:test";
import {
  LONG_HOLD_MS, SHORT_HOLD_MS, addContact, chooseAction, dropContact, emptyTouch, fillOf, judgeTouch, tellHow, undoOf,
} from "../../server/dashboard/core/glove.js";

const room = { job: { state: "running" }, is_spraying: false, area_left_m2: 50, zone_area_m2: 100, tank_left_l: 8, tank_l: 15 };

test("every state of a job has one action", () => {
  assert.equal(chooseAction(null).name, "start");
  assert.equal(chooseAction({ ...room, job: null }).name, "start");
  assert.equal(chooseAction({ ...room, job: { state: "finished" } }).name, "start");
  assert.equal(chooseAction(room).name, "pause");
  assert.equal(chooseAction({ ...room, job: { state: "paused" } }).name, "resume");
  assert.equal(chooseAction({ ...room, tank_left_l: 0.2 }).name, "refill");
  assert.equal(chooseAction({ ...room, area_left_m2: 1, tank_left_l: 0 }).name, "finish");
  assert.equal(chooseAction({ ...room, area_left_m2: 1, is_spraying: true }).name, "pause", "never while liquid flows");
  assert.equal(chooseAction({ ...room, area_left_m2: null, zone_area_m2: null, tank_left_l: null }).name, "pause");
});

test("undo is offered only where the opposite puts the job back, and all else is held longer", () => {
  const running = chooseAction(room);
  assert.equal(undoOf(running).name, "resume");
  assert.equal(undoOf(undoOf(running)), null, "an undo is not undone in turn");
  assert.equal(running.hold_ms, SHORT_HOLD_MS);
  for (const other of [chooseAction(null), chooseAction({ ...room, tank_left_l: 0 }), chooseAction({ ...room, area_left_m2: 0 })]) {
    assert.equal(undoOf(other), null);
    assert.equal(other.hold_ms, LONG_HOLD_MS);
    assert.match(tellHow(other), /longer/);
  }
  assert.match(tellHow(running, true), /Enter twice/);
});

test("a finger that stays fills the bar and a drop does not", () => {
  let touch = addContact(emptyTouch(), 1, 1000);
  assert.equal(fillOf(touch, 1350, 700), 0.5);
  assert.equal(fillOf(touch, 1800, 700), 1);
  touch = dropContact(touch, 1);
  assert.equal(fillOf(touch, 5000, 700), 0);
});

test("a drop beside the finger neither helps nor hinders", () => {
  let touch = addContact(addContact(emptyTouch(), 1, 0), 2, 200);
  touch = judgeTouch(touch, 300);
  touch = dropContact(touch, 2);
  assert.equal(fillOf(judgeTouch(touch, 700), 700, 700), 1);
  touch = dropContact(addContact(addContact(emptyTouch(), "drop", 0), "finger", 100), "drop");
  assert.equal(fillOf(touch, 700, 700), 600 / 700, "counted from the finger, not from the drop before it");
});

test("several fingers press nothing until all are off", () => {
  let touch = judgeTouch(addContact(addContact(emptyTouch(), 1, 0), 2, 10), 400);
  assert.equal(fillOf(touch, 2000, 700), 0);
  touch = dropContact(touch, 2);
  assert.equal(fillOf(touch, 3000, 700), 0, "the first alone is still of that hand");
  touch = addContact(dropContact(touch, 1), 3, 4000);
  assert.equal(fillOf(touch, 4700, 700), 1);
});
