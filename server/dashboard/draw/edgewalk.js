// Walking a shape's edge with the rig: start, walk, close; the area and how sure it is while under way.

import { readNumber } from "../core/card.js";
import { endInterval } from "../core/cup.js";
import { formatSpan } from "../core/format.js";
import { say } from "../core/say.js";
import { describeWalk, lengthUnit } from "../core/shapewords.js";
import { revert } from "../core/units.js";
import { element, option, setText } from "./element.js";

const DRAFT_KEY = "calmpass.edge";
const LOOK_MS = 10_000;
const STEPS = [
  say("site.walk_step_1"),
  say("site.walk_step_2"),
  say("site.walk_step_3"),
];

function rememberWalk(site) {
  try {
    const kept = JSON.parse(localStorage.getItem(DRAFT_KEY) ?? "null");
    return kept?.site === site ? kept : null;
  } catch {
    return null;
  }
}

function keepWalk(running) {
  try {
    if (running === null) localStorage.removeItem(DRAFT_KEY);
    else localStorage.setItem(DRAFT_KEY, JSON.stringify(running));
  } catch {
    // not kept over a reload, still good for now
  }
}

/** The part; `lay(places)` shows the way so far, `add(zone)` takes the shape. `stop` leaves it. */
export function makeEdgeWalk({ feed, store }, site, { lay, add }) {
  let running = rememberWalk(site);
  let lastLook_ms = 0;
  const place = element("div", { class: "walk-place" });
  const elapsed = element("p", { class: "elapsed" });
  const said = element("p", { class: "said", role: "status" });
  const kind = element("select", { id: "walk-kind" }, option("zone", say("site.a_zone"), true), option("keep_out", say("site.a_keep_out"), false));
  const offset = element("input", { id: "walk-offset", type: "text", inputmode: "decimal", autocomplete: "off", value: "0" });
  const unit = element("span", { class: "unit" });
  const attempt = (work) => async () => {
    try {
      await work();
    } catch (problem) {
      setText(said, problem.detail ?? problem.message);
    }
  };
  const look = async () => {
    const asked = running;
    const interval = endInterval(asked, await feed.ask("/calibrations/clock"));
    const found = await feed.ask("/sites/walk", { method: "POST", body: { rig: asked.rig, interval, offset_m: asked.offset_m } });
    if (asked !== running) return null;
    lay({ way: found.ring, marks: found.place ? [found.place] : [] });
    return found;
  };
  const turn = (next) => {
    running = next;
    keepWalk(running);
    show();
  };
  const start = attempt(async () => {
    const far = readNumber(offset.value) ?? 0;
    const offset_m = revert(far, "length", store.units);
    if (Math.abs(offset_m) > 5) throw new Error(say("site.antenna_far"));
    const clock = await feed.ask("/calibrations/clock");
    setText(said, "");
    lastLook_ms = Date.now();
    turn({ way: "walk", site, kind: kind.value, offset_m, rig: clock.rig, boot: clock.boot, start: clock.mono, since_ms: Date.now() });
  });
  const finish = attempt(async () => {
    setText(said, say("cup.working"));
    const found = await look();
    if (found === null) return;
    if (!found.is_usable) return setText(said, describeWalk(found, store.units));
    const name = running.kind === "zone" ? say("site.lawn") : say("site.name_keep_out");
    add({ name, kind: running.kind, rings: [found.ring], source: "walked", area_sd_m2: found.area_sd_m2 });
    lay({ way: [], marks: [] });
    turn(null);
    setText(said, say("site.taken", { walk: describeWalk(found, store.units) }));
  });
  const giveUp = () => {
    lay({ way: [], marks: [] });
    turn(null);
    setText(said, "");
  };
  const button = (text, onclick, className = null) => element("button", { type: "button", onclick, class: className }, text);
  function show() {
    setText(unit, lengthUnit(store.units));
    tick();
    if (running) place.replaceChildren(elapsed, element("div", { class: "button-line" }, button(say("site.close"), finish, "main"), button(say("cup.throw_away"), giveUp)));
    else {
      place.replaceChildren(element("ol", {}, ...STEPS.map((step) => element("li", {}, step))),
        element("div", { class: "shape-fields" },
          element("div", { class: "field" }, element("label", { for: "walk-kind" }, say("site.inside")), kind),
          element("div", { class: "field" }, element("label", { for: "walk-offset" }, say("site.offset")), element("div", { class: "with-unit" }, offset, unit),
            element("span", { class: "hint" }, say(lengthUnit(store.units) === "m" ? "site.offset_m" : "site.offset_ft")))),
        element("div", { class: "button-line" }, button(say("site.start"), start, "main")));
    }
  }
  function tick() {
    if (!running) return;
    setText(elapsed, say("cup.walking", { span: formatSpan(Math.max(0, (Date.now() - running.since_ms) / 1000)) }));
    if (Date.now() - lastLook_ms < LOOK_MS) return;
    lastLook_ms = Date.now();
    attempt(async () => {
      const found = await look();
      if (found !== null) setText(said, describeWalk(found, store.units));
    })();
  }
  const timer = setInterval(tick, 1000);
  show();
  const root = element("details", { class: "shape-way", open: running !== null }, element("summary", {}, say("site.walk_edge")), place, said);
  return { root, show, stop: () => clearInterval(timer) };
}
