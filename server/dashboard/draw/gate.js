// A gate in a fence, seen from above: shut across the way, ajar, or open. The shape speaks without colour, words beside it say the same.

const SVG = "http://www.w3.org/2000/svg";
const LEAVES = { shut: "M8 17 H24", ajar: "M8 17 L19.5 5.5", open: "M8 17 V2" }; // hinged on the left post

function line(path, className) {
  const made = document.createElementNS(SVG, "path");
  made.setAttribute("d", path);
  made.setAttribute("class", className);
  return made;
}

/** The gate in a state, hidden from readers of the screen. */
export function drawGate(state) {
  const gate = document.createElementNS(SVG, "svg");
  gate.setAttribute("viewBox", "0 0 32 24");
  gate.setAttribute("aria-hidden", "true");
  gate.setAttribute("class", "gate");
  gate.append(line("M1 17 H8 M24 17 H31", "fence"), line("M8 17 v.01 M24 17 v.01", "post"), line(LEAVES[state], "leaf"));
  return gate;
}
