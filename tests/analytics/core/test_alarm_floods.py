"""Alarm floods, by every setting."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
import pytest

from analytics.core.alarm_floods import BEGINS_AT, Peak, floods, peak_of, stream
from bondtrail.site import AlarmRules

MIN = 60 * 10**9

TWO_HOURS = (
    1, 12, 20.1, 20.2, 20.5, 21, 22, 23, 24, 25, 26, 27, 28, 29, 31, 32, 33, 34, 35, 36, 41, 42, 43,
    75, 119,
)  # fmt: skip
"""When alarms began, in minutes: our own worked example, over 120 minutes."""

Told = tuple[float, float, int, int]
"""A flood: start and end in minutes, how many alarms, the most in ten minutes."""


def found(minutes: Sequence[float], rules: AlarmRules, end: float = 120) -> list[Told]:
    moments = np.array([round(minute * MIN) for minute in minutes], np.int64)
    told = floods(stream(moments, 0, round(end * MIN)), rules)
    return [(row.start / MIN, row.end / MIN, row.count, row.peak) for row in told]


def every_minute(first: int, count: int) -> list[float]:
    return [float(first + n) for n in range(count)]


@pytest.mark.parametrize(
    ("rules", "expected"),
    [
        # Periods from the start hold 1, 1, 12, 6, 3, 0, 0, 1, 0, 0, 0, 1. The one of 6 is still
        # in the flood, the one of 3 ends it.
        pytest.param({}, [(20, 40, 18, 12)], id="fixed"),
        pytest.param({"flood_begins": "10_or_more"}, [(20, 40, 18, 12)], id="fixed-ten-or-more"),
        pytest.param({"flood_ends_below": 3}, [(20, 50, 21, 12)], id="fixed-ends-below-3"),
        pytest.param({"flood_ends_below": 10}, [(20, 30, 12, 12)], id="fixed-ends-below-10"),
        # At 28 min there are 11 since 20.1; at 45 min only 36, 41, 42 and 43 are left.
        pytest.param({"flood_windows": "sliding"}, [(20.1, 45, 21, 12)], id="sliding"),
        pytest.param(
            {"flood_windows": "sliding", "flood_begins": "10_or_more"},
            [(20.1, 45, 21, 12)],
            id="sliding-ten-or-more",
        ),
        # At 38 min 29 and 31 to 36 are left, at 39 min one fewer.
        pytest.param(
            {"flood_windows": "sliding", "flood_ends_below": 7},
            [(20.1, 39, 18, 12)],
            id="sliding-ends-below-7",
        ),
    ],
)
def test_the_worked_stream_by_every_setting(rules: dict[str, object], expected: list[Told]) -> None:
    assert found(TWO_HOURS, AlarmRules.model_validate(rules)) == [
        pytest.approx(row) for row in expected
    ]


TEN = every_minute(0, 10)
ELEVEN = [*TEN, 9.5]


@pytest.mark.parametrize(
    ("minutes", "begins", "expected"),
    [
        pytest.param([], "above_10", [], id="nothing"),
        pytest.param(TEN, "above_10", [], id="ten-is-not-above-ten"),
        pytest.param(ELEVEN, "above_10", [(0, 10, 11, 11)], id="eleven-is"),
        pytest.param(TEN, "10_or_more", [(0, 10, 10, 10)], id="ten-is-ten-or-more"),
        pytest.param(TEN[1:], "10_or_more", [], id="nine-is-not"),
        pytest.param([10.0] * 11, "above_10", [(10, 20, 11, 11)], id="an-edge-begins-a-period"),
        pytest.param(
            [*ELEVEN, *[30.0] * 11],
            "above_10",
            [(0, 10, 11, 11), (30, 40, 11, 11)],
            id="silence-between-two-floods",
        ),
        pytest.param(
            [*ELEVEN, *[11.0] * 5, *[21.0] * 5, *[31.0] * 4],
            "above_10",
            [(0, 30, 21, 11)],
            id="five-keep-it-going-four-end-it",
        ),
        pytest.param([*[1.0] * 9, *[11.0] * 9], "above_10", [], id="many-but-never-too-many"),
        pytest.param([116.0] * 11, "above_10", [(110, 120, 11, 11)], id="cut-by-the-end"),
    ],
)
def test_fixed_periods(minutes: list[float], begins: str, expected: list[Told]) -> None:
    assert found(minutes, AlarmRules.model_validate({"flood_begins": begins})) == expected


@pytest.mark.parametrize(
    ("minutes", "expected"),
    [
        pytest.param([], [], id="nothing"),
        pytest.param(every_minute(0, 60), [], id="one-a-minute-is-ten"),
        # 5 and 15 are ten minutes apart: the first is no longer one of the last ten minutes.
        pytest.param([*every_minute(5, 10), 15.0], [], id="ten-minutes-apart-is-too-far"),
        # The last ten minutes at 15 hold 6 to 15; 12 to 15 are left at 21.
        pytest.param([*every_minute(5, 10), 14.9], [(5, 21, 11, 11)], id="across-fixed-periods"),
        pytest.param([3.0] * 11, [(3, 13, 11, 11)], id="all-at-once"),
        pytest.param([115.0] * 11, [(115, 120, 11, 11)], id="cut-by-the-end"),
        # The first ends at 13, when all eleven are old; four of 12 are part of it and of the
        # ten minutes that begin the second, which therefore begins at 13.
        pytest.param(
            [*[3.0] * 11, *[12.0] * 4, *[14.0] * 7],
            [(3, 13, 15, 15), (13, 24, 7, 11)],
            id="two-that-share-alarms-do-not-overlap",
        ),
    ],
)
def test_sliding_periods(minutes: list[float], expected: list[Told]) -> None:
    assert found(minutes, AlarmRules(flood_windows="sliding")) == [
        pytest.approx(row) for row in expected
    ]


@pytest.mark.parametrize("windows", ["fixed", "sliding"])
@pytest.mark.parametrize("begins", list(BEGINS_AT))
@pytest.mark.parametrize("seed", range(8))
def test_floods_agree_with_a_plain_count(windows: str, begins: str, seed: int) -> None:
    """Whether each moment is in a flood, told by walking from moment to moment."""
    rules = AlarmRules.model_validate({"flood_windows": windows, "flood_begins": begins})
    draw = np.random.default_rng(seed)
    starts = np.sort(draw.integers(0, 300, 180)) * MIN  # whole minutes, with many at once
    end = 303 * MIN
    told = floods(stream(starts, 0, end), rules)
    inside = [any(row.start <= t < row.end for row in told) for t in range(0, end, MIN)]
    plain = _walked_fixed if windows == "fixed" else _walked_sliding
    assert inside == plain(starts, end, rules)
    assert all(a.end <= b.start for a, b in itertools.pairwise(told))
    for row in told:
        assert row.count == np.count_nonzero((starts >= row.start) & (starts < row.end))


def _walked_fixed(starts: np.ndarray, end: int, rules: AlarmRules) -> list[bool]:
    inside, told = False, []
    for begin in range(0, end, 10 * MIN):
        count = np.count_nonzero((starts >= begin) & (starts < begin + 10 * MIN))
        inside = count >= rules.flood_ends_below and (
            inside or count >= BEGINS_AT[rules.flood_begins]
        )
        told += [inside] * (min(10 * MIN, end - begin) // MIN)
    return told


def _walked_sliding(starts: np.ndarray, end: int, rules: AlarmRules) -> list[bool]:
    told, inside, over = [False] * (end // MIN), False, 0
    for t in range(0, end, MIN):
        last = starts[(starts > t - 10 * MIN) & (starts <= t)]
        if not inside and last.size >= BEGINS_AT[rules.flood_begins]:
            inside, since = True, max(int(last[0]), over)
        elif inside and last.size < rules.flood_ends_below:
            inside, over = False, t
            told[since // MIN : t // MIN] = [True] * ((t - since) // MIN)
    if inside:
        told[since // MIN :] = [True] * (end // MIN - since // MIN)
    return told


@pytest.mark.parametrize(
    ("windows", "minutes", "expected"),
    [
        pytest.param("fixed", [], (0, None), id="nothing"),
        pytest.param("fixed", TWO_HOURS, (12, 20), id="fixed"),
        pytest.param("sliding", TWO_HOURS, (12, 20.1), id="sliding"),
        pytest.param("fixed", [8, 9, 11, 12, 13], (3, 10), id="fixed-across-an-edge"),
        pytest.param("sliding", [8, 9, 11, 12, 13], (5, 8), id="sliding-across-an-edge"),
        pytest.param("fixed", [5, 25], (1, 0), id="the-first-of-equals"),
    ],
)
def test_the_peak_and_when_it_began(
    windows: str, minutes: list[float], expected: tuple[int, float | None]
) -> None:
    moments = np.array([round(minute * MIN) for minute in minutes], np.int64)
    peak = peak_of(
        stream(moments, 0, 120 * MIN), AlarmRules.model_validate({"flood_windows": windows})
    )
    count, when = expected
    assert peak == Peak(count, None if when is None else round(when * MIN))
