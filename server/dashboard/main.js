// Puts the parts together: store, feed, sound, and the page that the address names.

import { readPair } from "./core/beside.js";
import { describeAge } from "./core/figures.js";
import { say } from "./core/say.js";
import { LIGHTS, TEXT_SIZES } from "./core/looks.js";
import { UNIT_SETS } from "./core/units.js";
import { element, option, setText } from "./draw/element.js";
import { Feed } from "./feed.js";
import { Sound } from "./sound.js";
import { Store } from "./store.js";
import { mountAir } from "./views/air.js";
import { mountBeside } from "./views/beside.js";
import { mountCheck } from "./views/check.js";
import { mountCup } from "./views/cup.js";
import { mountFill } from "./views/fill.js";
import { mountFirst } from "./views/first.js";
import { mountLawn } from "./views/lawn.js";
import { mountMyLawn } from "./views/mylawn.js";
import { mountPapers } from "./views/papers.js";
import { mountRecord } from "./views/record.js";
import { mountReview } from "./views/review.js";
import { mountSeason } from "./views/season.js";
import { mountSetup } from "./views/setup.js";
import { mountStart } from "./views/start.js";

const store = new Store();
const feed = new Feed();
const sound = new Sound(store);
const root = document.getElementById("page");
const VIEWS = {
  start: mountStart, fill: mountFill, lawn: mountLawn, got: mountReview, air: mountAir, season: mountSeason,
  record: mountRecord, site: mountMyLawn, gear: mountSetup,
  papers: mountPapers, first: mountFirst,
};
const GEAR = { cup: mountCup, catch: mountCheck, walk: mountCheck, swath: mountCheck, check: mountCheck };
let leave = () => {};

/** The page of an address that names none: before a job whether to start, in a job the lawn. */
function choosePage() {
  return ["running", "paused"].includes(store.snapshot?.job?.state) ? "lawn" : "start";
}

function readAddress() {
  const [page, number] = location.hash.slice(1).split("/");
  return {
    page: Object.hasOwn(VIEWS, page) ? page : choosePage(),
    chosen: /^\d+$/.test(number ?? "") ? Number(number) : null,
    part: number,
  };
}

function showPage() {
  const hadFocus = root.contains(document.activeElement); // on a link of the place that is left
  leave();
  scrollTo(0, 0);
  const { page, chosen, part } = readAddress();
  document.title = `${say(`frame.${page}`)} · calmpass`;
  document.body.dataset.page = page;
  for (const link of document.querySelectorAll("#places a")) {
    if (link.hash === `#${page}`) link.setAttribute("aria-current", "page");
    else link.removeAttribute("aria-current");
  }
  const parts = { store, feed, sound, chosen, part, open: (id) => location.replace(`#got/${id}`) };
  const isPair = page === "got" && readPair(part) !== null;
  leave = (isPair ? mountBeside : page === "gear" && Object.hasOwn(GEAR, part ?? "") ? GEAR[part] : VIEWS[page])(root, parts);
  if (hadFocus) root.focus({ preventScroll: true });
}

function namePlaces() {
  document.getElementById("places").setAttribute("aria-label", say("frame.places"));
  for (const link of document.querySelectorAll("[data-place]")) setText(link, say(`place.${link.dataset.place}`));
}

/** What a reader chooses at the page's foot. */
function offerChoices() {
  const offered = {
    units: Object.entries(UNIT_SETS).map(([name, { label }]) => [name, label]),
    text: TEXT_SIZES.map((name) => [name, say(`frame.text_${name}`)]),
    light: LIGHTS.map((name) => [name, say(`frame.light_${name}`)]),
  };
  for (const [what, names] of Object.entries(offered)) {
    const select = document.getElementById(what);
    setText(select.previousElementSibling, say(`frame.${what}`));
    select.append(...names.map(([name, label]) => option(name, label, name === store[what])));
    select.addEventListener("change", () => store.choose(what, select.value));
  }
}

function showLooks() {
  document.documentElement.dataset.text = store.text;
  document.documentElement.dataset.light = store.light;
  document.dispatchEvent(new Event("looks")); // the drawings take up the letters' size and the colours
}

function loadLawn() {
  feed.ask("/lawn").then((lawn) => store.takeLawn(lawn), () => {}); // asked again with the next job, fix or connection
}

function askPasscode() {
  const dialog = document.getElementById("passcode");
  if (dialog.open) return;
  const input = element("input", { id: "passcode-word", type: "password", autocomplete: "current-password", required: true });
  const wrong = element("p", { role: "alert", class: "wrong" });
  const send = async (event) => {
    event.preventDefault();
    try {
      await feed.ask("/passcode", { method: "POST", body: { passcode: input.value } });
      dialog.close();
      feed.reopen();
      loadLawn();
      showPage();
    } catch (problem) {
      setText(wrong, problem.status === 401 ? say("frame.wrong_passcode") : problem.message);
    }
  };
  dialog.replaceChildren(element("form", { onsubmit: send }, element("h2", { id: "passcode-title" }, say("frame.passcode")),
    element("label", { for: "passcode-word" }, say("frame.which_passcode")), input, wrong,
    element("button", { type: "submit", class: "main" }, say("frame.go_in"))));
  dialog.showModal();
}

document.querySelector(".skip").addEventListener("click", (event) => {
  event.preventDefault(); // the address names the page, so a jump must not change it
  root.focus();
});
namePlaces();
offerChoices();
showLooks();
for (const what of ["text", "light"]) store.addEventListener(what, showLooks);
feed.addEventListener("passcode", askPasscode);
store.addEventListener("job", loadLawn);
store.addEventListener("job", () => {
  // A job that begins turns the page for those who named none.
  if (location.hash === "" && document.body.dataset.page === "start" && choosePage() === "lawn") showPage();
});
document.addEventListener("focusin", ({ target }) => {
  if (target.matches("textarea")) target.scrollIntoView({ block: "nearest" }); // by itself only its first line comes into sight
});
window.addEventListener("hashchange", showPage);
setInterval(() => {
  const { isOld } = describeAge(store.ageAt(performance.now() / 1000), store.isConnected);
  document.body.toggleAttribute("data-old", isOld && store.snapshot !== null); // figures and drawings bear the mark themselves
}, 500);
showPage();
feed.follow({
  snapshot: (snapshot, lag_s) => store.takeSnapshot(snapshot, performance.now() / 1000, lag_s),
  strips: (strips) => store.takeStrips(strips),
  outlook: (outlook) => store.takeOutlook(outlook),
  track: (message) => store.takeTrack(message),
  dose: (message) => store.takeDose(message),
  connection: (isConnected) => {
    if (isConnected && !store.isConnected) loadLawn(); // the service may be another by now
    store.setConnected(isConnected);
  },
});
