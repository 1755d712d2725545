// The alarm: a line while nothing has to stop, the whole screen for a stop that nobody has seen yet.

import { describeLull, describeSince, isWhole, keyOf } from "../core/alarm.js";
import { describeAlarm } from "../core/figures.js";
import { SHORT_HOLD_MS } from "../core/glove.js";
import { say } from "../core/say.js";
import { element, setText } from "./element.js";
import { makeGlove } from "./glove.js";
import { drawSign } from "./sign.js";
import { makeSpoken } from "./spoken.js";

const SEE = { name: "see", label: say("alarm.seen"), doing: say("alarm.seen_doing"), hold_ms: SHORT_HOLD_MS, undo: null };

/** All of the page beside a part, so that neither a press nor the focus reaches what the part covers. */
function listBeside(part) {
  const others = [];
  for (let at = part; at.parentElement && at !== document.body; at = at.parentElement) {
    others.push(...[...at.parentElement.children].filter((each) => each !== at && !each.matches("script, dialog")));
  }
  return others;
}

/** The alarm's part of the page; `show(age, isStale)` reads the store. */
export function makeAlarm(store) {
  const sign = element("span", { class: "alarm-sign" });
  const word = element("strong", { role: "alert" });
  const hear = makeSpoken(word);
  const reason = element("span", { class: "alarm-reason" });
  const since = element("span", { class: "alarm-since" });
  const lull = element("span", { class: "alarm-lull" });
  const old = element("span", { class: "alarm-old" });
  const glove = makeGlove(() => {
    store.seenAlarm = keyOf(store.snapshot?.alarm); // this stop is seen, the next one covers the page again
    show();
  });
  glove.show(SEE);
  const bar = element("section", { class: "alarm", "aria-label": say("alarm.alarm") }, sign,
    element("div", { class: "alarm-words" }, word, reason, since, lull, old), glove.part);
  let shown = "";
  let wasWhole = null;
  let covered = [];
  let held = null;
  let isStale = false;
  let lastAge = null;

  const cover = (isNow) => {
    if (isNow === wasWhole) return;
    wasWhole = isNow;
    bar.classList.toggle("whole", isNow);
    for (const part of [since, lull, old, glove.part]) part.hidden = !isNow;
    if (isNow) {
      held = bar.parentElement?.contains(document.activeElement) ? document.activeElement : null;
      covered = listBeside(bar);
    }
    for (const other of covered) other.inert = isNow;
    if (held !== null) (isNow ? glove.button : held).focus({ preventScroll: true }); // with the alarm, and back to where one was
  };
  function show(age = lastAge, isStaleNow = isStale) {
    [lastAge, isStale] = [age, isStaleNow];
    const { snapshot, outlook, units } = store;
    const now = describeAlarm(snapshot?.alarm ?? null, units, outlook?.inversion, outlook?.at_utc ?? null,
      (snapshot?.wind?.limit_mps ?? null) !== null || snapshot === null);
    const isUnknown = now.level === "none" && isStale; // what was calm a while ago need not be so now
    if (now.level !== shown) {
      shown = now.level;
      bar.dataset.level = now.level;
      sign.replaceChildren(drawSign(now.shape));
    }
    const told = isUnknown ? say("alarm.unknown") : now.word;
    hear(told);
    if (now.level !== "none") word.setAttribute("aria-live", "assertive"); // only an alarm breaks in on what is read out
    setText(word, told);
    sign.style.setProperty("visibility", isUnknown ? "hidden" : "visible");
    if (keyOf(snapshot?.alarm) === null) store.seenAlarm = null;
    setText(reason, snapshot === null ? say("alarm.no_word") : isUnknown ? say("alarm.trust_rig") : now.reason);
    setText(since, describeSince(snapshot?.alarm, snapshot?.at_utc));
    setText(lull, describeLull(outlook));
    const isNow = isWhole(snapshot, store.seenAlarm);
    setText(old, isNow && age?.isOld ? age.text : "");
    cover(isNow);
  }
  return { bar, show, stop: () => cover(false) };
}
