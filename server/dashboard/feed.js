// The one door to the network: questions, orders, and the live stream with its watchdog.

import { tellProblem } from "./core/problem.js";

const QUIET_S = 5; // without an event for this long, ask whether anyone is there
const PROBE_TIMEOUT_S = 4;
const RETRY_S = 1.5;

/** A refusal by the service, in its own words. */
export class Refusal extends Error {
  constructor(status, title, detail, key) {
    super(status > 0 ? tellProblem(title, detail, key) : `${title}: ${detail}`);
    this.status = status;
    this.detail = detail || title;
    this.key = key ?? null;
  }
}

const UNREACHED = ["The service cannot be reached", "check that this device is on the rig's network, then try again"];

function explain(status, text) {
  try {
    const problem = JSON.parse(text);
    return new Refusal(status, problem.title ?? "", problem.detail ?? "", problem.key);
  } catch {
    return new Refusal(status, `The service answered ${status}`, "");
  }
}

export class Feed extends EventTarget {
  #stream = null;
  #retry = null;
  #watch = null;
  #heardAt_s = 0;
  #hooks = null;

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

  /** Open the live stream and keep it open; `hooks` take snapshot, strips, outlook, track, dose and whether there is a connection. */
  follow(hooks) {
    this.#hooks = hooks;
    this.#open();
    this.#watch ??= setInterval(() => this.#check(), 1000);
  }

  /** Begin the stream again at once, after the passcode was given say. */
  reopen() {
    if (this.#hooks) this.#open();
  }

  #open() {
    this.#close();
    this.#heardAt_s = performance.now() / 1000;
    const stream = new EventSource("/api/live/stream");
    this.#stream = stream;
    for (const name of ["snapshot", "strips", "outlook", "track", "dose"]) {
      stream.addEventListener(name, (event) => {
        this.#heard();
        this.#hooks[name](JSON.parse(event.data));
      });
    }
    stream.addEventListener("error", () => this.#lose());
  }

  #heard() {
    this.#heardAt_s = performance.now() / 1000;
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
    try {
      this.#hooks.snapshot(await this.ask("/live", { timeout_s: PROBE_TIMEOUT_S }));
      this.#open();
    } catch (problem) {
      if (!(problem instanceof Refusal)) throw problem;
      this.#retry = setTimeout(() => this.#tryAgain(), RETRY_S * 1000);
    }
  }

  /** A radio link that vanished gives no error: when nothing came for a while, ask. */
  #check() {
    if (this.#stream === null || performance.now() / 1000 - this.#heardAt_s < QUIET_S) return;
    this.#heardAt_s = performance.now() / 1000;
    this.ask("/live", { timeout_s: PROBE_TIMEOUT_S }).then(
      (snapshot) => this.#hooks.snapshot(snapshot),
      () => this.#lose(),
    );
  }
}
