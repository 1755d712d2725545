"""Two jobs on the same ground, against grids laid out by hand."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.core.beside import Laid, compare_doses, join_frames, resample_cells, split_ninths
from server.core.grid import GridFrame

TARGET = 0.02


def lay(frame: GridFrame, *blocks: tuple[float, float, float, float, float]) -> np.ndarray:
    """Rectangles west, south, east, north of a dose, exact on the cells that they share."""
    x, y = frame.x0_m + frame.cell_m * np.arange(frame.nx + 1), frame.y0_m + frame.cell_m * np.arange(frame.ny + 1)
    dose = np.zeros((frame.ny, frame.nx))
    for west, south, east, north, rate in blocks:
        wide = np.diff(np.clip(x, west, east)) / frame.cell_m
        high = np.diff(np.clip(y, south, north)) / frame.cell_m
        dose += rate * high[:, None] * wide[None, :]
    return dose


def test_two_grids_of_other_cells_and_corners_tell_what_a_drawing_board_tells() -> None:
    one, two = GridFrame(0.0, 0.0, 0.25, 48, 40), GridFrame(-1.0, -2.0, 0.5, 30, 28)
    # A lawn of 10 by 8 m: the first leaves its western 2 m dry and doubles the eastern 1 m, the second leaves the
    # western 1 m dry and doubles the eastern 2 m.
    first = lay(one, (2, 0, 10, 8, TARGET), (9, 0, 10, 8, TARGET))
    second = lay(two, (1, 0, 10, 8, 2 * TARGET), (8, 0, 10, 8, 2 * TARGET))
    frame = join_frames(one, two)
    wanted = lay(frame, (0, 0, 10, 8, 1.0))
    laid = [
        Laid(resample_cells(dose, own, onto=frame), frame, target)
        for dose, own, target in ((first, one, TARGET), (second, two, 2 * TARGET))
    ]
    found = compare_doses(*laid, wanted, under_share=0.9, over_share=1.1)
    assert found.ground_m2 == pytest.approx(80.0)
    assert found.missed_m2 == pytest.approx((16.0, 8.0))
    assert found.missed_both_m2 == pytest.approx(8.0)
    assert found.missed_by_chance_m2 == pytest.approx(1.6)
    assert found.doubled_m2 == pytest.approx((8.0, 16.0))
    assert found.doubled_both_m2 == pytest.approx(8.0)
    # Together of three targets: west none, then two, then three, then five, then six.
    assert (found.together_under_m2, found.together_on_target_m2, found.together_over_m2) == pytest.approx((16, 48, 16))
    assert found.mean_share == pytest.approx((0.9, 1.1))
    assert found.mean_share_together == pytest.approx((0.9 + 2 * 1.1) / 3)


@settings(max_examples=40, deadline=None)
@given(
    st.integers(1, 9), st.integers(1, 9), st.floats(0.1, 3.0), st.floats(0.1, 3.0), st.floats(-2.0, 2.0),
    st.integers(0, 1000),
)  # fmt: skip
def test_no_litre_is_lost_or_made_by_other_cells(nx, ny, cell_m, new_m, shift_m, seed) -> None:
    frame = GridFrame(shift_m, -shift_m, cell_m, nx, ny)
    dose = np.random.default_rng(seed).random((ny, nx))
    wide = int(np.ceil((max(nx, ny) * cell_m + 6.0) / new_m)) + 1
    onto = GridFrame(-3.0, -3.0, new_m, wide, wide)
    found = resample_cells(dose, frame, onto=onto)
    assert found.sum() * onto.cell_area_m2 == pytest.approx(dose.sum() * frame.cell_area_m2, rel=1e-9)
    assert found.min() >= -1e-9


def test_the_same_cells_come_back_as_they_were() -> None:
    frame = GridFrame(-3.7, 2.1, 0.3, 7, 5)
    dose = np.random.default_rng(1).random((5, 7))
    np.testing.assert_allclose(resample_cells(dose, frame, onto=frame), dose, atol=1e-12)


def test_what_cannot_be_compared_is_refused() -> None:
    frame = GridFrame(0.0, 0.0, 1.0, 2, 2)
    plain = Laid(np.ones((2, 2)), frame, 1.0)
    with pytest.raises(ValueError, match="different grids"):
        compare_doses(plain, plain, np.ones((3, 2)), under_share=0.9, over_share=1.1)
    with pytest.raises(ValueError, match="positive"):
        compare_doses(plain, Laid(np.ones((2, 2)), frame, 0.0), np.ones((2, 2)), under_share=0.9, over_share=1.1)
    with pytest.raises(ValueError, match="finite"):
        resample_cells(np.full((2, 2), np.nan), frame, onto=frame)


def test_a_corner_is_the_corner_of_the_ground_and_not_of_the_grid() -> None:
    frame = GridFrame(0.0, 0.0, 1.0, 20, 20)
    wanted = np.zeros((20, 20))
    wanted[10:16, 3:9] = 1.0
    missed = np.zeros((20, 20))
    missed[14:20, 0:5] = 1.0
    assert split_ninths(missed, frame, wanted=wanted).tolist() == [[0, 0, 0], [0, 0, 0], [4, 0, 0]]
    assert split_ninths(missed, frame, wanted=np.zeros((20, 20))).sum() == 0.0
