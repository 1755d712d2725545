"""Whole numbers as base64 of their bytes: as text they would be several times as long, and slow to write and read."""

from base64 import b64decode, b64encode
from typing import Any

import numpy as np

from server.core.log import Floats

STEPS = 65535
"""What is told in steps has so many of them up to its highest value."""


def pack_whole(values: Any, form: str) -> str:
    """Values rounded to whole numbers of a numpy form, "<i4" say."""
    return b64encode(np.rint(values).astype(form).tobytes()).decode()


def pack_steps(values: Floats) -> tuple[float, str]:
    """Values that are not negative, in 2 bytes each: the step between them and how many steps each is; NaN is none."""
    known = np.nan_to_num(values)
    step = float(known.max(initial=0.0)) / STEPS or 1.0
    return step, pack_whole(known / step, "<u2")


def unpack_steps(step: float, steps: str) -> Floats:
    """The values again, good to half a step."""
    return step * np.frombuffer(b64decode(steps), "<u2").astype(np.float64)
