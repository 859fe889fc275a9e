"""Fixed items without their bond, and work that may be behind it."""

from __future__ import annotations

import pytest

from analytics.core.isolation import after_work, isolated
from bondtrail.results import WorkWindow
from tests.analytics.core.build import Pair, ns, pairs, spans

HOUR = 3600


@pytest.mark.parametrize(
    ("not_low", "expected"),
    [
        pytest.param([], [], id="never"),
        pytest.param([(0, 59.999)], [], id="a-moment-too-short"),
        pytest.param([(0, 60)], [(0, 60)], id="exactly-long-enough"),
        pytest.param([(0, 40), (50, 90)], [], id="short-ones-do-not-add-up"),
        pytest.param([(0, 5), (100, 500)], [(100, 500)], id="the-long-one-alone"),
    ],
)
def test_isolated(not_low: list[Pair], expected: list[Pair]) -> None:
    assert pairs(isolated(spans(*not_low), ns(60))) == expected


@pytest.mark.parametrize(
    ("second", "expected"),
    [
        pytest.param(10 * HOUR - 0.001, False, id="just-before-the-work"),
        pytest.param(10 * HOUR, True, id="as-it-begins"),
        pytest.param(12 * HOUR, True, id="as-it-ends"),
        pytest.param(36 * HOUR - 0.001, True, id="just-within-24-h-after"),
        pytest.param(36 * HOUR, False, id="exactly-24-h-after"),
    ],
)
def test_after_work(second: float, expected: bool) -> None:
    window = WorkWindow("dryer", ns(10 * HOUR), ns(12 * HOUR), "clean-down")
    far = WorkWindow("dryer", ns(900 * HOUR), ns(901 * HOUR), "inspection")
    assert after_work(ns(second), [far, window]) is expected


def test_without_work_nothing_is_after_work() -> None:
    assert not after_work(ns(0), [])
