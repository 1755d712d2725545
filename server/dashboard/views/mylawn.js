// My lawn: sites with their zones and keep-outs, drawn, walked or brought along; their versions.

import { say } from "../core/say.js";
import { makeCards } from "../draw/cards.js";
import { makeEdgeWalk } from "../draw/edgewalk.js";
import { element } from "../draw/element.js";
import { makeShapeFile } from "../draw/shapefile.js";
import { makeShapes } from "../draw/shapes.js";
import { makeVersions } from "../draw/siteversions.js";

const DRAFT_KEY = "calmpass.shapes";

function rememberDraft({ number, version, card }) {
  try {
    const kept = JSON.parse(localStorage.getItem(DRAFT_KEY) ?? "null");
    return kept?.number === number && kept.version === version && Array.isArray(kept.zones) ? kept.zones : card.zones;
  } catch {
    return card.zones;
  }
}

function keepDraft(draft) {
  try {
    if (draft === null) localStorage.removeItem(DRAFT_KEY);
    else localStorage.setItem(DRAFT_KEY, JSON.stringify(draft));
  } catch {
    // not kept over a reload, still good for now
  }
}

/** Build the page; returns how to leave it. */
export function mountMyLawn(root, parts) {
  const { store, feed } = parts;
  let open = null;
  let known = null;
  const close = () => {
    open?.walk.stop();
    open = null;
  };
  const unfold = (each) => {
    close();
    const draft = { number: each.number, version: each.version, zones: rememberDraft(each) };
    const changed = (zones) => {
      draft.zones = zones;
      keepDraft(draft);
    };
    const save = async (zones) => {
      const body = { ...each.card, zones };
      const saved = await feed.ask(`/sites/${each.number}?version=${each.version}`, { method: "PUT", body });
      keepDraft(null);
      await cards.load();
      cards.open(saved);
    };
    const shapes = makeShapes(parts, { heading: say("site.zones_of", { site: each.card.name }), zones: draft.zones, saved: each.card.zones, changed, save });
    const walk = makeEdgeWalk(parts, each.number, { lay: shapes.lay, add: (zone) => { shapes.add([zone]); shapes.showAll(); } });
    const file = makeShapeFile(parts, { lay: (more) => { shapes.lay(more); shapes.showAll(); }, add: (zones) => { shapes.add(zones); shapes.showAll(); } });
    const versions = makeVersions(parts, each.number);
    open = { number: each.number, draft, shapes, walk, versions };
    return [shapes.root, walk.root, file, versions.root];
  };
  const complete = (record, card) => ({ ...record, zones: open !== null && card.name !== undefined ? open.draft.zones : card.zones ?? [] });
  const cards = makeCards(parts, {
    noun: "sites", heading: say("site.sites"), hidden: ["zones"], refers: ["people"], complete, extra: unfold,
    onChange: (list) => {
      const fresh = known === null ? [] : list.filter(({ number }) => !known.has(number));
      known = new Set(list.map(({ number }) => number));
      if (fresh.length === 1) cards.open(fresh[0]); // a new site wants its shapes next
    },
  });
  const redraw = () => {
    open?.shapes.show();
    open?.walk.show();
    open?.versions.show();
  };
  const follow = () => open?.shapes.ask();
  store.addEventListener("units", redraw);
  store.addEventListener("snapshot", follow);
  root.replaceChildren(element("div", { class: "setup-page" }, element("h1", {}, say("frame.site")),
    element("p", {}, say("site.what")),
    element("p", {}, `${say("site.then")} `, element("a", { class: "place", href: "#gear" }, say("frame.gear")), " ", element("a", { class: "place", href: "#fill" }, say("frame.fill"))), cards.root));
  return () => {
    close();
    store.removeEventListener("units", redraw);
    store.removeEventListener("snapshot", follow);
  };
}
