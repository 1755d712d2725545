"""Pulses on a GPIO line, counted by the kernel's own sequence numbers so that a burst loses none.

When many edges come at once the kernel's queue of events overflows, but each event that is read still carries the
number of its edge on the line: the difference is the count.
"""

import importlib
from datetime import timedelta
from typing import Any

from rig.errors import HardwareError
from rig.ports import EdgeCount

CONSUMER = "calmpass"
QUEUE_EVENTS = 1024


class GpioCounter:
    """Counts rising edges of one line since it was opened."""

    def __init__(self, chip: str, line: int, debounce_s: float, gpiod: Any = None) -> None:
        self._gpiod = gpiod if gpiod is not None else _load_gpiod()
        self._pulses = 0
        self._edge_mono: float | None = None
        self._request = self._open(chip, line, debounce_s)

    def read(self) -> EdgeCount:
        """Take the events that have come; the count so far."""
        while self._request.wait_edge_events(timedelta(0)):
            for event in self._request.read_edge_events(QUEUE_EVENTS):
                self._pulses = max(self._pulses, event.line_seqno)
                self._edge_mono = event.timestamp_ns * 1e-9
        return EdgeCount(self._pulses, self._edge_mono, 0)

    def close(self) -> None:
        """Let the line go."""
        self._request.release()

    def _open(self, chip: str, line: int, debounce_s: float) -> Any:
        """Ask the kernel for the line with its debounce filter and monotonic stamps."""
        gpiod = self._gpiod
        settings = gpiod.LineSettings(
            direction=gpiod.line.Direction.INPUT,
            edge_detection=gpiod.line.Edge.RISING,
            debounce_period=timedelta(seconds=debounce_s),
            event_clock=gpiod.line.Clock.MONOTONIC,
        )
        try:
            return gpiod.request_lines(chip, consumer=CONSUMER, config={line: settings}, event_buffer_size=QUEUE_EVENTS)
        except OSError as error:
            raise HardwareError(
                f"{chip} line {line}: cannot be opened ({error.strerror or error}): is the chip's name right, "
                "the line free, and the user in the group gpio?"
            ) from error


def _load_gpiod() -> Any:
    """Import the GPIO library when it is first needed."""
    try:
        return importlib.import_module("gpiod")
    except ImportError as error:
        raise HardwareError("pulses need the package gpiod 2.2 or newer: pip install 'calmpass[gpio]'") from error
