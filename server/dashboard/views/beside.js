// Two jobs of one lawn beside each other.

import { describeCorner, describePlaces, describeTogether, readPair, summariseMissed } from "../core/beside.js";
import { say } from "../core/say.js";
import { makeDifference, makeLawns } from "../draw/beside.js";
import { element, setText } from "../draw/element.js";
import { makeGrainLegend } from "../draw/grain.js";

function part(title, ...children) {
  return element("section", { class: "part" }, element("h2", {}, title), ...children);
}

/** Build the page; `part` of the address names the two jobs. Returns how to leave it. */
export function mountBeside(root, { store, feed, part: address }) {
  const [first, second] = readPair(address);
  const said = element("p", { class: "said", role: "status" }, say("beside.looking"));
  const report = element("div", { class: "beside-report" });
  let shown = null;
  let isLeft = false;
  const show = () => {
    if (shown === null || isLeft) return;
    const { found, parts, zones } = shown;
    const set = store.units;
    setText(said, "");
    report.replaceChildren(
      element("p", { class: "beside-answer" }, summariseMissed(found, set)),
      part(say("beside.where"), makeLawns(found, parts, zones, set), makeGrainLegend(), element("p", { class: "small" }, describePlaces(found, set))),
      part(say("beside.corner"), element("p", {}, describeCorner(found))),
      part(say("beside.how_much"), makeDifference(found, set), element("p", {}, describeTogether(found, set)),
        element("p", { class: "small" }, say("beside.meaning"))));
  };
  const load = async () => {
    const view = async (number) => {
      const [dose, track] = await Promise.all(["dose", "track"].map((name) => feed.ask(`/jobs/${number}/${name}`)));
      return { dose, track };
    };
    const [found, a, b, lawn] = await Promise.all([feed.ask(`/jobs/${first}/beside/${second}`), view(first), view(second), feed.ask(`/lawn?job=${first}`)]);
    shown = { found, parts: [a, b], zones: lawn.zones };
    show();
  };
  root.replaceChildren(element("div", { class: "beside-page" }, element("h1", {}, say("beside.title")), said, report,
    element("p", {}, element("a", { class: "place", href: `#got/${first}` }, say("beside.back")))));
  store.addEventListener("units", show);
  load().catch((problem) => setText(said, say("beside.failed", { problem: problem.message })));
  return () => {
    isLeft = true;
    store.removeEventListener("units", show);
  };
}
