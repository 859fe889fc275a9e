"""How much product flowed."""

from __future__ import annotations

import pytest

from analytics.core.volumes import FlowMeter
from bondtrail.samples import Samples
from tests.analytics.core.build import Pair, ns, spans

Row = tuple[float, float, int]


def amount(rows: list[Row], *asked: Pair, stale_s: float = 5) -> list[float]:
    times, values, quality = zip(*rows, strict=True) if rows else ((), (), ())
    flow = Samples.of([ns(time) for time in times], values, quality)
    return FlowMeter.of(flow, ns(stale_s)).amounts(spans(*asked))


@pytest.mark.parametrize(
    ("rows", "asked", "expected"),
    [
        # 60 per minute is one litre each second
        pytest.param([], (0, 10), 0.0, id="no-samples"),
        pytest.param([(0, 60, 0)], (0, 3), 3.0, id="one-sample-in-force"),
        pytest.param([(0, 60, 0)], (0, 5), 5.0, id="exactly-as-long-as-it-is-fresh"),
        pytest.param([(0, 60, 0)], (0, 9), 5.0, id="no-longer-than-it-is-fresh"),
        pytest.param([(0, 60, 0), (2, 120, 0)], (0, 4), 6.0, id="each-until-the-next"),
        pytest.param([(0, 60, 0), (2, 120, 0)], (1, 3), 3.0, id="cut-on-both-sides"),
        pytest.param([(0, 60, 0)], (2, 4), 2.0, id="begins-while-a-sample-holds"),
        pytest.param([(0, 60, 0)], (6, 9), 0.0, id="begins-when-it-is-stale"),
        pytest.param([(0, 60, 0)], (3, 9), 2.0, id="goes-stale-inside"),
        pytest.param([(4, 60, 0)], (0, 6), 2.0, id="begins-before-the-first-sample"),
        pytest.param([(9, 60, 0)], (0, 9), 0.0, id="sample-at-the-end-is-outside"),
        pytest.param(
            [(0, 60, 0), (2, 60, 2), (3, 60, 0)], (0, 5), 4.0, id="bad-counts-for-nothing"
        ),
        pytest.param([(0, 60, 1)], (0, 3), 3.0, id="uncertain-counts"),
        pytest.param([(0, 60, 0)], (3, 3), 0.0, id="empty-span"),
    ],
)
def test_amounts(rows: list[Row], asked: Pair, expected: float) -> None:
    assert amount(rows, asked) == [pytest.approx(expected)]


def test_each_span_has_its_own_amount() -> None:
    rows: list[Row] = [(0, 60, 0), (4, 30, 0)]
    assert amount(rows, (0, 2), (4, 6), (20, 30)) == [pytest.approx(x) for x in (2, 1, 0)]
    assert amount(rows) == []


def test_parts_add_up_to_the_whole() -> None:
    rows: list[Row] = [(n * 0.7, 60 + 7 * n, 2 if n == 4 else 0) for n in range(12)]
    parts = amount(rows, (0.2, 1.9), (1.9, 4.4), (4.4, 9.1))
    assert sum(parts) == pytest.approx(amount(rows, (0.2, 9.1))[0])
