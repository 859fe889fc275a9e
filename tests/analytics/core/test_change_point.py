"""A change of level, and a step told from a slope and from wear that speeds up."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from statsmodels.datasets import nile

from analytics.core.change_point import has_begun, is_step, mid_ranks, onset, pettitt, two_levels
from bondtrail.samples import ValueArray

NILE = nile.load_pandas().data["volume"].to_numpy(float)


def stepped(y: ValueArray) -> bool:
    x = np.arange(float(y.size))
    return is_step(x, y, two_levels(y, pettitt(y).index))


def noise(size: int, seed: int, ohm: float = 0.2) -> ValueArray:
    return np.random.default_rng(seed).normal(0, ohm, size)


def test_the_break_of_the_nile() -> None:
    # 1898 is the well known break of the series (from memory); K and p by Pettitt's formulas on
    # the data set of statsmodels, whose means on both sides are 1097.75 and 849.97.
    change = pettitt(NILE)
    assert 1871 + change.index - 1 == 1898
    assert change.statistic == 1617
    assert change.p_value == pytest.approx(3.591e-7, abs=5e-11)
    assert NILE[: change.index].mean() == pytest.approx(1097.75)
    assert NILE[change.index :].mean() == pytest.approx(849.9722, abs=5e-5)
    levels = two_levels(NILE, change.index)
    assert (levels.index, levels.before, levels.after) == (28, 1130.0, 842.5)


def test_the_nile_is_a_step_though_it_tests_as_a_trend() -> None:
    assert stepped(NILE)


def test_statistic_by_its_definition() -> None:
    # K is the largest |sum over i <= t < j of sign(x_i - x_j)|, pair by pair.
    y = np.random.default_rng(4).integers(0, 9, 25).astype(float)
    signs = np.sign(y[:, None] - y)
    sums = [abs(signs[:t, t:].sum()) for t in range(1, 25)]
    change = pettitt(y)
    assert change.statistic == max(sums)
    assert change.index == int(np.argmax(sums)) + 1


def test_ranks_agree_with_scipy() -> None:
    y = np.random.default_rng(5).integers(0, 9, 40).astype(float)
    assert mid_ranks(y).tolist() == stats.rankdata(y).tolist()


@pytest.mark.parametrize(
    ("values", "index", "statistic"),
    [
        pytest.param([1, 1, 1, 5, 5], 3, 6, id="plain"),
        pytest.param([5, 5, 1, 1, 1], 2, 6, id="down"),
        pytest.param([2, 2], 1, 0, id="alike"),
    ],
)
def test_change(values: list[float], index: int, statistic: float) -> None:
    change = pettitt(np.array(values, float))
    assert (change.index, change.statistic) == (index, statistic)
    assert 0 < change.p_value <= 1


def test_levels_by_trying_every_split() -> None:
    y = np.repeat([2.0, 3.0], (17, 23)) + noise(40, 9, 0.6)
    off = [
        np.abs(y[:k] - np.median(y[:k])).sum() + np.abs(y[k:] - np.median(y[k:])).sum()
        for k in range(1, 40)
    ]
    found = two_levels(y, pettitt(y).index)
    assert found.index == int(np.argmin(off)) + 1
    assert found.off == pytest.approx(min(off) / 40)
    assert found.before == np.median(y[: found.index])
    assert found.after == np.median(y[found.index :])


def test_two_values_have_two_levels() -> None:
    found = two_levels(np.array([1.0, 4.0]), 1)
    assert (found.index, found.before, found.after, found.off) == (1, 1.0, 4.0, 0.0)


@pytest.mark.parametrize("size", [0, 1])
def test_a_change_needs_two_values(size: int) -> None:
    with pytest.raises(ValueError, match=f"at least 2 values, got {size}"):
        pettitt(np.zeros(size))


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("share", [0.3, 0.5, 0.7])
def test_a_step_anywhere_is_a_step(seed: int, share: float) -> None:
    y = np.where(np.arange(60) < share * 60, 2.0, 4.0) + noise(60, seed)
    assert stepped(y)
    assert two_levels(y, pettitt(y).index).index == round(share * 60)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("size", [20, 60, 300])
def test_a_slope_is_not_a_step(seed: int, size: int) -> None:
    assert not stepped(2 + 3 * np.linspace(0, 1, size) + noise(size, seed))


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("power", [2, 4])
def test_wear_that_speeds_up_is_not_a_step(seed: int, power: int) -> None:
    assert not stepped(2 + 5 * np.linspace(0, 1, 60) ** power + noise(60, seed))


def test_wild_values_do_not_hide_a_step_nor_make_one() -> None:
    wild = np.zeros(60)
    wild[[4, 25, 50]] = 90.0
    assert stepped(np.where(np.arange(60) < 30, 2.0, 4.0) + noise(60, 1) + wild)
    assert not stepped(2 + 3 * np.linspace(0, 1, 60) + noise(60, 1) + wild)
    assert not stepped(2 + 5 * np.linspace(0, 1, 60) ** 3 + noise(60, 1) + wild)


def test_without_noise() -> None:
    assert stepped(np.repeat([2.0, 4.0], 20))
    assert not stepped(2 + 0.1 * np.arange(40.0))


def bent(size: int, at: int, seed: int = 0) -> ValueArray:
    """Level at 2 ohm up to an index, rising by 3 ohm from there."""
    since = np.maximum(np.arange(size) - at, 0)
    return 2 + 3 * since / since.max() + noise(size, seed)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("at", [12, 30, 45])
def test_the_onset_of_a_rise_is_found(at: int, seed: int) -> None:
    # 3 hookups lie between the places that are tried.
    found = onset(np.arange(60.0), bent(60, at, seed))
    assert abs(found.index - at) <= 3 + 3
    assert found.off < 0.2


def test_wild_values_do_not_move_an_onset() -> None:
    y = bent(60, 30)
    y[[3, 41, 55]] = 80.0
    assert abs(onset(np.arange(60.0), y).index - 30) <= 6


def test_so_many_as_asked_for_belong_to_the_line() -> None:
    assert onset(np.arange(60.0), bent(60, 50), 20).index == 40


@pytest.mark.parametrize(
    ("y", "expected"),
    [
        pytest.param(bent(60, 30), True, id="level-first"),
        pytest.param(2 + np.linspace(0, 1, 60) ** 4 * 5 + noise(60, 2), True, id="speeding-up"),
        pytest.param(2 + np.linspace(0, 1, 60) * 3 + noise(60, 2), False, id="a-line"),
        pytest.param(2 + noise(60, 2), False, id="level-throughout"),
        pytest.param(2 + np.linspace(0, 1, 60) ** 0.5 * 3 + noise(60, 2), False, id="slowing-down"),
    ],
)
def test_has_begun(y: ValueArray, expected: bool) -> None:
    x = np.arange(60.0)
    assert has_begun(onset(x, y), 60) is expected


def test_a_line_is_seldom_taken_for_an_onset() -> None:
    x = np.arange(40.0)
    taken = 0
    for seed in range(200):
        y = 2 + 0.02 * x + noise(40, seed)
        taken += has_begun(onset(x, y), 40)
    assert taken <= 2
