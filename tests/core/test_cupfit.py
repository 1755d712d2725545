"""A cup's line from reference readings: against published straight lines, its coverage, and what it refuses."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.core.chance import chance_of_ratio
from server.core.cupfit import CupFit, References, fit_references, judge_line
from server.core.setup import Anemometer
from server.core.straightline import fit_line

CUP = Anemometer(mps_per_hz=0.34, offset_mps=0.2)
PEARSON_X = np.array([0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4])
PEARSON_Y = np.array([5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5])
WEIGHT_X = np.array([1000.0, 1000.0, 500.0, 800.0, 200.0, 80.0, 60.0, 20.0, 1.8, 1.0])
WEIGHT_Y = np.array([1.0, 1.8, 4.0, 8.0, 20.0, 20.0, 70.0, 70.0, 100.0, 500.0])


def test_the_line_is_yorks_on_pearsons_data() -> None:
    """Pearson's points with York's weights: York (1966), again in York et al. (2004); figures from memory."""
    line = fit_line(PEARSON_X, PEARSON_Y, x_sd=WEIGHT_X**-0.5, y_sd=WEIGHT_Y**-0.5)
    assert line.slope == pytest.approx(-0.480533407, abs=1e-8)
    assert line.intercept == pytest.approx(5.47991022, abs=1e-7)
    assert line.chi2 == pytest.approx(11.8664, abs=1e-3)
    assert line.slope_sd == pytest.approx(0.0580, abs=5e-4)
    assert line.intercept_sd == pytest.approx(0.295, abs=2e-3)


def test_the_line_is_the_guides_thermometer() -> None:
    """JCGM 100:2008, annex H.3, corrections of a thermometer about 20 degrees; data and figures from memory."""
    t = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
    b = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]
    line = fit_line(np.array(t) - 20.0, np.array(b), x_sd=np.zeros(11), y_sd=np.ones(11))
    scatter = np.sqrt(line.chi2 / line.freedom)
    assert line.intercept == pytest.approx(-0.1712, abs=5e-5)
    assert line.slope == pytest.approx(0.00218, abs=5e-6)
    assert scatter == pytest.approx(0.0035, abs=5e-5)
    assert scatter * line.intercept_sd == pytest.approx(0.0029, abs=5e-5)
    assert scatter * line.slope_sd == pytest.approx(0.00067, abs=5e-6)
    assert line.covariance / line.intercept_sd / line.slope_sd == pytest.approx(-0.930, abs=5e-4)
    assert scatter * np.sqrt(line.variance_at(10.0)) == pytest.approx(0.0041, abs=5e-5)


def test_points_without_spread_make_no_line() -> None:
    with pytest.raises(ValueError, match="one x"):
        fit_line(np.ones(4), np.arange(4.0), x_sd=np.zeros(4), y_sd=np.ones(4))


@pytest.mark.parametrize(
    ("ratio", "above", "below", "chance"),
    [(4.96, 1, 10, 0.05), (3.33, 5, 10, 0.05), (5.64, 5, 10, 0.01), (9.28, 3, 3, 0.05), (2.35, 10, 20, 0.05)],
)
def test_chances_of_ratios_are_the_tables(ratio: float, above: int, below: int, chance: float) -> None:
    """Upper points of F as printed in any book of tables; from memory."""
    assert chance_of_ratio(ratio, above, below) == pytest.approx(chance, rel=0.12)


@pytest.mark.parametrize(("chi2", "freedom", "chance"), [(3.841, 1, 0.05), (11.07, 5, 0.05), (23.21, 10, 0.01)])
def test_chances_of_chi_square_are_the_tables(chi2: float, freedom: int, chance: float) -> None:
    """Upper points of chi-square as printed in any book of tables; from memory."""
    assert chance_of_ratio(chi2 / freedom, freedom, np.inf) == pytest.approx(chance, rel=0.1)


def draw_readings(rng: np.random.Generator, *, count: int = 12, top: float = 6.0, extra: float = 1.0) -> References:
    """Readings beside a cup of slope 0.36 and offset 0.25; `extra`: real errors over stated ones."""
    mps, one = np.linspace(1.0, top, count), np.ones(count)
    sds = 0.05 * one, 0.05 * one, 0.04 * one
    hz = (mps - 0.25) / 0.36 + sds[1] * rng.standard_normal(count)
    seen = mps + extra * np.hypot(sds[0], sds[2]) * rng.standard_normal(count)
    return References(seen, sds[0], hz, sds[1], sds[2])


def test_stated_uncertainties_hold_over_many_calibrations() -> None:
    """500 calibrations: 90 % intervals of slope, offset and speed at the limit hold in 90 %, a little more."""
    held = []
    for seed in range(500):
        found = fit_references(draw_readings(np.random.default_rng(seed)), anemometer=CUP)
        told = found.offset_mps + found.mps_per_hz * (4.5 - 0.25) / 0.36
        held.append(
            [
                abs(found.mps_per_hz - 0.36) < 1.645 * found.mps_per_hz_sd,
                abs(found.offset_mps - 0.25) < 1.645 * found.offset_sd_mps,
                abs(told - 4.5) < 1.645 * found.scale_sd * 4.5,
            ]
        )
    assert np.all((np.mean(held, axis=0) > 0.87) & (np.mean(held, axis=0) < 0.96))


def test_good_readings_are_refused_in_one_of_a_hundred_at_most_twice_that() -> None:
    found = [fit_references(draw_readings(np.random.default_rng(k)), anemometer=CUP) for k in range(500)]
    assert np.mean([not each.is_usable for each in found]) <= 0.02


def test_few_narrow_or_scattered_readings_are_refused() -> None:
    rng = np.random.default_rng(3)
    assert "at least 5" in fit_references(draw_readings(rng, count=4), anemometer=CUP).refusal
    assert "span only" in fit_references(draw_readings(rng, top=2.0), anemometer=CUP).refusal
    assert "scatter more" in fit_references(draw_readings(rng, extra=4.0), anemometer=CUP).refusal
    loose = draw_readings(rng, count=5)
    loose = References(loose.mps, 20.0 * loose.mps_sd, loose.hz, loose.hz_sd, loose.turbulence_mps)
    assert "unsure by" in fit_references(loose, anemometer=CUP).refusal


def test_a_standing_cup_and_unknown_readings_do_not_count() -> None:
    good = draw_readings(np.random.default_rng(4), count=7)
    hz = good.hz.copy()
    hz[:2], hz[2] = 0.0, np.nan
    found = fit_references(References(good.mps, good.mps_sd, hz, good.hz_sd, good.turbulence_mps), anemometer=CUP)
    assert found.refusal.startswith("4 usable")


def test_a_cup_that_slows_in_faster_air_is_refused() -> None:
    assert "faster air" in judge_line(CupFit(-0.1, 0.2, 0.01, 0.1, 0.0), anemometer=CUP, at_mps=4.5).refusal


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10_000), factor=st.floats(0.2, 5.0))
def test_other_units_and_another_order_give_the_same_line(seed: int, factor: float) -> None:
    rng = np.random.default_rng(seed)
    good = draw_readings(rng)
    first = fit_line(good.hz, good.mps, x_sd=good.hz_sd, y_sd=good.mps_sd)
    mixed = rng.permutation(len(good.hz))
    sds = {"x_sd": factor * good.hz_sd[mixed], "y_sd": good.mps_sd[mixed]}
    again = fit_line(factor * good.hz[mixed], good.mps[mixed], **sds)
    assert again.slope * factor == pytest.approx(first.slope, rel=1e-9)
    assert again.intercept == pytest.approx(first.intercept, abs=1e-9)
    assert again.chi2 == pytest.approx(first.chi2, rel=1e-7)
