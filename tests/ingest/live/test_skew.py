from __future__ import annotations

import statistics

import numpy as np
import pytest

from bondtrail.running import Source
from ingest.live.skew import EVERY_NS, NEWEST, OTHERS, Clocks, Lag, lag_of
from tests.ingest.live.conftest import NOW, S

NONE = np.zeros(0, np.int64)


@pytest.mark.parametrize(
    ("lags_s", "expected"),
    [
        pytest.param([], None, id="none"),
        pytest.param([2.0], Lag(2.0, 0.0, 1), id="one"),
        pytest.param([-5.0, -5.0, -5.0], Lag(-5.0, 0.0, 3), id="clock-ahead"),
        # Worked by hand: of 1 to 5 the quartiles are 2 and 4, the median 3.
        pytest.param([5.0, 1.0, 4.0, 2.0, 3.0], Lag(3.0, 2.0, 5), id="five"),
        pytest.param([0.0, 0.0, 0.0, 0.0, 3600.0], Lag(0.0, 0.0, 5), id="one-strays"),
    ],
)
def test_lag_is_median_and_interquartile_range(lags_s: list[float], expected: Lag | None) -> None:
    assert lag_of((np.array(lags_s) * S).astype(np.int64)) == expected


def test_lag_is_that_of_the_statistics_module() -> None:
    """Quartiles by the inclusive method of Python's own module: the same interpolation."""
    lags = np.random.default_rng(5).integers(-(10**10), 10**10, 101)
    low, middle, high = statistics.quantiles((lags / S).tolist(), n=4, method="inclusive")
    found = lag_of(lags)
    assert found is not None
    assert found.median_s == pytest.approx(middle)
    assert found.spread_s == pytest.approx(high - low)


def test_newest_readings_count() -> None:
    clocks = Clocks()
    for lag in range(10):
        clocks.note("mqtt rail-1", 300, NOW + lag, np.full(300, lag * S))
    (word,) = clocks.due(NOW)
    # The newest 1000 are all of 9, 8 and 7, and 100 of 6.
    assert word == Source("mqtt rail-1", 3000, NOW + 9, 8.0, 2.0, NEWEST)


def test_more_readings_at_once_than_are_kept() -> None:
    clocks = Clocks()
    clocks.note("mqtt rail-1", 5000, NOW, np.repeat([100 * S, S], [4000, 1000]))
    assert clocks.due(NOW) == [Source("mqtt rail-1", 5000, NOW, 1.0, 0.0, NEWEST)]


def test_what_is_kept_stays_bounded() -> None:
    clocks = Clocks()
    for _ in range(5000):
        clocks.note("mqtt rail-1", 3, NOW, np.full(3, S))
    (kept,) = clocks._kept.values()
    assert sum(piece.size for piece in kept.pieces) <= 4 * NEWEST
    assert len(kept.pieces) <= NEWEST


def test_word_of_a_source_goes_out_at_most_every_ten_seconds() -> None:
    clocks = Clocks()
    clocks.note("a", 1, NOW, NONE)
    assert clocks.due(NOW) == [Source("a", 1, NOW)]
    clocks.note("a", 2, NOW + 1, np.array([S]))
    assert clocks.due(NOW + EVERY_NS - 1) == []
    assert clocks.due(NOW + EVERY_NS) == [Source("a", 2, NOW + 1, 1.0, 0.0, 1)]
    assert clocks.due(NOW + 9 * EVERY_NS) == []


def test_clock_that_was_set_back_does_not_silence_a_source() -> None:
    clocks = Clocks()
    clocks.note("a", 1, NOW, NONE)
    clocks.due(NOW)
    clocks.note("a", 1, NOW, NONE)
    assert clocks.due(NOW - 3600 * S) == [Source("a", 1, NOW)]


def test_all_that_is_new_goes_out_at_once_at_the_end() -> None:
    clocks = Clocks()
    for name in ("a", "b"):
        clocks.note(name, 1, NOW, NONE)
    clocks.due(NOW)
    clocks.note("b", 1, NOW, NONE)
    assert clocks.due(NOW, at_once=True) == [Source("b", 1, NOW)]


def test_sources_beyond_the_most_are_counted_together(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("ingest.live.skew.MOST_SOURCES", 2)
    clocks = Clocks()
    for number in range(5):
        clocks.note(f"s{number}", 1, NOW, NONE)
    clocks.note("s1", 1, NOW, NONE)
    assert {word.name: word.readings for word in clocks.due(NOW)} == {"s0": 1, "s1": 2, OTHERS: 3}
