"""A vane on the rig: published triangles told from the first leg on, and nothing believed that it cannot know."""

from math import cos, hypot, isnan, radians, sin

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.core.cup import apparent_by_second
from server.core.log import WindSamples
from server.core.setup import Anemometer, Treatment
from server.core.timebase import Timebase
from server.core.vane import face_air, hear_vane
from server.core.wind import Second, WindFold, WindNow
from server.core.windbank import read_bank, start_bank

CUP = Anemometer(mps_per_hz=0.34, distance_constant_m=2.5)


def vector(speed: float, toward_deg: float) -> tuple[float, float]:
    """East and north of a vector toward a bearing."""
    return speed * sin(radians(toward_deg)), speed * cos(radians(toward_deg))


def follow(course: float, pace: float, air: float, from_bow: float, *, seconds: int = 40) -> WindNow:
    """A straight walk whose cup and vane say the same all the time."""
    east, north = vector(pace, course)
    aim = face_air(from_bow, east=east, north=north)
    fold = WindFold(anemometer=CUP, treatment=Treatment(0.04, wind_limit_mps=4.5))
    return [fold.step(Second(t + 1.0, air, False, east, north, 0.05, True, aim)) for t in range(seconds)][-1]


SMITH = [(180, 5, 180, 5, 360, 10), (90, 5, 90, 5, 225, 7.0710678), (270, 3, 90, 4, 36.869898, 5)]
"""Course (and heading), platform speed, relative direction, relative speed, true direction, true speed."""


@pytest.mark.parametrize(("course", "pace", "from_bow", "air", "true_from", "true_speed"), SMITH)
def test_published_rows_come_out_on_one_leg(
    course: float, pace: float, from_bow: float, air: float, true_from: float, true_speed: float
) -> None:
    """Smith, Bourassa, Sharp, J. Atmos. Oceanic Technol. 16 (1999) 939: the authors' test rows, halved to a walk.

    (Handbook rows W33 to W35; W30 stands still, where nothing says where the rig points.)
    """
    now = follow(course, pace / 2.0, air / 2.0, from_bow)
    print(f"{true_speed / 2:.2f}: {now.mean_60s_mps:.2f} ± {now.mean_60s_sd_mps:.2f} from {now.from_deg:.0f}")
    assert abs(now.mean_60s_mps - true_speed / 2.0) < 1.645 * now.mean_60s_sd_mps
    assert now.mean_60s_mps == pytest.approx(true_speed / 2.0, abs=0.25)
    assert abs((now.from_deg - true_from + 180.0) % 360.0 - 180.0) < 10.0


def test_the_air_of_ones_own_walk_is_calm() -> None:
    """Row W31: 5 m/s from straight ahead at 5 m/s is no wind at all; halved."""
    now = follow(0.0, 2.5, 2.5, 0.0)
    assert now.mean_60s_mps < 0.4


@pytest.mark.parametrize("from_deg", [0.0, 60.0, 150.0, 240.0, 330.0])
@pytest.mark.parametrize("course", [0.0, 200.0])
def test_a_wind_is_found_on_one_straight_leg(from_deg: float, course: float) -> None:
    """Wind 3.0, pace 1.2 (the triangle of row W44): speed and side, which the cup alone leaves open without turns."""
    wind, velocity = vector(3.0, from_deg + 180.0), vector(1.2, course)
    east, north = wind[0] - velocity[0], wind[1] - velocity[1]
    bow = np.degrees(np.arctan2(-east, -north)) - course
    now = follow(course, 1.2, hypot(east, north), float(bow) % 360.0)
    assert now.is_settled
    assert abs(now.mean_60s_mps - 3.0) < 1.645 * now.mean_60s_sd_mps
    assert now.mean_60s_mps == pytest.approx(3.0, abs=0.2)
    assert abs((now.from_deg - from_deg + 180.0) % 360.0 - 180.0) < 10.0


def test_without_the_vane_that_leg_tells_neither() -> None:
    now = follow(0.0, 1.2, 3.0, float("nan"))
    assert not now.is_settled
    assert now.mean_60s_sd_mps > 0.5


@given(st.floats(0.0, 359.9), st.floats(0.0, 360.0), st.floats(0.5, 3.0))
def test_bearings_add_up_to_the_way_walked(bow: float, course: float, pace: float) -> None:
    east, north = vector(pace + 1e-6, course)
    off = face_air(bow, east=east, north=north) - (course + bow)
    assert abs((off + 180.0) % 360.0 - 180.0) < 1e-6


def test_a_rig_that_stands_points_nobody_knows_where() -> None:
    assert isnan(face_air(30.0, east=0.1, north=0.2))
    assert isnan(face_air(float("nan"), east=1.0, north=0.0))
    assert isnan(face_air(30.0, east=float("nan"), north=0.0))


def test_a_bearing_keeps_weights_and_covariances_sound() -> None:
    bank = start_bank(3.0)
    assert hear_vane(bank, air_from_deg=float("nan"), air_mps=3.0, velocity=(0.0, 0.0)) is bank
    assert hear_vane(bank, air_from_deg=30.0, air_mps=0.2, velocity=(0.0, 0.0)) is bank
    for bearing in (10.0, 200.0, 95.0, 10.0):
        bank = hear_vane(bank, air_from_deg=bearing, air_mps=3.0, velocity=(1.0, 0.5))
        assert np.exp(bank.log_weight).sum() == pytest.approx(1.0)
        assert np.linalg.eigvalsh(bank.covariance).min() > -1e-9
    assert np.isfinite(read_bank(bank).speed_mps)


def make_samples(speed: np.ndarray, bow: np.ndarray) -> WindSamples:
    """Five messages a second of an instrument with a vane."""
    mono, none = np.arange(len(speed)) * 0.2, np.full(len(speed), np.nan)
    index = np.arange(len(speed))
    return WindSamples(np.zeros_like(index), index, mono, none, none, none, speed, bow)


def test_bearings_are_averaged_the_short_way_round_and_dropped_when_they_freeze() -> None:
    """350 and 10 are 0, not 180 (Yamartino 1984); the same to the digit for 20 s is a vane that is stuck."""
    n = 500
    bow = np.where(np.arange(n) % 2 == 0, 350.0, 10.0) + np.arange(n) % 5
    bow[250:] = 77.0
    air = apparent_by_second(
        make_samples(3.0 + 0.1 * np.sin(np.arange(n)), bow), Timebase(np.zeros(1), 0.0), anemometer=CUP
    )
    turned = (air.from_bow_deg + 180.0) % 360.0 - 180.0
    assert np.abs(turned[air.t <= 49.0]).max() < 8.0
    assert turned[(air.t > 52.0) & (air.t < 69.0)] == pytest.approx(77.0)
    assert np.isnan(turned[air.t > 71.0]).all()
    assert np.isfinite(air.mps).all()


def test_no_vane_leaves_no_column() -> None:
    none = np.full(50, np.nan)
    air = apparent_by_second(make_samples(np.full(50, 3.0), none), Timebase(np.zeros(1), 0.0), anemometer=CUP)
    assert len(air.from_bow_deg) == 0
