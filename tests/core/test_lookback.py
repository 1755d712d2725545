"""Looking back over the wind: against textbook forms and against seconds that are seen again one by one."""

import numpy as np
import pytest

from server.core.cupmodel import CUP, Step
from server.core.lookback import LOOKBACK_S, SPREAD_S, Lookback, draw_speeds, expect_gust, extend_lookback, read_outlook
from server.core.windbank import Bank, start_bank, step_bank
from server.core.winddrift import JITTER, drift_wind, lead_back

OTHERS = [state for state in range(6) if state != CUP]


def test_the_way_back_is_the_textbook_one() -> None:
    """Rauch, Tung, Striebel (1965): gain P D A^-1, and P - gain D P is left; without the cup's speed."""
    rng = np.random.default_rng(4)
    roots = rng.standard_normal((5, 6, 6))
    covariance, mean = roots @ roots.transpose(0, 2, 1), rng.standard_normal((5, 6))
    ahead = drift_wind(mean, covariance, intensity=np.full(5, 0.3), extra=np.zeros(5))
    back, left = lead_back(mean, ahead)
    for k in range(5):
        before, keep = covariance[k][np.ix_(OTHERS, OTHERS)], np.diag(ahead.kept[k, OTHERS])
        joint = ahead.covariance[k][np.ix_(OTHERS, OTHERS)] + JITTER * np.eye(5)
        gain = before @ keep @ np.linalg.inv(joint)
        assert back[k][np.ix_(OTHERS, OTHERS)] == pytest.approx(gain, abs=1e-9)
        assert left[k][np.ix_(OTHERS, OTHERS)] == pytest.approx(before - gain @ keep @ before, abs=1e-9)
        assert back[k, OTHERS, CUP] == pytest.approx(mean[k, OTHERS] - gain @ ahead.mean[k, OTHERS])
        assert not left[k, CUP].any()


@pytest.fixture(scope="module")
def seconds() -> list[tuple[Bank, Lookback]]:
    """A walk of more than two minutes up and down in a gusty wind."""
    rng, bank, past, found = np.random.default_rng(2), start_bank(3.0), None, []
    for second in range(LOOKBACK_S + 20):
        ahead = 1.2 if second % 50 < 25 else -1.2
        step = Step(abs(3.0 - ahead + rng.normal(0.0, 0.5)), False, ahead, 0.1, 0.05)
        bank = step_bank(bank, step, distance_constant_m=2.5)
        past = extend_lookback(past, bank)
        found.append((bank, past))
    return found


def trace(seconds: list[tuple[Bank, Lookback]], which: int) -> list[int]:
    """The place of a last hypothesis's forebear at each second, the latest first."""
    places = [which]
    for bank, _ in reversed(seconds[1:]):
        places.append(int(bank.parent[places[-1]]))
    return places


@pytest.mark.parametrize("at", [2, 30, 59, 60, 61, 119, 120, 139])
def test_each_second_is_seen_as_if_it_had_been_led_here_alone(seconds: list[tuple[Bank, Lookback]], at: int) -> None:
    """Rows and spread of each hypothesis, led on second by second along its forebears, in plain double precision."""
    seconds = seconds[: at + 1]
    bank, past = seconds[-1]
    known = min(len(seconds), SPREAD_S)
    for which in range(len(bank.log_weight)):
        places, spread, led = trace(seconds, which), np.zeros((known, known)), np.zeros((0, 6))
        for age in range(min(len(seconds), LOOKBACK_S) - 1, -1, -1):
            then, place = seconds[-1 - age][0], places[age]
            recent = led[: max(known - age - 1, 0)]
            stop = age + 1 + len(recent)
            spread[age + 1 : stop, age + 1 : stop] += recent @ then.left[place] @ recent.T
            led = np.vstack((feel_wind(then, place), led @ then.back[place]))
        assert past.rows[which, : len(led)] == pytest.approx(led, abs=1e-9)
        assert past.spread[which, :known, :known] == pytest.approx(spread, abs=1e-5)


def feel_wind(bank: Bank, place: int) -> np.ndarray:
    """The speed of a hypothesis's present second, made linear in its state, written apart from core."""
    mean, turn = bank.mean[place], np.zeros(6)
    wind = mean[:2] + mean[2:4]
    size = np.hypot(*wind)
    turn[:4] = np.tile((-wind[1], wind[0]), 2) / size
    row: np.ndarray = np.array([*wind, *wind, 0.0, 0.0]) / size
    row[CUP] = np.sqrt(size**2 + turn @ bank.covariance[place] @ turn) - size
    return row


def test_means_and_their_doubt_are_those_of_many_drawn_winds(seconds: list[tuple[Bank, Lookback]]) -> None:
    """Draw hypotheses, states and speeds; compare the minute's mean, its sd and the highest 3-s mean."""
    bank, past = seconds[-1]
    rng = np.random.default_rng(3)
    drawn = draw_speeds(past, bank, rng=rng, draws=40_000)
    outlook = read_outlook(past, bank)
    assert drawn.mean() == pytest.approx(outlook.minute_mps, abs=0.01)
    assert drawn.mean(axis=1).std() == pytest.approx(outlook.minute_sd_mps, rel=0.03)
    assert drawn[:, 0].mean() == pytest.approx(outlook.second_mps, abs=0.02)
    assert drawn[:, 0].std() == pytest.approx(outlook.second_sd_mps, rel=0.03)
    assert drawn[:, :3].mean() == pytest.approx(outlook.three_mps, abs=0.02)


def test_the_gust_is_the_highest_running_mean_of_the_likeliest(seconds: list[tuple[Bank, Lookback]]) -> None:
    """With normal numbers of nought the minute drawn is the likeliest hypothesis's own mean."""
    bank, past = seconds[-1]
    best = int(bank.log_weight.argmax())
    state = bank.mean[best].copy()
    state[CUP] = 1.0
    level = past.rows[best, :SPREAD_S] @ state
    highest = max(float(level[k : k + 3].mean()) for k in range(SPREAD_S - 2))
    assert expect_gust(past, bank, np.zeros((SPREAD_S, 2))) == pytest.approx((highest, 0.0))


def walk_line(legs: int, *, across_mps: float, turns: bool) -> list[tuple[Bank, Lookback]]:
    """Up and down a line to the north, steady air of 2 m/s from the south and some across; turns go to the east."""
    bank, past, found = start_bank(3.0), None, []
    for leg in range(legs):
        for second in range(20):
            ahead, right = (1.2 if leg % 2 == 0 else -1.2), 0.0
            if turns and second >= 17:
                ahead, right = 0.0, 0.8
            felt = float(np.hypot(across_mps - right, 2.0 - ahead))
            bank = step_bank(bank, Step(felt, False, right, ahead, 0.05), distance_constant_m=2.5, axis=(0.0, 1.0))
            past = extend_lookback(past, bank)
            found.append((bank, past))
    return found


def share_from_left(bank: Bank) -> float:
    """The weight of the hypotheses in which the air goes to the right."""
    return float(np.exp(bank.log_weight)[bank.mean[:, 0] > 0.0].sum())


def test_a_line_never_shows_the_side_and_its_turns_do() -> None:
    """The triangle's cosine law: on the line w and its image give the same a² = w² + v² - 2 w·v; abeam they do not."""
    bank, _ = walk_line(20, across_mps=2.5, turns=False)[-1]
    assert 0.02 < share_from_left(bank) < 0.98
    for across in (2.5, -2.5):
        shares = [share_from_left(bank) for bank, _ in walk_line(20, across_mps=across, turns=True)[-20:]]
        others = [1.0 - share if across > 0.0 else share for share in shares]
        assert others[-1] < 0.1
        assert max(others) > 0.02


def test_an_image_has_had_the_same_speeds_on_the_other_side() -> None:
    """Seen back from the best and from its image: equal speeds, and vectors turned about the line."""
    seen = 0
    for bank, past in walk_line(20, across_mps=2.5, turns=True)[60:]:
        if bank.mirrored < 0:
            continue
        of = [k for k in np.flatnonzero(bank.parent == bank.parent[bank.mirrored]).tolist() if k != bank.mirrored]
        if not of:
            continue
        seen += 1
        image, own = (past.rows[k] @ past.state[k] for k in (bank.mirrored, of[0]))
        assert image[:SPREAD_S] == pytest.approx(own[:SPREAD_S], abs=0.05)
        east, north = slice(LOOKBACK_S, LOOKBACK_S + SPREAD_S), slice(LOOKBACK_S + SPREAD_S, None)
        assert image[east] == pytest.approx(-own[east], abs=0.05)
        assert image[north] == pytest.approx(own[north], abs=0.05)
    assert seen
