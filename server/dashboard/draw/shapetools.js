// The buttons and fields beside the drawing of shapes: what can be done now, the shapes in a list, the one that is chosen.

import { KINDS, describeFar, describeFlaw, describeShape } from "../core/shapewords.js";
import { element, option } from "./element.js";

const HINTS = {
  look: "Tap a shape to change it.",
  change: "Drag a corner to move it; tap an edge for a corner more; tap a corner to choose it.",
  draw: "Tap the corners in order. When done, tap the first again or press Close it.",
  hole: "Tap the corners of the hole in order. When done, tap the first again or press Close it.",
  cut: "Tap two places: the line between them parts the shape.",
};

/** What to do now, in a line. */
export function sayHint({ mode, chosen }) {
  return HINTS[mode === "look" && chosen !== null ? "change" : mode];
}

/** The buttons of what can be done now; `on` takes begin(mode, kind), close, undo, leave, dropCorner, dropShape, done. */
export function makeTools({ mode, chosen, corner, sketch }, on) {
  const button = (text, onclick, kind = null) => element("button", { type: "button", onclick, class: kind }, text);
  if (mode !== "look") {
    const isLine = mode === "cut";
    return [isLine || sketch.length < 3 ? null : button("Close it", on.close, "main"), sketch.length > 0 ? button("Last corner back", on.undo) : null,
      button("Leave off", on.leave)].filter(Boolean);
  }
  if (chosen === null) return [button("Draw a zone", () => on.begin("draw", "zone")), button("Draw a keep-out", () => on.begin("draw", "keep_out"))];
  return [corner === null ? null : button("Take the corner out", on.dropCorner), button("Cut in two", () => on.begin("cut")),
    button("Cut a hole", () => on.begin("hole")), button("Take the shape away", on.dropShape), button("Done", on.done)].filter(Boolean);
}

/** The shapes as a list of buttons; `tellOf` what the service told of each. */
export function makeShapeList(zones, tellOf, chosen, set, choose) {
  if (zones.length === 0) return element("p", {}, "No shapes yet: draw one, walk round its edge, or bring a file.");
  return element("ul", { class: "cards" }, ...zones.map((zone, place) => element("li", {},
    element("button", { type: "button", "aria-pressed": String(place === chosen), onclick: () => choose(place) }, describeShape(zone, tellOf.get(zone), set)))));
}

/** Name and kind of the chosen shape. */
export function makeShapeFields(zone, change) {
  const name = element("input", { id: "shape-name", type: "text", autocomplete: "off", maxlength: 120, value: zone.name });
  name.addEventListener("change", () => {
    if (name.value.trim() !== "") change({ ...zone, name: name.value.trim() });
    else name.value = zone.name;
  });
  const kind = element("select", { id: "shape-kind" }, ...Object.entries(KINDS).map(([value, words]) => option(value, words, value === zone.kind)));
  kind.addEventListener("change", () => change({ ...zone, kind: kind.value }));
  return element("div", { class: "shape-fields" },
    element("div", { class: "field" }, element("label", { for: "shape-name" }, "Name"), name),
    element("div", { class: "field" }, element("label", { for: "shape-kind" }, "What it is"), kind));
}

/** What is wrong or odd, as a list; null where nothing is. The rig is `far_m` away. */
export function makeDoubts(zones, told, far_m) {
  if (told === null) return null;
  const wrong = told.zones.flatMap(({ flaws }, place) => flaws.map((flaw) => `${zones[place]?.name ?? "The new shape"}: ${describeFlaw(flaw)}`));
  const odd = told.cautions.map((caution) => `Look again: ${caution}.`);
  const lines = [...wrong, ...odd, describeFar(far_m)].filter(Boolean);
  return lines.length === 0 ? null : element("ul", { class: "faults" }, ...lines.map((line) => element("li", {}, line)));
}
