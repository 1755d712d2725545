"""A receiver is believed as far as its class and its own jitter allow."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.core.log import DIFFERENTIAL, FIXED, FLOAT, NONE, SINGLE
from server.core.receiver import (
    CLEAN,
    ORDINARY,
    POOR,
    judge_receiver,
    judge_velocity_noise,
    list_models,
    usable_quality,
)
from server.core.setup import Receiver


def _qualities(bench, codes, klass):
    n = len(codes)
    t = np.arange(float(n))
    return usable_quality(bench.make_fixes(t, t, t, None, quality=np.array(codes)), Receiver(klass)).tolist()


def test_the_receivers_own_word_counts(bench):
    assert _qualities(bench, [0, 1, 2, 3, 4, 5], "auto") == [NONE, SINGLE, DIFFERENTIAL, FLOAT, FIXED, NONE]


def test_settings_lower_and_never_raise_what_a_receiver_tells_apart(bench):
    assert _qualities(bench, [1, 2, 3, 4], "float") == [SINGLE, DIFFERENTIAL, FLOAT, FLOAT]


def test_settings_name_the_class_of_a_receiver_that_tells_none_apart(bench):
    assert _qualities(bench, [1, 0, 1], "differential") == [DIFFERENTIAL, NONE, DIFFERENTIAL]


@pytest.mark.parametrize("sd", [0.02, 0.08, 0.25])
def test_velocity_noise_is_fitted(bench, sd):
    walk = bench.walk_lawn([float(k) for k in range(10)])
    noise = bench.first_order(np.random.default_rng(1), walk.t, sd=sd, time_s=0.6)
    fitted = judge_velocity_noise(walk.t, walk.velocity[0] + noise[0], walk.velocity[1] + noise[1])
    assert fitted == pytest.approx(sd, rel=0.15)


def test_too_little_says_nothing():
    t = np.arange(10.0)
    assert np.isnan(judge_velocity_noise(t, t, t))
    assert np.isnan(judge_velocity_noise(t[:1], t[:1], t[:1]))


@pytest.mark.parametrize(("noise", "kind"), [(0.25, POOR), (0.08, ORDINARY), (0.025, CLEAN)])
def test_single_is_poor_ordinary_or_clean_by_its_velocity(noise, kind):
    model = list_models(noise, usual=SINGLE, has_doppler=True)[0][SINGLE]
    assert (model.wander_sd_m, model.velocity_sd_mps) == (kind.wander_sd_m, noise)


def test_a_receiver_without_velocity_is_trusted_less():
    with_velocity = list_models(float("nan"), usual=FIXED, has_doppler=True)[0][FIXED]
    without = list_models(float("nan"), usual=FIXED, has_doppler=False)[0][FIXED]
    assert without.drift_m2_per_s > 10 * with_velocity.drift_m2_per_s


@given(st.lists(st.integers(0, 5), min_size=1, max_size=200))
def test_a_jobs_class_covers_nine_tenths(codes):
    name = judge_receiver(np.array(codes), np.ones(len(codes), dtype=bool))
    order = ["none", "single", "differential", "float", "fixed"]
    good = [code if code != 5 else 0 for code in codes]
    assert sum(code >= order.index(name) for code in good) >= 0.9 * len(codes)
    if name != "fixed":
        assert sum(code > order.index(name) for code in good) < 0.9 * len(codes)


def test_only_spraying_time_counts():
    quality = np.array([4] * 50 + [1] * 50)
    assert judge_receiver(quality, np.arange(100) < 50) == "fixed"
    assert judge_receiver(quality, np.zeros(100, dtype=bool)) == "single"
