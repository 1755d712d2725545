// The buttons and fields beside the drawing of shapes: what can be done now, the shapes in a list, the one that is chosen.

import { say } from "../core/say.js";
import { KINDS, describeFar, describeFlaw, describeShape } from "../core/shapewords.js";
import { element, option } from "./element.js";

const HINTS = {
  look: say("site.hint_look"),
  change: say("site.hint_change"),
  draw: say("site.hint_draw"),
  hole: say("site.hint_hole"),
  cut: say("site.hint_cut"),
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
    return [isLine || sketch.length < 3 ? null : button(say("site.close_it"), on.close, "main"), sketch.length > 0 ? button(say("site.corner_back"), on.undo) : null,
      button(say("site.leave_off"), on.leave)].filter(Boolean);
  }
  if (chosen === null) return [button(say("site.draw_zone"), () => on.begin("draw", "zone")), button(say("site.draw_keep_out"), () => on.begin("draw", "keep_out"))];
  return [corner === null ? null : button(say("site.corner_out"), on.dropCorner), button(say("site.cut_two"), () => on.begin("cut")),
    button(say("site.cut_hole"), () => on.begin("hole")), button(say("site.drop_shape"), on.dropShape), button(say("site.done"), on.done)].filter(Boolean);
}

/** The shapes as a list of buttons; `tellOf` what the service told of each. */
export function makeShapeList(zones, tellOf, chosen, set, choose) {
  if (zones.length === 0) return element("p", {}, say("site.no_shapes"));
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
    element("div", { class: "field" }, element("label", { for: "shape-name" }, say("site.name")), name),
    element("div", { class: "field" }, element("label", { for: "shape-kind" }, say("site.what_it_is")), kind));
}

/** What is wrong or odd, as a list; null where nothing is. The rig is `far_m` away. */
export function makeDoubts(zones, told, far_m) {
  if (told === null) return null;
  const wrong = told.zones.flatMap(({ flaws }, place) => flaws.map((flaw) => `${zones[place]?.name ?? say("site.new_shape")}: ${describeFlaw(flaw)}`));
  const odd = told.cautions.map((caution) => say("site.look_again", { caution }));
  const lines = [...wrong, ...odd, describeFar(far_m)].filter(Boolean);
  return lines.length === 0 ? null : element("ul", { class: "faults" }, ...lines.map((line) => element("li", {}, line)));
}
