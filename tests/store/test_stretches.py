"""When stretches may become one, and which of several a reading belongs to."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from bondtrail.samples import TimeArray
from store.stretches import LONGEST, NARROW, NEVER, Painting, Stretch, joined, stretch

S = 10**9
T0 = 1_767_225_600 * S
DAY_S = 86_400


def at(*seconds: float) -> TimeArray:
    return T0 + np.array([round(each * S) for each in seconds], np.int64)


def brought(arrived_s: float | None, *seconds: float) -> Stretch:
    arrived = None if arrived_s is None else T0 + round(arrived_s * S)
    return stretch(1, at(*seconds), arrived)


def test_one_commit_tells_its_moment_and_how_far_its_readings_lagged() -> None:
    found = brought(10, 1, 2, 7)
    assert (found.first, found.last) == (T0 + S, T0 + 7 * S)
    assert found.arrived == (T0 + 10 * S, T0 + 10 * S)
    assert found.lag == (3 * S, 9 * S)
    assert found.is_known


def test_a_commit_that_nobody_timed_is_unknown() -> None:
    assert not brought(None, 1, 2).is_known


@pytest.mark.parametrize(
    ("one", "other", "one_row"),
    [
        pytest.param(brought(1, 0), brought(2, 1), True, id="live"),
        pytest.param(brought(1, 0), brought(3601, 3600), True, id="the-same-lag-an-hour-on"),
        pytest.param(brought(0, 0), brought(160, 100), True, id="lag-differs-by-a-minute"),
        pytest.param(brought(0, 0), brought(160.001, 100), False, id="lag-differs-by-more"),
        pytest.param(brought(9000, 0), brought(9060, 8000), True, id="commits-a-minute-apart"),
        pytest.param(brought(9000, 0), brought(9060.001, 8000), False, id="commits-further-apart"),
        pytest.param(brought(1, 0), brought(DAY_S + 1, DAY_S), True, id="a-day"),
        pytest.param(brought(1, 0), brought(DAY_S + 2, DAY_S + 1), False, id="more-than-a-day"),
        pytest.param(brought(9 * DAY_S, 0), brought(9 * DAY_S, 5 * DAY_S), True, id="days-at-once"),
        pytest.param(brought(1, 0), brought(-50, 1), True, id="the-clock-was-set-back"),
        pytest.param(brought(1, 0), brought(-61, 1), False, id="the-clock-was-set-back-far"),
        pytest.param(brought(1, 5), brought(2, 3), True, id="out-of-order"),
        pytest.param(brought(None, 0), brought(2, 1), False, id="behind-an-unknown-one"),
        pytest.param(brought(1, 0), brought(None, 1), False, id="before-an-unknown-one"),
        pytest.param(
            replace(brought(1, 0), is_sparse=True), brought(2, 1), False, id="behind-a-sparse-one"
        ),
    ],
)
def test_stretches_become_one_if_that_still_tells_the_minute(
    one: Stretch, other: Stretch, one_row: bool
) -> None:
    both = joined(one, other)
    assert (both is not None) is one_row
    if both is not None:
        assert both.first == min(one.first, other.first)
        assert both.last == max(one.last, other.last)
        for part in (one, other):
            assert both.arrived[0] <= part.arrived[0] <= part.arrived[1] <= both.arrived[1]
            assert both.lag[0] <= part.lag[0] <= part.lag[1] <= both.lag[1]


def test_the_limits_are_those_that_are_documented() -> None:
    assert (NARROW, LONGEST) == (60 * S, DAY_S * S)


@pytest.mark.parametrize("moment", [-(2**63), 2**63 - 1])
def test_a_lag_that_no_number_holds_is_not_told(moment: int) -> None:
    found = stretch(1, np.array([moment], np.int64), T0)
    told = Painting([found], np.array([moment], np.int64))
    told.paint(0)
    assert (told.arrivals().first.tolist(), told.arrivals().last.tolist()) == ([T0], [T0])


def told(painting: Painting) -> list[tuple[float, float] | None]:
    """Return the bounds in seconds after T0, None for never."""
    found = painting.arrivals()
    pairs = zip(found.first.tolist(), found.last.tolist(), strict=True)
    return [None if pair == (NEVER, NEVER) else tuple((e - T0) / S for e in pair) for pair in pairs]


def test_nothing_painted_is_never() -> None:
    assert told(Painting([], at(1, 2))) == [None, None]
    assert told(Painting([], at())) == []


def test_the_later_stretch_wins_in_its_span() -> None:
    painting = Painting([brought(10, 0, 9), brought(500, 3, 5)], at(2, 3, 4, 5, 6, 10))
    painting.paint(0)
    painting.paint(1)
    assert told(painting) == [(10, 10), (500, 500), (500, 500), (500, 500), (10, 10), None]


def test_a_sparse_stretch_wins_only_at_its_own_times() -> None:
    painting = Painting([brought(10, 0, 9), brought(500, 3, 5)], at(2, 3, 4, 5, 6))
    painting.paint(0)
    painting.dot(1, at(3, 5))
    assert told(painting) == [(10, 10), (500, 500), (10, 10), (500, 500), (10, 10)]


def test_under_a_damaged_stretch_nobody_knows() -> None:
    painting = Painting([brought(10, 0, 9), brought(500, 3, 5)], at(2, 3, 4, 6))
    painting.paint(0)
    painting.blot(1)
    assert told(painting) == [(10, 10), None, None, (10, 10)]


def test_an_unknown_stretch_takes_what_was_known() -> None:
    painting = Painting([brought(10, 0, 9), brought(None, 3, 5)], at(2, 3))
    painting.paint(0)
    painting.paint(1)
    assert told(painting) == [(10, 10), None]


@pytest.mark.parametrize(
    ("one", "other", "second", "expected"),
    [
        pytest.param(brought(0.5, 0), brought(100.75, 100), 50, (50.5, 50.75), id="by-lag"),
        pytest.param(brought(0.5, 0), brought(100.75, 100), 0, (0.5, 0.75), id="not-before-both"),
        pytest.param(
            brought(0.5, 0), brought(100.75, 100), 100, (100.5, 100.75), id="not-after-both"
        ),
        pytest.param(brought(900, 0), brought(910, 100), 50, (900, 910), id="by-commits"),
        pytest.param(brought(10, 0), brought(12, 3), 2, (11, 12), id="by-whichever-is-narrower"),
    ],
)
def test_a_reading_arrived_between_two_moments(
    one: Stretch, other: Stretch, second: float, expected: tuple[float, float]
) -> None:
    both = joined(one, other)
    assert both is not None
    painting = Painting([both], at(second))
    painting.paint(0)
    assert told(painting) == [expected]
