// Corners as figures, for the keyboard: the first by longitude and latitude, the others east and north of it.

import { writeNumber, readNumber } from "../core/card.js";
import { say } from "../core/say.js";
import { openRing, planeAt, toDegrees, toMetres } from "../core/shape.js";
import { lengthUnit } from "../core/shapewords.js";
import { convert, revert } from "../core/units.js";
import { element, setText } from "./element.js";

function makeInput(label, text, isWrong, change) {
  const input = element("input", { type: "text", inputmode: "decimal", autocomplete: "off", "aria-label": label, value: text });
  input.addEventListener("change", () => {
    try {
      const number = readNumber(input.value);
      if (number === null || isWrong(number)) throw new RangeError();
      input.setAttribute("aria-invalid", "false");
      change(number);
    } catch {
      input.setAttribute("aria-invalid", "true");
      input.setCustomValidity(say("site.no_corner"));
      input.reportValidity(); // the browser says it at the field and moves there
    }
  });
  input.addEventListener("input", () => input.setCustomValidity(""));
  return input;
}

function makeFirst(here, name, on) {
  const change = (axis) => (number) => on.move(0, here.map((value, each) => (each === axis ? number : value)));
  return element("div", { class: "first" },
    makeInput(say("site.lon_of_first", { shape: name }), String(here[0]), (number) => Math.abs(number) > 180, change(0)),
    makeInput(say("site.lat_of_first", { shape: name }), String(here[1]), (number) => Math.abs(number) > 89, change(1)));
}

function makeOffsets(plane, here, at, name, set, on) {
  const place_m = toMetres(plane, here);
  return ["east", "north"].map((word, axis) => makeInput(say(`site.${word}_of_corner`, { number: at + 1, shape: name, unit: lengthUnit(set) }),
    writeNumber(Number(convert(place_m[axis], "length", set).toFixed(2))), (number) => Math.abs(number) > 10_000,
    (number) => on.move(at, toDegrees(plane, place_m.map((value, each) => (each === axis ? revert(number, "length", set) : value))))));
}

function makeRing(corners, origin, name, set, on) {
  const unit = lengthUnit(set);
  const plane = planeAt(origin);
  const isFirst = (at) => at === 0 && origin === corners[0];
  const rows = corners.map((here, at) => element("tr", {}, element("th", { scope: "row" }, String(at + 1)),
    ...(isFirst(at) ? [element("td", { colspan: 2 }, makeFirst(here, name, on))]
      : makeOffsets(plane, here, at, name, set, on).map((cell) => element("td", {}, cell))),
    element("td", {}, element("button", { type: "button", "aria-label": say("site.add_after", { number: at + 1, shape: name }), onclick: () => on.add(at) }, "+")),
    element("td", {}, element("button", { type: "button", "aria-label": say("site.take_out_corner", { number: at + 1, shape: name }), onclick: () => on.drop(at) }, say("site.out")))));
  const heads = ["", say("site.east_unit", { unit }), say("site.north_unit", { unit }), "", ""].map((text) => element("th", { scope: "col" }, text));
  const words = origin === corners[0] ? say("site.corners_of", { shape: name }) : say("site.corners_from_edge", { shape: name });
  return element("table", { class: "corners" }, element("caption", {}, words.charAt(0).toUpperCase() + words.slice(1)),
    element("thead", {}, element("tr", {}, ...heads)), element("tbody", {}, ...rows));
}

/** The tables of a zone's rings, or of a sketch; `on` takes move(ring, corner, place), add(ring, corner, place), drop(ring, corner). */
export function makeCornerTables({ rings, sketch }, set, on) {
  const lists = sketch ? [sketch] : rings.map(openRing);
  return lists.map((corners, ring) => {
    const name = sketch ? say("site.the_new_shape") : ring === 0 ? say("site.the_edge") : say("site.hole", { number: ring });
    const behind = (at) => {
      const plane = planeAt(corners[at]);
      const next = toMetres(plane, corners[(at + 1) % corners.length]);
      return toDegrees(plane, corners.length < 2 ? [5, 0] : corners.length < 3 ? [next[0] / 2 + next[1] / 2, next[1] / 2 - next[0] / 2] : next.map((value) => value / 2));
    };
    return makeRing(corners, lists[0][0], name, set, {
      move: (at, place) => on.move(ring, at, place), add: (at) => on.add(ring, at, behind(at)), drop: (at) => on.drop(ring, at),
    });
  });
}

/** Where a site without any place begins: longitude and latitude typed. */
export function makePlaceForm(begin) {
  const said = element("p", { class: "wrong", role: "status" });
  const inputs = [say("site.longitude"), say("site.latitude")].map((label) => element("input", { type: "text", inputmode: "decimal", autocomplete: "off", "aria-label": label, placeholder: label }));
  const go = (event) => {
    event.preventDefault();
    try {
      const [lon, lat] = inputs.map(({ value }) => readNumber(value));
      if (lon === null || lat === null || Math.abs(lon) > 180 || Math.abs(lat) > 89) throw new Error(say("site.degrees"));
      begin([lon, lat]);
    } catch (problem) {
      setText(said, problem.message);
    }
  };
  return element("form", { class: "place-form", novalidate: true, onsubmit: go },
    element("p", {}, say("site.where")), ...inputs,
    element("button", { type: "submit" }, say("site.begin_there")), said);
}
