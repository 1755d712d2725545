// The alarm's shapes: eight corners to stop, four to watch, round for none. The shape speaks without its colour.

const SVG = "http://www.w3.org/2000/svg";
const POINTS = {
  octagon: "8,2 16,2 22,8 22,16 16,22 8,22 2,16 2,8",
  diamond: "12,1 23,12 12,23 1,12",
};

/** The sign of a shape as an SVG, hidden from readers of the screen: the word beside it says the same. */
export function drawSign(shape) {
  const sign = document.createElementNS(SVG, "svg");
  sign.setAttribute("viewBox", "0 0 24 24");
  sign.setAttribute("aria-hidden", "true");
  sign.setAttribute("class", "sign");
  const outline = document.createElementNS(SVG, POINTS[shape] ? "polygon" : "circle");
  if (POINTS[shape]) outline.setAttribute("points", POINTS[shape]);
  else for (const [name, value] of Object.entries({ cx: 12, cy: 12, r: 9 })) outline.setAttribute(name, value);
  sign.append(outline);
  if (shape === "octagon") sign.append(bar(5, 10, 14, 4));
  if (shape === "diamond") sign.append(bar(10.5, 6, 3, 8), bar(10.5, 15.5, 3, 3));
  return sign;
}

function bar(x, y, width, height) {
  const made = document.createElementNS(SVG, "rect");
  for (const [name, value] of Object.entries({ x, y, width, height })) made.setAttribute(name, value);
  made.setAttribute("class", "mark");
  return made;
}
