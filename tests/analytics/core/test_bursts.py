"""Signals that change without rest are told as one."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.core.bursts import LEAST_CHANGES, MOST_CHANGES, bursts
from analytics.core.runs import Timeline
from tests.analytics.core.build import ns, pairs


def flicker(*stretches: tuple[int, float]) -> Timeline:
    """States that take turns: so many, each so many seconds long."""
    lasts = np.concatenate([np.full(count, ns(each)) for count, each in stretches])
    edges = np.concatenate(([0], np.cumsum(lasts)))
    return Timeline(edges, (np.arange(lasts.size) % 2).astype(np.uint8))


@pytest.mark.parametrize(
    "line",
    [
        pytest.param(flicker((1, 5)), id="no-change"),
        pytest.param(flicker((MOST_CHANGES + 1, 1)), id="as-many-as-are-told"),
        pytest.param(flicker((MOST_CHANGES + 2, 10)), id="many-but-each-long-enough"),
        pytest.param(
            flicker(*[(LEAST_CHANGES - 1, 1), (1, 60)] * 60), id="many-but-never-so-many-in-a-row"
        ),
    ],
)
def test_every_change_is_told(line: Timeline) -> None:
    found = bursts(line)
    assert len(found.spans) == 0
    assert not found.hide(line.edges[:-1]).any()


def test_a_burst_hides_all_but_its_first_change_and_the_first_after_it() -> None:
    line = flicker((1, 60), (1200, 1), (2, 60))
    found = bursts(line)
    assert pairs(found.spans) == [(60, 1260)]
    assert found.changes.tolist() == [1201]  # 1200 short states lie between so many changes
    shown = line.edges[:-1][~found.hide(line.edges[:-1])]
    assert (shown / ns(1)).tolist() == [0, 60, 1260, 1320]


def test_what_holds_at_the_start_is_no_change() -> None:
    found = bursts(flicker((1500, 1)))
    assert pairs(found.spans) == [(1, 1500)]
    assert found.changes.tolist() == [1499]  # nor is where the span ends
