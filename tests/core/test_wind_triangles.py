"""Published wind triangles, told by the estimator and by the plain baseline that stands beside it.

The aircraft's sums have the same shape as the cup's: there the speed through the air is one unknown figure and the
ground vectors are known; here the cup tells that figure. Numbers scale, so that an aircraft's knots can be walked.
"""

import importlib.util
import sys
from math import cos, hypot, radians, sin, sqrt
from pathlib import Path
from types import ModuleType, SimpleNamespace

import numpy as np
import pytest

from server.core.setup import Anemometer, Treatment
from server.core.wind import Second, WindFold, WindNow

CUP = Anemometer(mps_per_hz=0.34, distance_constant_m=2.5)
GRAY = (130.0, 20.633, 314.758, ((140.0, 192.0), (112.0, 283.0), (120.0, 20.0)))
"""Gray (1998), "Using GPS to accurately establish True Airspeed": airspeed, wind and from where, three ground vectors.

(Handbook row W40; reproduced there to 129.9985 and 20.633 from 314.758.)
"""
HORTON = (100.0, 20.0, 270.0, ((101.98, 11.31), (120.0, 90.0), (101.98, 168.69), (80.0, 270.0)))
"""Horton, "Finding TAS from GPS data": headings N, E, S, W (row W42; tracks from the triangle, not printed there)."""
WILLIAMS = (100.0, 20.0, 270.0, ((113.8910, None), (108.4808, None), (80.3789, None)))
"""Williams, Aviation Formulary: headings 40, 160, 280 (row W43, numbers computed there)."""


def load_benchmark() -> ModuleType:
    """The wind benchmark with its plain baselines."""
    folder = Path(__file__).resolve().parents[1] / "benchmarks"
    sys.path.insert(0, str(folder))
    try:
        spec = importlib.util.spec_from_file_location("wind_benchmark", folder / "wind.py")
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules["wind_benchmark"] = module
        spec.loader.exec_module(module)
    finally:
        sys.path.remove(str(folder))
    return module


def vector(speed: float, toward_deg: float) -> tuple[float, float]:
    """East and north of a vector toward a bearing."""
    return speed * sin(radians(toward_deg)), speed * cos(radians(toward_deg))


def fly(wind: tuple[float, float], air: float, heading: float) -> tuple[float, float]:
    """The ground vector of something that goes through moving air."""
    through = vector(air, heading)
    return through[0] + wind[0], through[1] + wind[1]


def lay_legs(
    legs: list[tuple[tuple[float, float], float]], *, leg_s: int = 20, rounds: int = 4, noise: np.ndarray | None = None
) -> list[Second]:
    """Seconds of legs, each a velocity and the reading of a cup in equilibrium, one after the other and again."""
    found = []
    for row in range(leg_s * rounds * len(legs)):
        (east, north), air = legs[row // leg_s % len(legs)]
        reading = air if noise is None else abs(air + float(noise[row]))
        found.append(Second(row + 1.0, reading, False, east, north, 0.05, True))
    return found


def follow(seconds: list[Second]) -> WindNow:
    fold = WindFold(anemometer=CUP, treatment=Treatment(0.04, wind_limit_mps=4.5))
    return [fold.step(second) for second in seconds][-1]


def turned(found: float, wanted: float) -> float:
    return abs((found - wanted + 180.0) % 360.0 - 180.0)


@pytest.mark.parametrize(("air", "speed", "from_deg", "tracks"), [GRAY, HORTON])
def test_an_airspeed_on_published_ground_tracks_gives_the_published_wind(
    air: float, speed: float, from_deg: float, tracks: tuple[tuple[float, float], ...]
) -> None:
    """The cup says the same on every leg, as the airspeed indicator did; scaled to a walk of a few metres a second."""
    scale = 30.0
    legs = [(vector(ground / scale, track), air / scale) for ground, track in tracks]
    now = follow(lay_legs(legs))
    print(f"{speed / scale:.3f}: told {now.mean_60s_mps:.3f} ± {now.mean_60s_sd_mps:.3f}, from {now.from_deg:.0f}")
    assert abs(now.mean_60s_mps - speed / scale) < 1.645 * now.mean_60s_sd_mps
    assert now.mean_60s_mps == pytest.approx(speed / scale, abs=0.15)
    assert turned(now.from_deg, from_deg) < 2.0 * now.from_sd_deg


def test_headings_a_third_of_a_circle_apart_give_airspeed_and_wind_in_closed_form() -> None:
    """Row W43: from three ground speeds alone; and the estimator, told the airspeed, finds the same wind."""
    air, speed, from_deg, ground = WILLIAMS
    wind = vector(speed, from_deg + 180.0)
    legs = [fly(wind, air, heading) for heading in (40.0, 160.0, 280.0)]
    assert [hypot(*leg) for leg in legs] == pytest.approx([each for each, _ in ground], abs=1e-4)
    now = follow(lay_legs([((east / 25.0, north / 25.0), air / 25.0) for east, north in legs]))
    print(f"{speed / 25:.3f}: told {now.mean_60s_mps:.3f} ± {now.mean_60s_sd_mps:.3f}, from {now.from_deg:.0f}")
    assert now.mean_60s_mps == pytest.approx(speed / 25.0, abs=0.15)
    assert turned(now.from_deg, from_deg) < 2.0 * now.from_sd_deg


def test_the_plain_baseline_is_the_linear_form_of_the_triangle() -> None:
    """Row W41 (computed there): Gray's vectors with 130 each give |w|² = 426.12, its root 20.64."""
    legs = [(vector(*each), 130.0) for each in GRAY[3]]
    told = SimpleNamespace(seconds=tuple(lay_legs(legs, rounds=2)))
    found = load_benchmark().fit_squares(told)
    assert np.nanmax(found) ** 2 == pytest.approx(426.12, abs=0.05)
    assert np.nanmin(found) ** 2 == pytest.approx(426.12, abs=0.05)


@pytest.mark.parametrize(("headings", "expected"), [((0, 90, 180, 270), 0.107), ((0, 120, 240), 0.123)])
def test_noisy_readings_spread_the_speed_as_computed_and_the_estimator_less(
    headings: tuple[int, ...], expected: float
) -> None:
    """Row W45 (computed there): one reading a heading with 0.2 m/s of noise, wind 3.0, pace 1.2: sd(W) 0.107, 0.123.

    The baseline over 60 s has 60 such readings, in each heading as many, so its spread is √(60 / headings) times
    smaller; the estimator's must not be much larger.
    """
    fit_squares, rng = load_benchmark().fit_squares, np.random.default_rng(45)
    wind = vector(3.0, 240.0)
    legs = [(vector(1.2, h), hypot(wind[0] - vector(1.2, h)[0], wind[1] - vector(1.2, h)[1])) for h in headings]
    plain, told = [], []
    for _ in range(60):
        noise = rng.normal(0.0, 0.2, 20 * 4 * len(legs))
        seconds = lay_legs(legs, leg_s=60 // len(legs), rounds=4 if len(told) < 12 else 2, noise=noise)
        plain.append(float(fit_squares(SimpleNamespace(seconds=tuple(seconds)))[-1 - (len(seconds) - 1) % 5]))
        if len(told) < 12:
            told.append(follow(seconds).mean_60s_mps)
    ideal = expected / sqrt(60 / len(legs))
    print(f"computed {ideal:.4f}, baseline {np.std(plain):.4f}, estimator {np.std(told):.4f} {np.mean(told):.3f}")
    assert float(np.std(plain)) == pytest.approx(ideal, rel=0.3)
    assert float(np.sqrt(np.mean((np.array(told) - 3.0) ** 2))) < 3.0 * ideal
