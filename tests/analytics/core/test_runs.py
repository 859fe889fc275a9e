"""The step rule: a sample holds until the next, but no longer than it stays fresh."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.core import runs
from analytics.core.runs import (
    BAD_DATA,
    NO_DATA,
    Contact,
    States,
    Timeline,
    joined,
    last_known,
    timeline,
)
from bondtrail.samples import Samples, ValueArray
from tests.analytics.core.build import contact, moments, ns, pairs

ON, OFF, UNKNOWN = int(Contact.ON), int(Contact.OFF), int(Contact.UNKNOWN)
Row = tuple[float, float, int]
"""Second, value, quality."""


def is_on(value: ValueArray) -> States:
    return (value >= 0.5).view(np.uint8)


def runs_of(line: Timeline) -> list[tuple[float, int]]:
    """Each run's beginning in seconds with its state, and then the end with -1."""
    begins = [edge / 1e9 for edge in line.edges.tolist()]
    return list(zip(begins, [*line.state.tolist(), -1], strict=True))


def line_of(rows: list[Row], span: tuple[float, float], stale_s: float = 5) -> Timeline:
    samples = Samples.of(
        [ns(row[0]) for row in rows], [row[1] for row in rows], [row[2] for row in rows]
    )
    return timeline(samples, is_on, ns(stale_s), (ns(span[0]), ns(span[1])))


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        pytest.param([], [(0, NO_DATA), (20, -1)], id="no-samples"),
        pytest.param([(3, 1, 0)], [(0, NO_DATA), (3, ON), (8, NO_DATA), (20, -1)], id="goes-stale"),
        pytest.param(
            [(0, 1, 0), (5, 1, 0)], [(0, ON), (10, NO_DATA), (20, -1)], id="heartbeat-just-in-time"
        ),
        pytest.param(
            [(0, 1, 0), (5.001, 1, 0)],
            [(0, ON), (5, NO_DATA), (5.001, ON), (10.001, NO_DATA), (20, -1)],
            id="heartbeat-a-moment-late",
        ),
        pytest.param(
            [(0, 1, 0), (2, 0, 0)], [(0, ON), (2, OFF), (7, NO_DATA), (20, -1)], id="turns"
        ),
        pytest.param(
            [(0, 1, 0), (2, 1, 2), (4, 1, 0)],
            [(0, ON), (2, BAD_DATA), (4, ON), (9, NO_DATA), (20, -1)],
            id="bad-is-unknown-while-in-force",
        ),
        pytest.param(
            [(0, 1, 1)], [(0, ON), (5, NO_DATA), (20, -1)], id="uncertain-counts-as-known"
        ),
        pytest.param([(-3, 1, 0)], [(0, ON), (2, NO_DATA), (20, -1)], id="holds-into-the-span"),
        pytest.param([(-5, 1, 0)], [(0, NO_DATA), (20, -1)], id="stale-as-the-span-begins"),
        pytest.param([(18, 1, 0)], [(0, NO_DATA), (18, ON), (20, -1)], id="cut-at-the-end"),
        pytest.param([(20, 1, 0)], [(0, NO_DATA), (20, -1)], id="sample-at-the-end-is-outside"),
    ],
)
def test_a_sample_holds_until_the_next_or_until_it_is_stale(
    rows: list[Row], expected: list[tuple[float, int]]
) -> None:
    assert runs_of(line_of(rows, (0, 20))) == expected


@st.composite
def some_samples(draw: st.DrawFn) -> list[Row]:
    times = sorted(draw(st.lists(st.integers(0, 40), max_size=15, unique=True)))
    return [
        (time, draw(st.sampled_from([0.0, 1.0])), draw(st.sampled_from([0, 0, 1, 2])))
        for time in times
    ]


def looked_up(rows: list[Row], second: float, stale_s: float) -> int:
    """Look a moment up sample by sample."""
    past = [row for row in rows if row[0] <= second]
    if not past or second >= past[-1][0] + stale_s:
        return NO_DATA
    return BAD_DATA if past[-1][2] == 2 else int(past[-1][1])


@given(some_samples(), st.integers(1, 12), st.sampled_from([1, 2, 3, 65_536]))
def test_every_moment_is_as_a_look_up_of_its_sample(
    rows: list[Row], stale_s: int, chunk: int
) -> None:
    with pytest.MonkeyPatch.context() as patch:
        # However many samples are taken at a time.
        patch.setattr(runs, "CHUNK", chunk)
        line = line_of(rows, (2, 45), stale_s)
    asked = [2 + n / 2 for n in range(86)]
    assert line.sample(moments(*asked)).tolist() == [looked_up(rows, t, stale_s) for t in asked]
    assert line.edges[[0, -1]].tolist() == [ns(2), ns(45)]
    assert np.all(np.diff(line.edges) > 0)
    assert np.all(line.state[1:] != line.state[:-1])


@pytest.mark.parametrize(
    ("edges", "states", "expected"),
    [
        pytest.param([0, 5], [ON], [(0, ON), (5, -1)], id="one-run"),
        pytest.param([0, 2, 5], [ON, ON], [(0, ON), (5, -1)], id="alike-are-one"),
        pytest.param(
            [0, 2, 2, 5], [ON, OFF, ON], [(0, ON), (5, -1)], id="alike-around-an-empty-run"
        ),
        pytest.param([3, 3], [ON], [(3, -1)], id="nothing-left"),
    ],
)
def test_joined(edges: list[float], states: list[int], expected: list[tuple[float, int]]) -> None:
    assert runs_of(joined(moments(*edges), np.array(states, np.uint8))) == expected


def test_where_takes_several_states_as_one() -> None:
    line = contact("on 2 ? 3 on 1 off 4")
    assert pairs(line.where(ON)) == [(0, 2), (5, 6)]
    assert pairs(line.where(ON, UNKNOWN)) == [(0, 6)]
    assert pairs(line.where()) == []


@pytest.mark.parametrize(
    ("moment", "expected"),
    [
        pytest.param(0, ON, id="first-moment"),
        pytest.param(1.999, ON, id="just-before-a-turn"),
        pytest.param(2, OFF, id="at-a-turn"),
    ],
)
def test_sample_is_half_open(moment: float, expected: int) -> None:
    assert contact("on 2 off 3").sample(moments(moment)).tolist() == [expected]


def test_mapped_joins_what_became_alike() -> None:
    line = contact("on 2 ? 3 off 1").mapped({UNKNOWN: OFF})
    assert runs_of(line) == [(0, ON), (2, OFF), (6, -1)]


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        pytest.param("on 5", [UNKNOWN], id="nothing-before"),
        pytest.param("on 1 off 1", [UNKNOWN, ON], id="right-before"),
        pytest.param("on 1 ? 1 off 1", [UNKNOWN, ON, ON], id="unknown-is-skipped"),
        pytest.param("? 1 off 1 ? 1", [UNKNOWN, UNKNOWN, OFF], id="unknown-first"),
    ],
)
def test_last_known(words: str, expected: list[int]) -> None:
    assert last_known(contact(words), UNKNOWN).tolist() == expected


def test_last_known_of_no_runs_is_empty() -> None:
    nothing = Timeline(moments(0), np.empty(0, np.uint8))
    assert last_known(nothing, UNKNOWN).tolist() == []
