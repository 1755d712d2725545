// What somebody else did to the job: on another page, or with the buttons of the rig.

import { say } from "./say.js";

const OWN_MS = 10_000; // so long after a button was pressed here its effect is not news

/** Which button makes such a change; null where none does. */
function buttonBetween(before, now) {
  const [was, is] = [before?.state ?? null, now?.state ?? null];
  const wasOpen = was === "running" || was === "paused";
  if (is === "running" && was !== "running") return was === "paused" ? "resume" : "start";
  if (is === "paused" && was === "running") return "pause";
  return wasOpen && (is === null || is === "finished") ? "finish" : null;
}

/** A sentence for a job that changed though nobody pressed that button here; `own` is what was pressed here last. */
export function describeElsewhere(before, now, own, now_ms) {
  if (before === undefined) return "";
  const button = buttonBetween(before, now);
  const isOwn = own !== null && now_ms - own.at_ms < OWN_MS && own.kind === (button === "resume" ? "start" : button);
  return button === null || isOwn ? "" : say(`elsewhere.${button}`);
}
