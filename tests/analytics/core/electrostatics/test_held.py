"""The value of a signal over time."""

from __future__ import annotations

import math

import numpy as np
import pytest

from analytics.core.electrostatics.held import held
from bondtrail.samples import Samples
from tests.analytics.core.build import S, moments, ns

UNKNOWN = "?"
Row = tuple[float, float, int]


def over(
    rows: list[Row], span: tuple[float, float], stale_s: float = 5
) -> list[tuple[float, object]]:
    """When each value begins, and the value."""
    times, values, quality = zip(*rows, strict=True) if rows else ((), (), ())
    samples = Samples.of([ns(time) for time in times], values, quality)
    line = held(samples, ns(stale_s), (ns(span[0]), ns(span[1])))
    assert line.edges[0] == ns(span[0])
    assert line.edges[-1] == ns(span[1])
    told = [UNKNOWN if math.isnan(value) else value for value in line.value.tolist()]
    return list(zip((line.edges[:-1] / S).tolist(), told, strict=True))


@pytest.mark.parametrize(
    ("rows", "span", "expected"),
    [
        pytest.param([], (0, 9), [(0, UNKNOWN)], id="no-samples"),
        pytest.param([(0, 7, 0)], (0, 5), [(0, 7)], id="holds-as-long-as-it-is-fresh"),
        pytest.param([(0, 7, 0)], (0, 9), [(0, 7), (5, UNKNOWN)], id="goes-stale"),
        pytest.param([(2, 7, 0)], (0, 4), [(0, UNKNOWN), (2, 7)], id="unknown-before-the-first"),
        pytest.param([(0, 7, 0), (3, 8, 0)], (0, 6), [(0, 7), (3, 8)], id="until-the-next"),
        pytest.param([(0, 7, 0), (3, 7, 0)], (0, 6), [(0, 7)], id="alike-are-one"),
        pytest.param([(0, 7, 0), (3, 7, 0)], (2, 6), [(2, 7)], id="from-before-the-span"),
        pytest.param([(0, 7, 0)], (6, 9), [(6, UNKNOWN)], id="stale-before-the-span"),
        pytest.param([(0, 7, 0), (9, 8, 0)], (0, 9), [(0, 7), (5, UNKNOWN)], id="end-is-outside"),
        pytest.param(
            [(0, 7, 0), (1, 7, 2), (2, 8, 1)],
            (0, 4),
            [(0, 7), (1, UNKNOWN), (2, 8)],
            id="bad-is-unknown-and-uncertain-is-not",
        ),
        pytest.param([(0, math.inf, 0)], (0, 3), [(0, math.inf)], id="open"),
        pytest.param([(0, 7, 0), (8, 7, 0)], (0, 9), [(0, 7), (5, UNKNOWN), (8, 7)], id="a-gap"),
    ],
)
def test_held(rows: list[Row], span: tuple[float, float], expected: list[object]) -> None:
    assert over(rows, span) == expected


def test_value_at_moments() -> None:
    line = held(Samples.of([0, ns(3)], [7, 8]), ns(5), (0, ns(9)))
    found = line.at(moments(0, 2.9, 3, 7.9, 8))
    np.testing.assert_array_equal(found, [7, 7, 8, 8, np.nan])
