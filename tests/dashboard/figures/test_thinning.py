"""Thinning keeps every extreme, every change of state and every break."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dashboard.figures.thinning import thin


@st.composite
def series(draw: st.DrawFn) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Return times, values, states and breaks, with few or with many changes of state."""
    n = draw(st.integers(1, 400))
    rng = np.random.default_rng(draw(st.integers(0, 2**32)))
    time = np.cumsum(rng.integers(1, draw(st.sampled_from([2, 10**6, 10**12])), n))
    value = rng.choice([0.0, 1.0, 4.25, 80.0, 5e6, np.inf], n) * rng.uniform(0.5, 1, n).round(2)
    every = draw(st.integers(1, 60))
    state = np.repeat(rng.integers(0, 4, n // every + 1), every)[:n]
    breaks = rng.random(n) < draw(st.sampled_from([0.0, 0.05, 0.5]))
    return time.astype(np.int64), value, state, breaks


@settings(max_examples=120, deadline=None)
@given(series(), st.integers(1, 40))
def test_no_extreme_change_or_break_is_lost(
    drawn: tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray], buckets: int
) -> None:
    time, value, state, breaks = drawn
    kept = thin(time, value, state, breaks, buckets)
    assert np.all(np.diff(kept) > 0)
    held = set(kept.tolist())
    assert {0, time.size - 1} <= held
    changes = np.flatnonzero((state[1:] != state[:-1]) | breaks[:-1])
    assert {*changes.tolist(), *(changes + 1).tolist()} <= held
    for code in np.unique(state):
        of_state = state == code
        shown = value[kept][state[kept] == code]
        assert shown.min() == value[of_state].min()
        assert shown.max() == value[of_state].max()


@settings(max_examples=60, deadline=None)
@given(series(), st.integers(1, 40))
def test_every_bucket_shows_its_own_extremes(
    drawn: tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray], buckets: int
) -> None:
    time, value, state, breaks = drawn
    kept = thin(time, value, state, breaks, buckets)
    width = -(-int(time[-1] - time[0] + 1) // buckets)
    bucket = (time - time[0]) // width
    assert bucket.max() < buckets
    for number in np.unique(bucket):
        inside = bucket == number
        shown = value[kept][bucket[kept] == number]
        assert shown.min() == value[inside].min()
        assert shown.max() == value[inside].max()


def test_a_long_steady_series_shrinks() -> None:
    n = 200_000
    time = np.arange(n, dtype=np.int64) * 10**9
    value = np.random.default_rng(1).random(n)
    kept = thin(time, value, np.zeros(n, np.int64), np.zeros(n, bool), 500)
    assert kept.size <= 4 * 500


@pytest.mark.parametrize("n", [0, 1, 2, 4])
def test_a_short_series_is_drawn_whole(n: int) -> None:
    time = np.arange(n, dtype=np.int64)
    kept = thin(time, np.ones(n), np.zeros(n, np.int64), np.zeros(n, bool), 1)
    assert kept.tolist() == list(range(n))


def test_an_open_circuit_does_not_hide_the_highest_reading_beside_it() -> None:
    value = np.array([4.0] * 20 + [900.0, np.inf] + [4.0] * 20)
    state = np.array([0] * 20 + [1, 2] + [0] * 20)
    time = np.arange(value.size, dtype=np.int64)
    kept = thin(time, value, state, np.zeros(value.size, bool), 1)
    assert {4.0, 900.0, np.inf} == set(value[kept].tolist())
