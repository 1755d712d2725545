// The one door to the network: questions, orders, and the live stream with its watchdog.

import { agoBy, emptyLag, noteStamp } from "./core/lag.js";
import { tellProblem } from "./core/problem.js";
import { say } from "./core/say.js";

const QUIET_S = 3; // the service speaks each second: without an event for this long, ask whether anyone is there
const MOST_QUIET_S = 24; // a slow link brings the first picture late: each opening that nothing came of waits twice as long
const WOKEN_QUIET_S = 1.5; // after sleep or a change of network
const CHECK_S = 1;
const PROBE_TIMEOUT_S = 4;
const RETRY_S = 1.5;

/** A refusal by the service, in its own words. */
export class Refusal extends Error {
  constructor(status, title, detail, key) {
    super(status > 0 ? tellProblem(title, detail, key) : say("feed.unreached_how", { title, detail }));
    this.status = status;
    this.detail = detail || title;
    this.key = key ?? null;
  }
}

const UNREACHED = [say("feed.unreached"), say("feed.check_network")];

function explain(status, text) {
  try {
    const problem = JSON.parse(text);
    return new Refusal(status, problem.title ?? "", problem.detail ?? "", problem.key);
  } catch {
    return new Refusal(status, say("feed.answered", { status }), "");
  }
}

/** Both clocks of this device: the one stops while it sleeps, the other may be set. */
function clocks() {
  return { run_s: performance.now() / 1000, wall_s: Date.now() / 1000 };
}

export class Feed extends EventTarget {
  #stream = null;
  #retry = null;
  #watch = null;
  #probe = null;
  #heardAt = clocks();
  #tickAt = clocks();
  #lag = emptyLag();
  #hooks = null;
  #quiet_s = QUIET_S;

  /** Ask for something; raises Refusal, or Refusal with status 0 when the service cannot be reached. */
  async ask(path, { method = "GET", body, raw, timeout_s = 30 } = {}) {
    const options = { method, signal: AbortSignal.timeout(timeout_s * 1000), headers: { Accept: "application/json" } };
    if (body !== undefined) {
      options.body = JSON.stringify(body);
      options.headers["Content-Type"] = "application/json";
    }
    if (raw !== undefined) {
      options.body = raw;
      options.headers["Content-Type"] = "application/octet-stream";
    }
    let response;
    try {
      response = await fetch(`/api${path}`, options);
    } catch {
      throw new Refusal(0, ...UNREACHED);
    }
    if (response.status === 401) this.dispatchEvent(new Event("passcode"));
    const text = await response.text();
    if (!response.ok) throw explain(response.status, text);
    return text === "" ? null : JSON.parse(text);
  }

  /** Send a file as it is, telling how much is on its way; what is asked of it may take minutes. Raises Refusal. */
  send(path, file, { onSent, timeout_s = 1000 }) {
    return new Promise((resolve, reject) => {
      const order = new XMLHttpRequest(); // fetch does not tell how much has gone out
      order.open("POST", `/api${path}`);
      order.timeout = timeout_s * 1000;
      order.setRequestHeader("Accept", "application/json");
      order.setRequestHeader("Content-Type", "application/octet-stream");
      order.upload.addEventListener("progress", ({ loaded }) => onSent(loaded));
      order.upload.addEventListener("load", () => onSent(file.size));
      for (const name of ["error", "abort", "timeout"]) order.addEventListener(name, () => reject(new Refusal(0, ...UNREACHED)));
      order.addEventListener("load", () => {
        if (order.status === 401) this.dispatchEvent(new Event("passcode"));
        if (order.status >= 200 && order.status < 300) resolve(JSON.parse(order.responseText));
        else reject(explain(order.status, order.responseText));
      });
      order.send(file);
    });
  }

  /** Where a file of a job's results is to be fetched. */
  fileAddress(job, name) {
    return `/api/jobs/${job}/files/${encodeURIComponent(name)}`;
  }

  /** Where what is due is to be fetched for other calendars. */
  seasonAddress() {
    return "/api/season.ics";
  }

  /** Where a site's shapes are to be fetched as GeoJSON. */
  siteAddress(number, version) {
    return `/api/sites/${number}/geojson?version=${version}`;
  }

  /** Open the live stream and keep it open; `hooks` take snapshot (with how late it came, in s), strips, outlook, track,
   * dose and whether there is a connection. */
  follow(hooks) {
    this.#hooks = hooks;
    this.#open();
    this.#watch ??= setInterval(() => this.#tick(), CHECK_S * 1000);
    // A phone that sleeps stops this page's timers; what comes first when it wakes is one of these.
    document.addEventListener("visibilitychange", () => this.#wake());
    for (const name of ["resume", "pageshow", "online", "focus"]) addEventListener(name, () => this.#wake());
  }

  /** Begin the stream again at once, after the passcode was given say. */
  reopen() {
    if (this.#hooks) this.#open();
  }

  #open() {
    this.#close();
    this.#heardAt = clocks();
    this.#lag = emptyLag();
    const stream = new EventSource("/api/live/stream");
    this.#stream = stream;
    stream.addEventListener("snapshot", (event) => {
      this.#lag = noteStamp(this.#lag, Number.parseFloat(event.lastEventId), performance.now() / 1000);
      this.#heard();
      this.#hooks.snapshot(JSON.parse(event.data), this.#lag.lag_s);
    });
    for (const name of ["strips", "outlook", "track", "dose"]) {
      stream.addEventListener(name, (event) => {
        this.#heard();
        this.#hooks[name](JSON.parse(event.data));
      });
    }
    stream.addEventListener("error", () => this.#lose());
  }

  #heard() {
    this.#heardAt = clocks();
    this.#quiet_s = QUIET_S;
    this.#hooks.connection(true);
  }

  #close() {
    this.#stream?.close();
    this.#stream = null;
    clearTimeout(this.#retry);
    this.#retry = null;
  }

  #lose() {
    this.#hooks.connection(false);
    this.#close();
    this.#retry = setTimeout(() => this.#tryAgain(), RETRY_S * 1000);
  }

  /** Ask for the picture before opening the stream: an EventSource does not say that a passcode is wanted. */
  async #tryAgain() {
    if (await this.#look()) this.#open();
    else if (this.#stream === null) this.#retry = setTimeout(() => this.#tryAgain(), RETRY_S * 1000);
  }

  /** Where the page itself stood still, what waits for it is heard first. */
  #tick() {
    const stood_s = agoBy(this.#tickAt, clocks());
    this.#tickAt = clocks();
    if (stood_s < 2 * CHECK_S) this.#check(this.#quiet_s);
  }

  /** A radio link that vanished gives no error, and a stream that broke on the way neither: when nothing came for a
   * while, ask; if someone is there and the stream still says nothing, it is dead, and with it what it would have brought. */
  async #check(quiet_s) {
    if (this.#stream === null || this.#probe !== null || agoBy(this.#heardAt, clocks()) < quiet_s) return;
    const [stream, heardAt] = [this.#stream, this.#heardAt];
    const isThere = await this.#look();
    if (this.#stream !== stream || this.#heardAt !== heardAt) return; // it has spoken meanwhile
    if (isThere) {
      this.#quiet_s = Math.min(2 * this.#quiet_s, MOST_QUIET_S);
      this.#open();
    } else this.#lose();
  }

  /** The picture of now, if the service answers in time; how long that took is how old it may be. */
  async #look() {
    const [begun, heardAt] = [clocks(), this.#heardAt];
    this.#probe ??= this.ask("/live", { timeout_s: PROBE_TIMEOUT_S });
    try {
      const snapshot = await this.#probe;
      if (this.#heardAt === heardAt) this.#hooks.snapshot(snapshot, agoBy(begun, clocks())); // the stream's own is newer
      return true;
    } catch (problem) {
      if (!(problem instanceof Refusal)) throw problem;
      return false;
    } finally {
      this.#probe = null;
    }
  }

  /** The phone was woken, or found a network: do not wait for the next turn. */
  #wake() {
    if (document.visibilityState === "hidden") return;
    if (this.#stream !== null) this.#check(WOKEN_QUIET_S);
    else if (this.#probe === null) {
      clearTimeout(this.#retry);
      this.#tryAgain();
    }
  }
}
