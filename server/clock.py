"""This machine's clock, where the system says that it is set from outside (NTP, a receiver, a good chip)."""

import ctypes
import time

EARLIEST_UTC = 1_704_067_200.0
"""1 January 2024: an earlier date is that of a board that has just been switched on."""
_NOT_SET = 5
"""TIME_ERROR of adjtimex(2): the clock is not synchronised."""
_ROOM = 1024
"""More than `struct timex` takes anywhere; all zeros only ask."""


def read_wall_offset() -> float | None:
    """UTC less the monotonic clock [s]; None where the machine's clock is not known to be right."""
    try:
        state = ctypes.CDLL(None).adjtimex(ctypes.create_string_buffer(_ROOM))
    except (OSError, AttributeError):
        return None
    return judge_clock(state, time.time(), time.monotonic())


def judge_clock(state: int, utc: float, mono: float) -> float | None:
    """UTC less the monotonic clock [s], by what adjtimex answered; None where it is not to be believed."""
    return utc - mono if 0 <= state < _NOT_SET and utc >= EARLIEST_UTC else None
