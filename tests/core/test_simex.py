"""Extrapolating noise away: closed form and a job whose truth is known."""

import math

import numpy as np
import pytest

from server.core.coverage import total_job
from server.core.dose import integrate_dose
from server.core.grid import GridFrame
from server.core.ground import Ground
from server.core.results import Totals, Track
from server.core.setup import Treatment
from server.core.simex import correct_totals, find_reach
from server.core.swath import Pattern


def test_a_root_and_a_line_in_the_variance_are_read_off_exactly():
    # Mean |x| of a Gaussian of variance v is the root of 2 v / pi (any handbook of statistics).
    once, twice = (5.0 - math.sqrt(2.0 * variance / math.pi) for variance in (1.0, 2.0))
    assert math.isclose(once + find_reach(0.0) * (once - twice), 5.0, rel_tol=1e-12)
    assert math.isclose(find_reach(1e9), 1.0, rel_tol=1e-6)


def test_an_uncovered_strip_seen_through_noise_is_told_as_wide_as_it_was():
    # A gap of width max(0, g) with g about its true 0.1 m: its expectation is s phi(m / s) + m Phi(m / s).
    def mean_gap(sd):
        z = 0.1 / sd
        return sd * math.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi) + 0.1 * 0.5 * math.erfc(-z / math.sqrt(2.0))

    for sd in (0.3, 0.5, 0.8):
        once, twice = mean_gap(sd), mean_gap(sd * math.sqrt(2.0))
        told = once + find_reach((0.2 / sd) ** 2) * (once - twice)
        assert abs(told - 0.1) < 0.6 * abs(once - 0.1), "most of the bias is gone"


def test_bluntness_below_nought_is_refused():
    with pytest.raises(ValueError, match="bluntness"):
        find_reach(-1.0)
    with pytest.raises(ValueError, match="bluntness"):
        find_reach(math.nan)


REST = {"volume_l": 8.0, "volume_sd_l": 0.0, "sprayed_s": 200.0, "distance_m": 200.0, "outside_passes_l": 0.0}
FLAT, TREATMENT = Pattern(1.0, 1.0), Treatment(target_l_per_m2=0.04)
FRAME = GridFrame(-3.0, -2.0, 0.1, 160, 240)


def total(track, litres, ground):
    """The figures of the mean track, and the same corrected."""
    heading = track.heading_deg
    deposit = integrate_dose(track.east_m, track.north_m, heading, litres, t=track.t, pattern=FLAT, frame=FRAME)
    naive = total_job(deposit, ground, treatment=TREATMENT, **REST)
    return naive, correct_totals(naive, track, litres, ground, pattern=FLAT, treatment=TREATMENT)


def lawn(*, has_zone=True):
    """A lawn of 10 m by 20 m whose corner is the origin."""
    wanted = np.zeros((FRAME.ny, FRAME.nx))
    wanted[20:220, 30:130] = 1.0
    return Ground(FRAME, wanted if has_zone else 0 * wanted, np.zeros_like(wanted), has_zone, False)


def test_areas_under_wander_come_nearer_the_truth():
    # Truth by construction: ten passes one swath apart cover 200 m2; each pass is seen 0.25 m aside (sd).
    rng = np.random.default_rng(4)
    n, passes = 21, 10
    north = np.tile(np.linspace(0.0, 20.0, n), passes)
    east = np.repeat(np.arange(passes) + 0.5, n)
    litres = np.cumsum(np.where(np.diff(north, prepend=0.0) > 0, 0.04, 0.0))
    zero, t = np.zeros(n * passes), np.arange(n * passes, dtype=float)
    seen, corrected = [], []
    for _ in range(6):
        moved = east + np.repeat(rng.normal(0.0, 0.25, passes), n)
        deviations = np.zeros((8, n * passes, 2))
        deviations[:, :, 0] = np.repeat(rng.normal(0.0, 0.25, (8, passes)), n, axis=1)
        track = Track(zero, t, t, t, moved, north, zero, zero, zero, zero, zero, zero, zero, deviations)
        found = total(track, litres, lawn())
        seen.append(found[0])
        corrected.append(found[1])
    for name, truth, share in (
        ("covered_area_m2", 200.0, 0.6),
        ("zone_missed_m2", 0.0, 0.6),
        ("off_target_l", 0.0, 0.9),
    ):
        before, after = (np.mean([getattr(one, name) for one in many]) for many in (seen, corrected))
        assert abs(after - truth) < share * abs(before - truth), name
    for one in corrected:
        parts = one.zone_missed_m2 + one.zone_under_m2 + one.zone_on_target_m2 + one.zone_over_m2
        assert math.isclose(parts, one.zone_area_m2, rel_tol=1e-12)
        assert min(one.zone_missed_m2, one.off_target_l) >= 0.0


@pytest.mark.parametrize("draws", [0, 8])
def test_what_is_known_for_certain_is_left_alone(draws):
    zero, t = np.zeros(3), np.arange(3.0)
    deviations = np.zeros((draws, 3, 2))
    track = Track(zero, t, t, t, zero + 5.0, 5 * t, zero, zero, zero, zero, zero, zero, zero, deviations)
    for ground in (lawn(), lawn(has_zone=False)):
        naive, corrected = total(track, 0.2 * t, ground)
        assert corrected.covered_area_sd_m2 == pytest.approx(0.0 if draws else math.nan, nan_ok=True)
        is_told = draws and ground.has_zones
        assert corrected.off_target_sd_l == pytest.approx(0.0 if is_told else math.nan, nan_ok=True)
        for name in set(Totals.__slots__) - {"covered_area_sd_m2", "off_target_sd_l"}:
            assert getattr(corrected, name) == pytest.approx(getattr(naive, name), rel=1e-9, abs=1e-9, nan_ok=True), (
                name
            )


def test_a_stretch_without_fixes_leaves_the_areas_known():
    n = 200
    t = np.arange(n, dtype=float)
    zero, place = np.zeros(n), np.linspace(0.0, 20.0, n)
    deviations = np.random.default_rng(1).normal(0.0, 0.2, (8, 1, 2)) + np.zeros((8, n, 2))
    hidden = place.copy()
    hidden[90:110], deviations[:, 90:110] = np.nan, np.nan
    track = Track(zero, t, t, t, zero + 5.0, hidden, zero, zero, zero, zero, zero, zero, zero, deviations)
    _, corrected = total(track, 0.04 * place, lawn())
    assert math.isfinite(corrected.covered_area_m2)
    assert 14.0 < corrected.covered_area_m2 < 20.0
