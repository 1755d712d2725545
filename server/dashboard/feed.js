// The one door to the network: questions, orders, and the live stream with its watchdog.

const QUIET_S = 5; // without an event for this long, ask whether anyone is there
const PROBE_TIMEOUT_S = 4;
const RETRY_S = 1.5;

/** A refusal by the service, in its own words. */
export class Refusal extends Error {
  constructor(status, title, detail, key) {
    super([title, detail].filter(Boolean).join(": "));
    this.status = status;
    this.detail = detail || title;
    this.key = key ?? null;
  }
}

async function explain(response) {
  try {
    const problem = await response.json();
    return new Refusal(response.status, problem.title ?? "", problem.detail ?? "", problem.key);
  } catch {
    return new Refusal(response.status, `The service answered ${response.status}`, "");
  }
}

export class Feed extends EventTarget {
  #stream = null;
  #retry = null;
  #watch = null;
  #heardAt_s = 0;
  #hooks = null;

  /** Ask for something; raises Refusal, or Refusal with status 0 when the service cannot be reached. */
  async ask(path, { method = "GET", body, timeout_s = 30 } = {}) {
    const options = { method, signal: AbortSignal.timeout(timeout_s * 1000), headers: { Accept: "application/json" } };
    if (body !== undefined) {
      options.body = JSON.stringify(body);
      options.headers["Content-Type"] = "application/json";
    }
    let response;
    try {
      response = await fetch(`/api${path}`, options);
    } catch {
      throw new Refusal(0, "The service cannot be reached", "check that this device is on the rig's network, then try again");
    }
    if (response.status === 401) this.dispatchEvent(new Event("passcode"));
    if (!response.ok) throw await explain(response);
    const text = await response.text();
    return text === "" ? null : JSON.parse(text);
  }

  /** Where a file of a job's results is to be fetched. */
  fileAddress(job, name) {
    return `/api/jobs/${job}/files/${encodeURIComponent(name)}`;
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
