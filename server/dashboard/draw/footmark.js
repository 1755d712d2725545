// The mark of a step: the print of a left or a right foot, filled once the step is done.

const SVG = "http://www.w3.org/2000/svg";
const SOLE = "M12 2 C16.5 2 18 6 17.5 10 C17.2 13 15.5 15 15 17.5 L9.5 17.5 C9.5 15 7 13 7 9 C7 5 8.5 2 12 2 Z";
const HEEL = "M9.6 20.5 L15 20.5 C15.2 25 14.5 28 12.3 28 C10 28 9.5 25 9.6 20.5 Z";

/** The print for a step's number, hidden from readers of the screen. */
export function drawFootmark(place) {
  const mark = document.createElementNS(SVG, "svg");
  mark.setAttribute("viewBox", "0 0 24 30");
  mark.setAttribute("aria-hidden", "true");
  mark.setAttribute("class", "footmark");
  mark.dataset.foot = place % 2 ? "right" : "left";
  for (const shape of [SOLE, HEEL]) {
    const path = document.createElementNS(SVG, "path");
    path.setAttribute("d", shape);
    mark.append(path);
  }
  return mark;
}
