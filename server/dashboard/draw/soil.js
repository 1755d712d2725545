// The soil's temperature by days, with the threshold that a rule waits for.

import { formatNumber } from "../core/format.js";
import { nameDay, scaleSoil } from "../core/season.js";
import { warmthIn } from "../core/units.js";
import { keepPainted } from "./canvas.js";
import { element } from "./element.js";

const EDGES = { left: 46, right: 14, top: 14, bottom: 26 };

function paint(context, width_px, height_px, ink, trace) {
  const { x, y, means, unit } = scaleSoil(trace, width_px, height_px, EDGES);
  context.font = `14px ${ink.font}`;
  context.fillStyle = ink.ink;
  context.strokeStyle = ink.soft;
  context.setLineDash([6, 5]);
  context.beginPath();
  context.moveTo(EDGES.left, y(trace.threshold.value));
  context.lineTo(width_px - EDGES.right, y(trace.threshold.value));
  context.stroke();
  context.setLineDash([]);
  context.textAlign = "right";
  context.fillText(`${trace.threshold.value}`, EDGES.left - 6, y(trace.threshold.value) + 5);
  context.textAlign = "left";
  context.fillText(unit, 4, 14);
  context.strokeStyle = ink.ink;
  context.lineWidth = 2;
  context.beginPath();
  trace.days.forEach(({ day }, place) => context[place === 0 ? "moveTo" : "lineTo"](x(day), y(means[place])));
  context.stroke();
  trace.days.forEach(({ day }, place) => {
    context.beginPath();
    context.arc(x(day), y(means[place]), day === trace.reached ? 6 : 3, 0, 2 * Math.PI);
    context.fill();
  });
  context.fillText(nameDay(trace.days[0].day), EDGES.left, height_px - 6);
  context.textAlign = "right";
  if (trace.days.length > 1) context.fillText(nameDay(trace.days.at(-1).day), width_px - EDGES.right, height_px - 6);
}

/** One rule's drawing on one site, with the days as text beside it; `stop` when it goes. */
export function makeSoil(trace, name) {
  const { unit } = trace.threshold;
  const row = trace.days_in_row > 1 ? ` for ${trace.days_in_row} days` : "";
  const said = trace.reached ? `Reached on ${nameDay(trace.reached)}, the larger dot.` : "Not reached yet.";
  const canvas = element("canvas", { class: "soil", role: "img", "aria-label": `Soil temperature by days. ${said}` });
  const days = trace.days.map((day) => element("li", {}, `${nameDay(day.day)}: ${formatNumber(warmthIn(day.mean_c, unit))} ${unit}`
    + (day.is_mean ? "" : day.readings > 1 ? `, ${day.readings} readings` : ", one reading")));
  const painter = keepPainted(canvas, (context, width_px, height_px, ink) => paint(context, width_px, height_px, ink, trace));
  const part = element("div", {}, element("h3", {}, [trace.name, name].filter(Boolean).join(" – ")), canvas,
    element("p", {}, `Waits for ${trace.threshold.value} ${unit}${row}. ${said}`), element("p", { class: "small" }, trace.source),
    element("details", {}, element("summary", {}, "The days"), element("ul", {}, ...days)));
  return { part, stop: painter.stop };
}
