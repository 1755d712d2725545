// The readings of a calibration under way, and the record of those that were made, as lists that fit a phone.

import { describeLine } from "../core/cup.js";
import { formatInstant, formatNumber } from "../core/format.js";
import { element } from "./element.js";
import { say } from "../core/say.js";

const WAYS = { references: say("cup.by_reference"), walk: say("cup.by_walk") };

function button(text, onclick, label = null) {
  return element("button", { type: "button", onclick, "aria-label": label }, text);
}

/** The readings so far; `told` is what the service made of each, null while it is asked. */
export function makeReadings(readings, told, drop) {
  if (readings.length === 0) return element("p", {}, say("cup.no_reading"));
  return element("ol", { class: "entries", "aria-label": say("cup.readings") }, ...readings.map((reading, place) => {
    const mean = told?.[place];
    const count = mean ? mean.refusal || say("cup.hertz", { hertz: formatNumber(mean.hz, 4), seconds: mean.seconds }) : "…";
    return element("li", {}, element("span", {}, element("strong", {}, `${reading.speeds.join(" ")} ${reading.unit}`), `; ${say("cup.cup_read", { count })}`),
      button(say("cup.remove"), () => drop(place), say("cup.remove_reading", { number: place + 1 })));
  }));
}

function tellUse(made, isNewest, apply) {
  if (!made.is_usable) return null;
  if (made.applied_utc === null) return button(say("cup.use_line"), () => apply(made));
  if (isNewest) return element("strong", {}, say("cup.in_use_since", { when: formatInstant(made.applied_utc) }));
  return button(say("cup.use_again"), () => apply(made));
}

/** All calibrations, the newest first: day, way, line, how sure, whether applied. */
export function makeRecord(record, set, apply) {
  if (record.length === 0) return element("p", {}, say("cup.none_yet"));
  const used = record.filter((made) => made.applied_utc !== null).sort((a, b) => b.applied_utc - a.applied_utc);
  return element("ul", { class: "entries", "aria-label": say("cup.record_of") }, ...record.map((made) => {
    const line = describeLine(made, set);
    const words = made.is_usable ? `${line}.` : say(line ? "cup.refused_line" : "cup.refused", { why: made.refusal, line });
    return element("li", {}, element("span", {}, element("strong", {}, `${formatInstant(made.made_utc)}, ${WAYS[made.way] ?? made.way}`),
      `: ${words}`), tellUse(made, made === used[0], apply));
  }));
}
