"""Arithmetic of spans, against tables and against loops over whole seconds."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.core.spans import (
    NOWHERE,
    Spans,
    covers,
    distinct,
    elapsed,
    intersection,
    lengths,
    total,
    touches,
    united,
    where,
    within,
)
from tests.analytics.core.build import Pair, moments, ns, pairs, spans

REACH = 30


def held_seconds(found: Spans) -> set[int]:
    return {second for start, end in pairs(found) for second in range(int(start), int(end))}


@st.composite
def some_spans(draw: st.DrawFn) -> Spans:
    """Sorted and disjoint; neighbours may touch, as where a long span was cut at midnight."""
    edges = draw(st.lists(st.integers(0, REACH), max_size=12, unique=True).map(sorted))
    cut = [(a, b) for a, b in pairwise(edges) if draw(st.booleans())]
    return spans(*cut)


@st.composite
def apart_spans(draw: st.DrawFn) -> Spans:
    edges = draw(st.lists(st.integers(0, REACH), max_size=12, unique=True).map(sorted))
    return spans(*zip(edges[::2], edges[1::2], strict=False))


seconds = st.integers(-5, REACH + 5)


@pytest.mark.parametrize(
    ("mask", "expected"),
    [
        pytest.param([], [], id="no-intervals"),
        pytest.param([False, False], [], id="nowhere"),
        pytest.param([True, True], [(0, 2)], id="everywhere-is-one-span"),
        pytest.param([True, False, True], [(0, 1), (2, 3)], id="apart"),
        pytest.param([False, True, True, False], [(1, 3)], id="neighbours-are-joined"),
    ],
)
def test_where(mask: list[bool], expected: list[Pair]) -> None:
    edges = moments(*range(len(mask) + 1))
    assert pairs(where(edges, np.array(mask, bool))) == expected


@given(st.lists(st.booleans(), max_size=20))
def test_where_holds_just_the_intervals_of_the_mask(mask: list[bool]) -> None:
    found = where(moments(*range(len(mask) + 1)), np.array(mask, bool))
    assert held_seconds(found) == {n for n, holds in enumerate(mask) if holds}
    assert all(a[1] < b[0] for a, b in pairwise(pairs(found)))


@pytest.mark.parametrize(
    ("given_spans", "each", "in_all"),
    [
        pytest.param([], [], 0, id="none"),
        pytest.param([(2, 5)], [3], 3, id="one"),
        pytest.param([(-4, -1), (0, 0.5)], [3, 0.5], 3.5, id="before-1970-too"),
    ],
)
def test_lengths_and_total(given_spans: list[Pair], each: list[float], in_all: float) -> None:
    assert lengths(spans(*given_spans)).tolist() == [ns(length) for length in each]
    assert total(spans(*given_spans)) == ns(in_all)


@pytest.mark.parametrize(
    ("given_spans", "stretch", "expected"),
    [
        pytest.param([], (0, 10), [], id="none"),
        pytest.param([(2, 5)], (0, 10), [(2, 5)], id="inside"),
        pytest.param([(2, 5)], (3, 4), [(3, 4)], id="cut-on-both-sides"),
        pytest.param([(2, 5)], (5, 9), [], id="ends-where-the-stretch-begins"),
        pytest.param([(2, 5)], (0, 2), [], id="begins-where-the-stretch-ends"),
        pytest.param([(2, 5)], (3, 3), [], id="empty-stretch"),
        pytest.param([(0, 2), (3, 5), (6, 9)], (1, 7), [(1, 2), (3, 5), (6, 7)], id="several"),
    ],
)
def test_within(given_spans: list[Pair], stretch: Pair, expected: list[Pair]) -> None:
    start, end = map(ns, stretch)
    assert pairs(within(spans(*given_spans), start, end)) == expected
    assert touches(spans(*given_spans), start, end) == bool(expected)


@given(some_spans(), seconds, seconds)
def test_within_keeps_what_lies_inside(found: Spans, start: int, end: int) -> None:
    before = found.copy()
    inside = held_seconds(within(found, ns(start), ns(end)))
    assert inside == {second for second in held_seconds(found) if start <= second < end}
    assert np.array_equal(found, before)


@pytest.mark.parametrize(
    ("first", "second", "expected"),
    [
        pytest.param([], [(0, 9)], [], id="one-empty"),
        pytest.param([(0, 9)], [(2, 5)], [(2, 5)], id="inside"),
        pytest.param([(0, 5)], [(5, 9)], [], id="touching-share-nothing"),
        pytest.param([(0, 5), (6, 9)], [(4, 7)], [(4, 5), (6, 7)], id="over-a-gap"),
    ],
)
def test_intersection(first: list[Pair], second: list[Pair], expected: list[Pair]) -> None:
    assert pairs(intersection(spans(*first), spans(*second))) == expected
    assert pairs(intersection(spans(*second), spans(*first))) == expected


@given(apart_spans(), apart_spans())
def test_intersection_is_in_both(first: Spans, second: Spans) -> None:
    found = intersection(first, second)
    assert held_seconds(found) == held_seconds(first) & held_seconds(second)
    assert np.array_equal(found.ravel(), np.unique(found))


@pytest.mark.parametrize(
    ("moment", "expected"),
    [
        pytest.param(1.999, False, id="just-before"),
        pytest.param(2, True, id="at-its-start"),
        pytest.param(4.999, True, id="just-inside"),
        pytest.param(5, False, id="at-its-end"),
    ],
)
def test_covers_is_half_open(moment: float, expected: bool) -> None:
    assert covers(spans((2, 5)), moments(moment)).tolist() == [expected]
    assert covers(NOWHERE, moments(moment)).tolist() == [False]


@given(some_spans(), st.lists(seconds, max_size=8))
def test_covers_says_for_each_moment_in_any_order(found: Spans, asked: list[int]) -> None:
    inside = held_seconds(found)
    assert covers(found, moments(*asked)).tolist() == [second in inside for second in asked]


@pytest.mark.parametrize(
    ("moment", "expected"),
    [
        pytest.param(0, 0, id="before-all"),
        pytest.param(2, 0, id="as-the-first-begins"),
        pytest.param(4, 2, id="inside-the-first"),
        pytest.param(6, 3, id="between"),
        pytest.param(99, 5, id="after-all"),
    ],
)
def test_elapsed(moment: float, expected: float) -> None:
    assert elapsed(spans((2, 5), (7, 9)), moments(moment)).tolist() == [ns(expected)]
    assert elapsed(NOWHERE, moments(moment)).tolist() == [0]


@given(some_spans(), st.lists(seconds, max_size=8))
def test_elapsed_counts_what_lies_before(found: Spans, asked: list[int]) -> None:
    inside = held_seconds(found)
    counted = [ns(sum(second < moment for second in inside)) for moment in asked]
    assert elapsed(found, moments(*asked)).tolist() == counted


@given(st.lists(st.integers(-(2**63), 2**63 - 1), max_size=20))
def test_distinct_moments_are_in_order_and_each_once(found: list[int]) -> None:
    assert distinct(np.array([*found, *found[:3]], np.int64)).tolist() == sorted(set(found))


@pytest.mark.parametrize(
    ("found", "expected"),
    [
        pytest.param([], [], id="none"),
        pytest.param([(0, 2)], [(0, 2)], id="one"),
        pytest.param([(0, 2), (3, 4)], [(0, 2), (3, 4)], id="apart"),
        pytest.param([(0, 2), (2, 4)], [(0, 4)], id="that meet"),
        pytest.param([(0, 3), (2, 4), (6, 7)], [(0, 4), (6, 7)], id="that overlap"),
    ],
)
def test_united(found: list[Pair], expected: list[Pair]) -> None:
    assert pairs(united(spans(*found))) == expected


def test_distinct_moments_of_two_runs_are_merged() -> None:
    runs = np.concatenate((moments(0, 2, 5), moments(0, 1, 5)))
    assert distinct(runs).tolist() == moments(0, 1, 2, 5).tolist()
