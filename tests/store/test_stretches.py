"""When stretches may become one, and which of several a reading belongs to."""

from __future__ import annotations

import numpy as np
import pytest

from bondtrail.samples import TimeArray
from store.stretches import (
    LONGEST,
    NARROW,
    NEVER,
    SLACK,
    Painting,
    Stretch,
    closed,
    joined,
    opened,
)

S = 10**9
T0 = 1_767_225_600 * S
DAY_S = 86_400


def at(*seconds: float) -> TimeArray:
    return T0 + np.array([round(each * S) for each in seconds], np.int64)


def brought(arrived_s: float | None, *seconds: float) -> Stretch:
    """Return what one commit brought, as one that takes no more."""
    arrived = None if arrived_s is None else T0 + round(arrived_s * S)
    return closed(1, at(*seconds), arrived)


def going_on(*commits: tuple[float, float], before: Stretch | None = None) -> Stretch:
    """Return the stretch of commits of one reading each, as (arrived, second)."""
    (arrived, second), *rest = commits
    found = opened(brought(arrived, second), before)
    for arrived, second in rest:
        more = joined(found, brought(arrived, second))
        assert more is not None
        found = more
    return found


def test_one_commit_tells_its_moment() -> None:
    found = brought(10, 1, 2, 7)
    assert (found.first, found.last, found.arrived) == (T0 + S, T0 + 7 * S, T0 + 10 * S)
    assert found.is_known
    assert joined(found, brought(10, 8)) is None


def test_a_commit_that_nobody_timed_is_unknown() -> None:
    found = brought(None, 1, 2)
    assert not found.is_known
    assert opened(found, None) == found


@pytest.mark.parametrize(
    ("commit", "before", "expected"),
    [
        pytest.param((3, 1, 2), None, (0, 3), id="a-second-more-on-either-side"),
        pytest.param((59, 0, 59), None, (-0.5, 59.5), id="no-more-than-a-minute"),
        pytest.param((60, 0, 60), None, (0, 60), id="a-minute-is-all"),
        pytest.param((61, 0, 61), None, None, id="more-than-a-minute-takes-no-more"),
        pytest.param((11, 8), going_on((2, 0), (3.5, 1)), (1, 4), id="what-was-seen-before"),
        pytest.param((70, 8), going_on((2, 0)), (2, 62), id="as-far-apart-as-may-be"),
        pytest.param((71, 8), going_on((2, 0)), (62, 64), id="too-far-from-what-was-seen"),
        pytest.param((11, 8), brought(2, 0), (2, 4), id="after-one-that-takes-no-more"),
        pytest.param((11, 8), brought(None, 0), (2, 4), id="after-an-unknown-one"),
    ],
)
def test_a_stretch_says_how_wide_its_lag_may_be(
    commit: tuple[float, ...], before: Stretch | None, expected: tuple[float, float] | None
) -> None:
    found = opened(brought(*commit), before)
    assert found.lag == (expected and tuple(round(edge * S) for edge in expected))
    if found.lag is not None:
        assert found.lag[1] - found.lag[0] <= NARROW


@pytest.mark.parametrize(
    ("more", "takes"),
    [
        pytest.param(brought(2, 1), True, id="the-same-lag"),
        pytest.param(brought(3601, 3600), True, id="the-same-lag-an-hour-on"),
        pytest.param(brought(3602, 3600), True, id="a-second-more"),
        pytest.param(brought(3600, 3600), True, id="a-second-less"),
        pytest.param(brought(3602.001, 3600), False, id="more-than-that"),
        pytest.param(brought(3599.999, 3600), False, id="less-than-that"),
        pytest.param(brought(12, 10, 11), True, id="two-at-once"),
        pytest.param(brought(12, 8, 11), False, id="two-at-once-too-far-apart"),
        pytest.param(brought(DAY_S + 1, DAY_S), True, id="a-day"),
        pytest.param(brought(DAY_S + 2, DAY_S + 1), False, id="more-than-a-day"),
        pytest.param(brought(0.999, -0.5), False, id="the-clock-was-set-back"),
        pytest.param(brought(None, 1), False, id="nobody-timed-it"),
    ],
)
def test_a_stretch_takes_what_keeps_to_its_lag(more: Stretch, takes: bool) -> None:
    found = going_on((1, 0))
    both = joined(found, more)
    assert (both is not None) is takes
    if both is not None:
        assert both.last == more.last
        assert (both.first, both.arrived, both.lag) == (found.first, found.arrived, found.lag)


def test_what_comes_out_of_order_moves_no_end() -> None:
    both = joined(going_on((1, 0), (6, 5)), brought(6, 4))
    assert both is not None
    assert (both.first, both.last, both.seen) == (T0, T0 + 5 * S, (S, 2 * S))


def test_a_lag_that_swings_by_less_than_a_minute_is_told_by_few_stretches() -> None:
    lags = np.random.default_rng(1).uniform(0.1, 50, 3000).tolist()  # a reading a minute
    found, stretches = going_on((lags[0], 0)), 1
    for minute, lag in enumerate(lags):
        mine = brought(60 * minute + lag, 60 * minute)
        more = joined(found, mine)
        stretches += more is None
        found = more or opened(mine, found)
    assert stretches < 15


def test_the_limits_are_those_that_are_documented() -> None:
    assert (NARROW, SLACK, LONGEST) == (60 * S, S, DAY_S * S)


@pytest.mark.parametrize("moment", [-(2**63), 2**63 - 1])
def test_a_lag_that_no_number_holds_is_not_told(moment: int) -> None:
    time = np.array([moment], np.int64)
    painting = Painting([opened(closed(1, time, T0), None)], time)
    painting.paint(0)
    assert told(painting) == [(0, 0)]


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
    ("second", "expected"),
    [
        pytest.param(0, (1, 2), id="not-before-the-first-commit"),
        pytest.param(1, (1, 3), id="as-the-lag-tells"),
        pytest.param(50, (50, 52), id="further-on"),
    ],
)
def test_a_reading_arrived_between_two_moments(second: float, expected: tuple[int, int]) -> None:
    painting = Painting([going_on((1, 0), (51.5, 50))], at(second))
    painting.paint(0)
    assert told(painting) == [expected]


def test_what_is_told_stays_the_same_as_the_stretch_goes_on() -> None:
    commits = [(1.0, 0.0), (2.5, 1.0), (2.0, 2.0), (4.9, 3.0), (6.0, 4.5)]
    outcomes = []
    for size in range(1, 6):
        painting = Painting([going_on(*commits[:size])], at(0))
        painting.paint(0)
        outcomes.append(told(painting))
    assert outcomes == [outcomes[0]] * 5
