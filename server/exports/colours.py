"""The colours of pictures: those of the dashboard by day, so that paper and page say the same."""

import numpy as np

from server.core.log import Floats

PAPER, LAWN, INK, SOFT, RULE, ACCENT, STOP = "#faf7ef", "#f1ecdd", "#14201f", "#4a5654", "#b9b5a4", "#0b4a63", "#7d1a0c"
TOP_SHARE = 2.0
"""The share of the target at which the scale of doses ends."""
_LOW, _MIDDLE, _HIGH = (0.38, -0.035, -0.13), (0.86, 0.002, 0.018), (0.38, 0.075, 0.075)
_TO_CONES = np.array(
    [[1.0, 0.3963377774, 0.2158037573], [1.0, -0.1055613458, -0.0638541728], [1.0, -0.0894841775, -1.291485548]]
)
_TO_LIGHT = np.array(
    [
        [4.0767416621, -3.3077115913, 0.2309699292],
        [-1.2684380046, 2.6097574011, -0.3413193965],
        [-0.0041960863, -0.7034186147, 1.707614701],
    ]
)
"""From OKLab to linear sRGB: B. Ottosson, A perceptual color space for image processing (2020)."""


def colour_shares(shares: Floats) -> Floats:
    """Red, green, blue from 0 to 1 [..., 3] of doses as shares of the target: blue below, stone at it, brown above."""
    held = np.clip(shares, 0.0, TOP_SHARE)[..., None]
    part = np.where(held < 1.0, 1.0 - held, (held - 1.0) / (TOP_SHARE - 1.0))
    middle = np.array(_MIDDLE)
    lab = middle + (np.where(held < 1.0, _LOW, _HIGH) - middle) * part
    light = np.clip((lab @ _TO_CONES.T) ** 3 @ _TO_LIGHT.T, 0.0, 1.0)
    return np.asarray(np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1.0 / 2.4) - 0.055))
