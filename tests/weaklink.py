"""A link between page and service that fails as radio does, a rig that goes on meanwhile, what both should agree on."""

import json
import socket
import threading
import time
import urllib.request
from base64 import b64decode
from contextlib import suppress
from typing import Any

import numpy as np
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion
from playwright.sync_api import Page
from programs import wait_for

from firmware_sim.bench import record
from firmware_sim.build import World
from rig import wire

BOOT = "00000000000ba51c"
OLD_S = 4.5
"""What is shown as current may be so old: 3 s, a look each half second, and the way to the page."""
KEEP_STORE = """
const tell = EventTarget.prototype.dispatchEvent;
EventTarget.prototype.dispatchEvent = function (event) {
  if (this.takeSnapshot) window.known = this;
  return tell.call(this, event);
};"""
LOOK = """() => ({old: document.querySelector('.age')?.classList.contains('old') ?? null,
  text: document.querySelector('.age')?.textContent ?? '', marked: document.body.hasAttribute('data-old'),
  at_utc: window.known?.snapshot?.at_utc ?? null, isConnected: window.known?.isConnected ?? null})"""
TELL_STORE = """() => {
  const {dose, track, snapshot} = window.known;
  return {frame: ['x0_m', 'y0_m', 'cell_m', 'nx', 'ny'].map((name) => dose[name]), dose: [...dose.l_per_m2],
    east_m: track.east_m, north_m: track.north_m, spraying: track.spraying.map(Number), volume_l: snapshot.volume_l};
}"""


class WeakLink:
    """Passes TCP on; it can go silent as a lost radio link does, refuse, or forget what was open without a word."""

    def __init__(self, port: int) -> None:
        self._port = port
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        self._open = threading.Event()
        self._open.set()
        self._is_refusing = False
        self._is_closed = False
        self._generation = 0
        self._pairs: list[tuple[socket.socket, socket.socket]] = []
        self._mute: list[tuple[socket.socket, socket.socket]] = []
        threading.Thread(target=self._accept, daemon=True).start()

    def silence(self) -> None:
        """Nothing passes any more, and nobody is told."""
        self._open.clear()

    def refuse(self) -> None:
        """Close what is open, and every new connection at once."""
        self._is_refusing = True
        self._drop()

    def mend(self) -> None:
        """Pass everything on again, what waited first."""
        self._is_refusing = False
        self._open.set()

    def forget(self) -> None:
        """What is open stays open and mute for ever; what is opened anew works: a router that lost its table."""
        self._mute += self._pairs
        self._pairs = []
        self._generation += 1
        self._open.set()

    def close(self) -> None:
        """End everything."""
        self._is_closed = True
        self._open.set()
        with suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        self._pairs += self._mute
        self._drop()

    def _drop(self) -> None:
        for pair in self._pairs:
            for end in pair:
                with suppress(OSError):
                    end.shutdown(socket.SHUT_RDWR)
                end.close()
        self._pairs = []

    def _accept(self) -> None:
        while not self._is_closed:
            try:
                page, _ = self._listener.accept()
            except OSError:
                return
            if self._is_refusing:
                page.close()
                continue
            with suppress(OSError):
                service = socket.create_connection(("127.0.0.1", self._port))
                self._pairs.append((page, service))
                for ends in ((page, service), (service, page)):
                    threading.Thread(target=self._pass_on, args=(*ends, self._generation), daemon=True).start()
                continue
            page.close()

    def _pass_on(self, source: socket.socket, sink: socket.socket, generation: int) -> None:
        with suppress(OSError):
            while data := source.recv(65536):
                self._open.wait()
                if generation != self._generation:
                    return
                sink.sendall(data)
        if generation == self._generation:
            for end in (source, sink):
                with suppress(OSError):
                    end.shutdown(socket.SHUT_RDWR)


class Walker:
    """A rig that works on in a thread, at a pace, until told to stop."""

    def __init__(self, world: World, port: int, *, rig: str, pace: float) -> None:
        self._world = world
        self._port = port
        self._rig = rig
        self.pace = pace
        self.told_utc = 0.0
        self._is_stopped = threading.Event()
        self._thread = threading.Thread(target=self._walk, daemon=True)

    def start(self) -> None:
        """Begin to walk."""
        self._thread.start()

    def stop(self) -> None:
        """Stop where one is."""
        self._is_stopped.set()
        self._thread.join()

    def _walk(self) -> None:
        client = Client(CallbackAPIVersion.VERSION2)
        client.connect("127.0.0.1", self._port)
        client.loop_start()
        begun = time.monotonic()
        for at_s, message in record(self._world.feed, BOOT):
            wait = begun + at_s / self.pace - time.monotonic()
            if self._is_stopped.wait(max(0.0, wait)):
                break
            if isinstance(message, wire.Event) and message.kind == "button" and message.detail["name"] == "finish":
                break
            client.publish(wire.topic_of(self._rig, wire.stream_of(message)), wire.encode(message), 1)
            if isinstance(message, wire.Position) and message.utc is not None:
                self.told_utc = message.utc
        client.loop_stop()


def ask_whole(base: str) -> dict[str, Any]:
    """What the service tells a page that opens now, as the page would keep it."""
    events: dict[str, Any] = {}
    with urllib.request.urlopen(f"{base}/api/live/stream", timeout=10) as stream:
        name = ""
        for line in stream:
            field, _, value = line.decode().rstrip("\n").partition(": ")
            name = value if field == "event" else name
            if field == "data":
                events[name] = json.loads(value)
            if {"snapshot", "track", "dose"} <= events.keys():
                break
    dose, track = events["dose"], events["track"]
    places = {name: np.frombuffer(b64decode(track[f"{name}_mm"]), "<i4") / 1000.0 for name in ("east", "north")}
    return {
        "frame": [dose[name] for name in ("x0_m", "y0_m", "cell_m", "nx", "ny")],
        "dose": dose["step_l_per_m2"] * np.frombuffer(b64decode(dose["steps"]), "<u2"),
        "east_m": places["east"],
        "north_m": places["north"],
        "spraying": np.frombuffer(b64decode(track["spraying"]), "u1"),
        "volume_l": events["snapshot"]["volume_l"],
    }


def find_holes(page: Page, base: str) -> list[str]:
    """In what the page's picture differs from what the service tells a new page; waits until nothing is under way."""
    wait_for(lambda: page.evaluate(TELL_STORE)["volume_l"] == ask_whole(base)["volume_l"], "the page has caught up")
    page.wait_for_timeout(300)
    own, told = page.evaluate(TELL_STORE), ask_whole(base)
    faults = [name for name in ("frame", "volume_l") if own[name] != told[name]]
    for name in ("east_m", "north_m", "spraying"):
        if len(own[name]) != len(told[name]) or not np.allclose(own[name], told[name], atol=1e-3):
            faults.append(f"{name}: {len(own[name])} points, not {len(told[name])}")
    step = float(np.max(told["dose"])) / 65535
    if len(own["dose"]) != len(told["dose"]) or not np.allclose(own["dose"], told["dose"], atol=1.5 * step + 1e-6):
        faults.append("dose")
    return faults


def watch_age(page: Page, walker: Walker, span_s: float) -> list[str]:
    """Look at the page for a while: what is shown as current must be so; gives what was not."""
    faults, end = [], time.monotonic() + span_s
    while time.monotonic() < end:
        true_utc = walker.told_utc
        seen = page.evaluate(LOOK)
        behind_s = (true_utc - (seen["at_utc"] or 0.0)) / walker.pace
        if behind_s > OLD_S and not (seen["old"] and seen["marked"]):
            faults.append(f"{behind_s:.1f} s old and told as current: {seen['text']!r}")
        page.wait_for_timeout(150)
    return faults
