"""Clusters of bond losses."""

from __future__ import annotations

import pytest

from analytics.core.chattering import clusters
from tests.analytics.core.build import moments, ns

Cluster = tuple[float, float, int]


def found(lost: list[float], count: int = 3, window_s: float = 60) -> list[Cluster]:
    return [(a / 1e9, b / 1e9, n) for a, b, n in clusters(moments(*lost), count, ns(window_s))]


@pytest.mark.parametrize(
    ("lost", "expected"),
    [
        pytest.param([], [], id="no-losses"),
        pytest.param([0, 1], [], id="one-too-few"),
        pytest.param([0, 30, 60], [(0, 60, 3)], id="exactly-within-the-window"),
        pytest.param([0, 30, 60.001], [], id="a-moment-too-far-apart"),
        pytest.param([5, 6, 7, 8], [(5, 8, 4)], id="more-than-enough-are-one"),
        pytest.param(
            [0, 40, 50, 90, 100], [(0, 100, 5)], id="consecutive-ones-that-overlap-are-one"
        ),
        pytest.param([0, 10, 50, 60, 100], [(0, 100, 5)], id="sharing-one-loss-are-one"),
        pytest.param([0, 1, 2, 200, 201, 202], [(0, 2, 3), (200, 202, 3)], id="apart-are-two"),
        pytest.param([0, 100, 200, 201, 202], [(200, 202, 3)], id="lone-losses-left-out"),
        pytest.param(
            [0, 1, 2, 62.5, 63, 64], [(0, 2, 3), (62.5, 64, 3)], id="close-but-no-loss-between"
        ),
    ],
)
def test_clusters(lost: list[float], expected: list[Cluster]) -> None:
    assert found(lost) == expected


def test_two_may_be_enough() -> None:
    assert found([0, 10, 50], count=2, window_s=10) == [(0, 10, 2)]
