"""Which is worst: by the cautious end of the interval, and never from too little."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as some

from analytics.core.merits import Figure
from analytics.core.ranking import worst_first
from analytics.core.rates import poisson_rate
from analytics.core.shares import TimeShare, wilson


def bypassed(part_s: float, whole_s: float) -> TimeShare:
    return TimeShare(part_s / whole_s if whole_s else None, None, None, part_s, whole_s)


@pytest.mark.parametrize(
    ("figures", "more_is_better", "expected"),
    [
        pytest.param(
            # 2 of 5 looks worse than 20 of 100, but its lower end is 11.8 % against 13.3 %.
            {"little": wilson(2, 5), "much": wilson(20, 100)},
            False,
            [("much", 1), ("little", 2)],
            id="the-cautious-end-goes-first",
        ),
        pytest.param(
            {"one-of-one": wilson(1, 1), "four": wilson(4, 4), "some": wilson(1, 50)},
            False,
            [("some", 1), ("one-of-one", None), ("four", None)],
            id="one-of-one-is-too-few",
        ),
        pytest.param(
            # A compliance of 3 of 5 may be 88 %, one of 80 of 100 is at most 87 %.
            {"little": wilson(3, 5), "much": wilson(80, 100)},
            True,
            [("much", 1), ("little", 2)],
            id="compliance-by-its-upper-end",
        ),
        pytest.param(
            {"good": wilson(100, 100), "bad": wilson(50, 100), "none": wilson(0, 0)},
            True,
            [("bad", 1), ("good", 2), ("none", None)],
            id="compliance-worst-first",
        ),
        pytest.param(
            {"a": poisson_rate(5, 10), "b": poisson_rate(4, 1), "c": poisson_rate(50, 100)},
            False,
            [("c", 1), ("a", 2), ("b", None)],
            id="rates-need-five-events",
        ),
        pytest.param(
            {"a": wilson(0, 10), "b": wilson(5, 10), "c": wilson(0, 99), "d": wilson(1, 9)},
            False,
            [("b", 1), ("d", 2), ("a", 3), ("c", 3)],
            id="as-bad-as-each-other-share-a-place",
        ),
        pytest.param(
            {"a": poisson_rate(9, 0.0), "b": poisson_rate(5, 10)},
            False,
            [("b", 1), ("a", None)],
            id="events-over-nothing-have-no-place",
        ),
        pytest.param(
            {"a": bypassed(1, 100), "b": bypassed(5, 100), "c": bypassed(0, 0)},
            False,
            [("b", 1), ("a", 2), ("c", None)],
            id="time-is-as-it-is",
        ),
        pytest.param({}, False, [], id="nothing"),
    ],
)
def test_worst_first(
    figures: dict[str, Figure], more_is_better: bool, expected: list[tuple[str, int | None]]
) -> None:
    found = worst_first(figures, more_is_better=more_is_better)
    assert [(item.name, item.place) for item in found] == expected
    assert all(item.figure is figures[item.name] for item in found)


def test_too_little_says_so() -> None:
    found = worst_first({"few": wilson(1, 1), "some": wilson(1, 50)})
    assert [item.words for item in found] == ["1", "too few to rank"]


@given(some.lists(some.tuples(some.integers(0, 30), some.integers(0, 30)), max_size=12))
def test_every_figure_has_one_place_by_its_cautious_end(pairs: list[tuple[int, int]]) -> None:
    figures = {f"s{k}": wilson(min(pair), max(pair)) for k, pair in enumerate(pairs)}
    found = worst_first(figures)
    assert sorted(item.name for item in found) == sorted(figures)
    ends = [figures[item.name].low for item in found if item.place is not None]
    assert ends == sorted((end for end in ends if end is not None), reverse=True)
    assert all((item.place is None) == figures[item.name].is_few for item in found)
