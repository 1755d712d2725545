// The soil's temperature by days, with the threshold that a rule waits for.

import { formatNumber } from "../core/format.js";
import { say } from "../core/say.js";
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
  const waits = say(trace.days_in_row > 1 ? "season.waits_days" : "season.waits", { warmth: `${trace.threshold.value} ${unit}`, days: trace.days_in_row });
  const said = trace.reached ? say("season.reached", { day: nameDay(trace.reached) }) : say("season.not_reached");
  const canvas = element("canvas", { class: "soil", role: "img", "aria-label": say("season.warmth_by_days", { said }) });
  const days = trace.days.map((day) => element("li", {}, say(day.is_mean ? "season.warm_day" : "season.warm_day_read",
    { day: nameDay(day.day), warmth: `${formatNumber(warmthIn(day.mean_c, unit))} ${unit}`, n: day.readings })));
  const painter = keepPainted(canvas, (context, width_px, height_px, ink) => paint(context, width_px, height_px, ink, trace));
  const part = element("div", {}, element("h3", {}, [trace.name, name].filter(Boolean).join(" – ")), canvas,
    element("p", {}, `${waits} ${said}`), element("p", { class: "small" }, trace.source),
    element("details", {}, element("summary", {}, say("season.the_days")), element("ul", {}, ...days)));
  return { part, stop: painter.stop };
}
