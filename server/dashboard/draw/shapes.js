// The shapes of an open site: list, drawing, table of corners; changed here, checked by the service, saved as a version.

import { say } from "../core/say.js";
import {
  addCorner, addHole, closeRing, draftToCheck, dropCorner, freshName, isInside, layShapes, moveCorner, nearestCorner, nearestSide,
  openRing, planeAt, toDegrees, toMetres,
} from "../core/shape.js";
import { describeArea } from "../core/shapewords.js";
import { makeCornerTables, makePlaceForm } from "./cornertable.js";
import { element, setText } from "./element.js";
import { makeShapeMap } from "./shapemap.js";
import { makeDoubts, makeShapeFields, makeShapeList, makeTools, sayHint } from "./shapetools.js";

const REACH_PX = 26;
const SIDE_PX = 20;
const CHECK_MS = 200;
const FAR_M = 2000; // a rig farther away than this is not on this lawn
const WIDEST_M = 20_000; // what is offered farther away is not drawn
const BASES = { zone: say("site.lawn"), keep_out: say("site.name_keep_out") };

const isOnEarth = ([lon, lat]) => Math.abs(lon) <= 180 && Math.abs(lat) <= 89;

/** The part; `zones` to begin with, those that are `saved`, `changed(zones)` hears of changes, `save(zones)` keeps them. */
export function makeShapes({ feed, store }, { heading, zones, saved, changed, save }) {
  let state = { zones, chosen: null, corner: null, mode: "look", kind: "zone", sketch: [] };
  let plane = null;
  let told = null;
  let held = null;
  let extra = { way: [], offered: [], marks: [] };
  const tellOf = new WeakMap(); // what was told of a shape holds until it is changed
  let checking = null;
  const [listPlace, toolPlace, fieldPlace, tablePlace, doubtPlace, startPlace] = Array.from({ length: 6 }, () => element("div"));
  toolPlace.className = "button-line";
  const total = element("p", { class: "total", role: "status" });
  const hint = element("p", { class: "hint" });
  const said = element("p", { class: "said", role: "status" });
  const open = element("p", { class: "elapsed" });
  const saver = element("div", { class: "button-line" });

  const findPlane = () => {
    const corner = state.zones.find(({ rings }) => rings.length > 0)?.rings[0][0];
    const at = store.snapshot?.position;
    if (plane === null && corner) plane = planeAt(corner);
    else if (plane === null && at) plane = planeAt([at.lon_deg, at.lat_deg]);
  };
  const farRig = () => {
    const at = store.snapshot?.position;
    const corner = state.zones.find(({ rings }) => rings.length > 0)?.rings[0][0];
    return at && corner ? Math.hypot(...toMetres(planeAt(corner), [at.lon_deg, at.lat_deg])) : 0;
  };
  const rigAt = () => {
    const at = store.snapshot?.position;
    if (!at || plane === null) return null;
    const [east_m, north_m] = toMetres(plane, [at.lon_deg, at.lat_deg]);
    return Math.hypot(east_m, north_m) > FAR_M ? null : { east_m, north_m, heading_deg: at.heading_deg };
  };
  const trail = () => {
    const origin = store.lawn.plane;
    if (!origin || plane === null) return [];
    const [east_m, north_m] = toMetres(plane, [origin.lon0_deg, origin.lat0_deg]);
    if (Math.hypot(east_m, north_m) > FAR_M) return [];
    return store.track.east_m.map((east, at) => [east + east_m, store.track.north_m[at] + north_m]);
  };
  const lay = (corners) => (plane === null ? [] : corners.map((corner) => toMetres(plane, corner)));
  const isNear = (corner) => plane !== null && isOnEarth(corner) && Math.hypot(...toMetres(plane, corner)) < WIDEST_M;
  const chosenZone = () => (state.chosen === null ? null : state.zones[state.chosen]);
  const scene = () => {
    const isChanging = state.mode === "look" && chosenZone() !== null;
    const flaws = (told?.zones ?? []).flatMap((row) => row.flaws).filter(({ lon }) => lon !== null).map(({ lon, lat }) => [lon, lat]);
    return {
      shapes: plane === null ? [] : layShapes(plane, state.zones).map((shape, place) => ({ ...shape, label: state.zones[place].name })),
      chosen: state.chosen, corner: state.corner, corners_m: isChanging ? chosenZone().rings.map((ring) => lay(openRing(ring))) : [],
      sketch_m: lay(state.sketch), isClosing: state.mode !== "cut", trail_m: trail(), way_m: lay(extra.way), offered_m: extra.offered.map(lay),
      marks_m: lay([...flaws, ...extra.marks].filter(isNear)), position: rigAt(), near: rigAt(), set: store.units, isFollowing: extra.way.length > 0,
    };
  };
  const check = () => {
    clearTimeout(checking);
    checking = setTimeout(async () => {
      const asked = state;
      try {
        const found = await feed.ask("/sites/check", { method: "POST", body: draftToCheck(asked.zones, asked.mode === "cut" ? [] : asked.sketch, asked.mode === "hole" ? asked.chosen : null) });
        if (asked.mode !== "hole") asked.zones.forEach((zone, place) => tellOf.set(zone, found.zones[place]));
        if (asked === state) {
          told = found;
          show();
        }
      } catch (problem) {
        setText(said, problem.message);
      }
    }, CHECK_MS);
  };
  const turn = (next) => {
    const before = state.zones;
    state = { ...state, ...next };
    if (state.zones !== before) changed(state.zones);
    if (state.zones !== before || next.sketch) {
      told = null;
      check();
    }
    findPlane();
    show();
  };
  const attempt = (work) => async (...given) => {
    setText(said, "");
    try {
      await work(...given);
    } catch (problem) {
      setText(said, problem.detail ?? problem.message);
    }
  };
  const replace = (zone) => state.zones.map((each, place) => (place === state.chosen ? zone : each));
  const close = attempt(() => {
    if (state.mode === "hole") turn({ zones: replace(addHole(chosenZone(), state.sketch)), sketch: [], mode: "look" });
    else {
      const zone = { name: freshName(state.zones, BASES[state.kind]), kind: state.kind, rings: [closeRing(state.sketch)], source: "drawn", area_sd_m2: null };
      turn({ zones: [...state.zones, zone], chosen: state.zones.length, sketch: [], mode: "look" });
    }
  });
  const cut = attempt(async () => {
    const [zone, line] = [chosenZone(), state.sketch];
    turn({ sketch: [], mode: "look" });
    const pieces = await feed.ask("/sites/cut", { method: "POST", body: { rings: zone.rings, line } });
    const others = state.zones.filter((each) => each !== zone);
    const made = pieces.reduce((list, { rings }) => [...list, { name: freshName([...others, ...list], zone.name), kind: zone.kind, rings, source: "drawn", area_sd_m2: null }], []);
    turn({ zones: [...state.zones.slice(0, state.chosen), ...made, ...state.zones.slice(state.chosen + 1)], corner: null });
    setText(said, say("site.cut_in", { count: pieces.length }));
  });
  const ringsOf = (zone) => zone.rings.map((ring) => lay(openRing(ring)));
  const findUnder = (point) => {
    const places = state.zones.map((_, place) => place).filter((place) => isInside(ringsOf(state.zones[place]), point));
    return places.find((place) => state.zones[place].kind !== "zone") ?? places[0] ?? null;
  };
  const tapCorner = ({ place_m, px_per_m }) => {
    const zone = chosenZone();
    const corner = zone && nearestCorner(ringsOf(zone), place_m, REACH_PX / px_per_m);
    if (corner) return turn({ corner });
    const side = zone && nearestSide(ringsOf(zone), place_m, SIDE_PX / px_per_m);
    if (side) return turn({ zones: replace(addCorner(zone, side, toDegrees(plane, side.place))), corner: { ring: side.ring, corner: side.corner + 1 } });
    return turn({ chosen: findUnder(place_m), corner: null });
  };
  const tap = (at) => {
    if (plane === null) return;
    const { place_m, px_per_m } = at;
    if (state.mode === "look") tapCorner(at);
    else if (state.mode === "cut") {
      const near = nearestCorner(ringsOf(chosenZone()), place_m, SIDE_PX / px_per_m);
      const place = near ? chosenZone().rings[near.ring][near.corner] : toDegrees(plane, place_m);
      turn({ sketch: [...state.sketch, place] });
      if (state.sketch.length === 2) cut();
    } else if (state.sketch.length >= 3 && nearestCorner([[lay(state.sketch)[0]]], place_m, REACH_PX / px_per_m)) close();
    else turn({ sketch: [...state.sketch, toDegrees(plane, place_m)] });
  };
  const grab = ({ place_m, px_per_m }) => {
    if (plane === null || state.mode === "cut") return false;
    const rings = state.mode === "look" ? (chosenZone() ? ringsOf(chosenZone()) : []) : [lay(state.sketch)];
    held = nearestCorner(rings, place_m, REACH_PX / px_per_m);
    return held !== null;
  };
  const drag = ({ place_m }) => {
    const place = toDegrees(plane, place_m);
    if (state.mode === "look") state = { ...state, corner: held, zones: replace(moveCorner(chosenZone(), held, place)) };
    else state = { ...state, sketch: state.sketch.map((each, at) => (at === held.corner ? place : each)) };
  };
  const drop = () => turn({ zones: [...state.zones], sketch: [...state.sketch] });
  const map = makeShapeMap(scene, { tap: attempt(tap), grab, drag, drop });
  const on = {
    begin: (mode, kind = "zone") => turn({ mode, kind, sketch: [], corner: null }),
    close, undo: () => turn({ sketch: state.sketch.slice(0, -1) }), leave: () => turn({ mode: "look", sketch: [] }),
    dropCorner: attempt(() => turn({ zones: replace(dropCorner(chosenZone(), state.corner)), corner: null })),
    dropShape: () => turn({ zones: state.zones.filter((_, place) => place !== state.chosen), chosen: null, corner: null }),
    done: () => turn({ chosen: null, corner: null }),
  };
  const onTable = {
    move: (ring, corner, place) => (state.mode === "look" ? turn({ zones: replace(moveCorner(chosenZone(), { ring, corner }, place)) })
      : turn({ sketch: state.sketch.map((each, at) => (at === corner ? place : each)) })),
    add: (ring, corner, place) => (state.mode === "look" ? turn({ zones: replace(addCorner(chosenZone(), { ring, corner }, place)) })
      : turn({ sketch: [...state.sketch.slice(0, corner + 1), place, ...state.sketch.slice(corner + 1)] })),
    drop: attempt((ring, corner) => (state.mode === "look" ? turn({ zones: replace(dropCorner(chosenZone(), { ring, corner })), corner: null })
      : turn({ sketch: state.sketch.filter((_, at) => at !== corner) }))),
  };
  const showTable = () => {
    const isSketch = state.mode === "draw" || state.mode === "hole";
    const isOpen = tablePlace.querySelector("details")?.open ?? false;
    const tables = isSketch && state.sketch.length > 0 ? makeCornerTables({ sketch: state.sketch }, store.units, onTable)
      : !isSketch && chosenZone() ? makeCornerTables({ rings: chosenZone().rings }, store.units, onTable) : [];
    const begin = isSketch && state.sketch.length === 0 && plane !== null
      ? [element("button", { type: "button", onclick: () => turn({ sketch: [[plane.lon, plane.lat]] }) }, say("site.first_corner"))] : [];
    tablePlace.replaceChildren(...(tables.length + begin.length === 0 ? [] : [element("details", { open: isOpen || begin.length > 0 }, element("summary", {}, say("site.corners")), ...tables, ...begin)]));
  };
  function show() {
    setText(total, told === null || state.zones.length === 0 || told.zones.some(({ flaws }) => flaws.length > 0) ? "" : say("site.total", { area: describeArea(told.treated_m2, null, store.units) }));
    listPlace.replaceChildren(makeShapeList(state.zones, tellOf, state.chosen, store.units, (place) => turn({ chosen: place === state.chosen ? null : place, corner: null, mode: "look", sketch: [] })));
    toolPlace.replaceChildren(...makeTools(state, on));
    setText(hint, state.mode === "look" && state.zones.length === 0 ? "" : sayHint(state));
    fieldPlace.replaceChildren(...(chosenZone() && state.mode === "look" ? [makeShapeFields(chosenZone(), (zone) => turn({ zones: replace(zone) }))] : []));
    doubtPlace.replaceChildren(...[makeDoubts(state.zones, told, farRig())].filter(Boolean));
    startPlace.replaceChildren(...(plane === null ? [makePlaceForm((corner) => { plane = planeAt(corner); show(); })] : []));
    const isChanged = JSON.stringify(state.zones) !== JSON.stringify(saved);
    setText(open, isChanged ? say("site.not_saved") : "");
    saver.hidden = !isChanged;
    showTable();
    map.ask();
  }
  saver.append(element("button", { type: "button", class: "main", onclick: attempt(() => save(state.zones)) }, say("site.save")),
    element("button", { type: "button", onclick: () => turn({ zones: saved, chosen: null, corner: null, mode: "look", sketch: [] }) }, say("site.leave")));
  findPlane();
  show();
  if (zones.length > 0) check();
  const root = element("section", { class: "shapes" }, element("h3", {}, heading), total, listPlace, startPlace, hint, map.root, toolPlace,
    fieldPlace, doubtPlace, tablePlace, open, saver, said);
  return {
    root, show, ask: () => { if (plane === null && store.snapshot?.position) { findPlane(); show(); } map.ask(); },
    add: (made) => turn({ zones: made.reduce((list, zone) => [...list, { ...zone, name: freshName(list, zone.name) }], state.zones), chosen: made.length === 1 ? state.zones.length : null, mode: "look", sketch: [] }),
    lay: (more) => {
      extra = { ...extra, ...more };
      const first = extra.way[0] ?? extra.offered.flat().find(isOnEarth);
      if (plane === null && first) plane = planeAt(first);
      extra.offered = extra.offered.filter((ring) => ring.every(isNear));
      map.ask();
    },
    showAll: map.showAll,
  };
}
