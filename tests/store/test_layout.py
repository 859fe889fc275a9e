"""Which segments are rewritten, and how samples are cut."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bondtrail.samples import Samples, concatenate
from store.layout import CLOSED, FULL, LARGEST, REGION, Region, Segment, cut, plan


def segments(*spans: tuple[int, int, int]) -> list[Segment]:
    """Return segments given as (first, last, samples)."""
    return [Segment(n, 1, *span) for n, span in enumerate(spans)]


DAYS = segments((0, 9, FULL), (10, 19, FULL), (20, 29, FULL))


@pytest.mark.parametrize(
    ("held", "times", "expected"),
    [
        pytest.param([], [1, 2, 3], [Region(0, 0, 0, 3)], id="nothing-there"),
        pytest.param(DAYS, [], [], id="nothing-new"),
        pytest.param(DAYS, [30, 31], [Region(3, 3, 0, 2)], id="past-the-end"),
        pytest.param(DAYS, [-2, -1], [Region(0, 0, 0, 2)], id="before-the-start"),
        pytest.param(DAYS, [15], [Region(1, 2, 0, 1)], id="one-late-sample-one-segment"),
        pytest.param(DAYS, [9], [Region(0, 1, 0, 1)], id="on-the-last-sample"),
        pytest.param(DAYS, [10], [Region(1, 2, 0, 1)], id="on-the-first-sample"),
        pytest.param(
            DAYS, [5, 25], [Region(0, 1, 0, 1), Region(2, 3, 1, 2)], id="what-lies-between-stays"
        ),
        pytest.param(DAYS, [5, 15], [Region(0, 2, 0, 2)], id="neighbours-together"),
        pytest.param(DAYS, [25, 35], [Region(2, 3, 0, 2)], id="late-and-past-the-end"),
        pytest.param(
            segments((0, 9, CLOSED), (20, 29, FULL)), [12], [Region(1, 1, 0, 1)], id="into-a-gap"
        ),
        pytest.param(
            segments((0, 9, FULL), (10, 12, 3)),
            [13, 14, 15],
            [Region(1, 2, 0, 3)],
            id="swallows-what-is-no-larger",
        ),
        pytest.param(
            segments((0, 9, FULL), (10, 13, 4)),
            [14, 15, 16],
            [Region(2, 2, 0, 3)],
            id="leaves-what-is-larger",
        ),
        pytest.param(
            segments((0, 9, 7), (10, 13, 4), (14, 15, 2)),
            [16, 17],
            [Region(0, 3, 0, 2)],
            id="swallows-on-as-it-grows",
        ),
        pytest.param(
            segments((10, 11, 2), (12, 15, 3)), [1, 2], [Region(0, 2, 0, 2)], id="to-the-right-too"
        ),
        pytest.param(
            segments((0, 9, CLOSED - 1)),
            list(range(10, 10 + CLOSED)),
            [Region(0, 1, 0, CLOSED)],
            id="open-until-three-quarters-of-a-day",
        ),
        pytest.param(
            segments((0, 9, CLOSED)),
            list(range(10, 10 + CLOSED)),
            [Region(1, 1, 0, CLOSED)],
            id="closed-from-three-quarters-of-a-day",
        ),
    ],
)
def test_what_is_rewritten(held: list[Segment], times: list[int], expected: list[Region]) -> None:
    assert plan(held, np.array(times, np.int64)) == expected


def test_neighbours_are_rewritten_together_only_as_far_as_memory_goes() -> None:
    year = segments(*((10 * n, 10 * n + 9, FULL) for n in range(365)))
    regions = plan(year, np.arange(0, 3650, 10))
    assert all(region.high - region.low <= REGION // FULL for region in regions)
    assert sum(region.high - region.low for region in regions) == 365


@given(
    gaps=st.lists(st.tuples(st.integers(1, 5), st.integers(0, 5), st.integers(1, 9)), max_size=12),
    times=st.sets(st.integers(-5, 120)).map(sorted),
)
def test_regions_take_every_new_sample_once_and_no_segment_twice(
    gaps: list[tuple[int, int, int]], times: list[int]
) -> None:
    held, last = [], 0
    for gap, length, samples in gaps:
        held.append((last + gap, last + gap + length, samples))
        last += gap + length
    regions = plan(segments(*held), np.array(times, np.int64))
    edges = [0, *(edge for region in regions for edge in (region.a, region.b)), len(times)]
    assert all(one == other for one, other in zip(edges[::2], edges[1::2], strict=True))
    assert all(one.high <= other.low for one, other in pairwise(regions))
    for region in regions:  # what is left alone lies outside of what is rewritten
        mine = [*times[region.a : region.b]]
        mine += [
            edge for first, last, _ in held[region.low : region.high] for edge in (first, last)
        ]
        before, after = held[: region.low], held[region.high :]
        assert all(last < min(mine) for _, last, _ in before)
        assert all(first > max(mine) for first, _, _ in after)


@pytest.mark.parametrize(
    ("size", "pieces"),
    [
        pytest.param(0, [], id="none"),
        pytest.param(1, [1], id="one"),
        pytest.param(LARGEST, [LARGEST], id="a-day-and-a-half"),
        pytest.param(LARGEST + 1, [FULL, LARGEST + 1 - FULL], id="more"),
        pytest.param(5 * FULL, [FULL] * 5, id="whole-days"),
    ],
)
def test_samples_are_cut_into_days(size: int, pieces: list[int]) -> None:
    samples = Samples.of(np.arange(size), np.zeros(size))
    assert [len(piece) for piece in cut(samples)] == pieces
    assert np.array_equal(concatenate(cut(samples)).time, samples.time)


@pytest.mark.parametrize("piece", [1, 60, 1000, 50_000])
def test_samples_that_come_in_pieces_are_rewritten_a_handful_of_times(piece: int) -> None:
    """Play a point that grows by equal pieces, by metadata alone, up to some days."""
    held: list[Segment] = []
    written, last = 0, min(3 * FULL, 4000 * piece)
    for first in range(0, last, piece):
        time = np.arange(first, min(first + piece, last))
        for region in plan(held[-20:], time):
            skip = len(held) - len(held[-20:])
            old = held[skip + region.low : skip + region.high]
            size = sum(segment.samples for segment in old) + time.size
            begin = old[0].first if old else first
            held[skip + region.low : skip + region.high] = [
                Segment(0, 1, int(part.time[0]), int(part.time[-1]), len(part))
                for part in cut(Samples.of(np.arange(begin, begin + size), np.zeros(size)))
            ]
            written += size
    assert sum(segment.samples for segment in held) == last
    assert written <= last * (2 + np.log2(FULL / piece))
    assert sum(segment.samples < CLOSED for segment in held) <= 17
