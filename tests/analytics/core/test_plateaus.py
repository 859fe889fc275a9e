"""Where a rate settles, and where on another."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.core.plateaus import MOST_STEPS, Plateau, plateaus
from analytics.core.spans import NOWHERE
from bondtrail.samples import Samples
from tests.analytics.core.build import Stretch, held, ns, spans


@pytest.mark.parametrize(
    ("rates", "expected"),
    [
        pytest.param([(60, 800)], [(0, 800)], id="steady-at-once"),
        pytest.param([(9, 800)], [], id="too-short-to-settle"),
        pytest.param([(10, 800)], [(0, 800)], id="just-long-enough"),
        pytest.param([(20, 400), (40, 800)], [(0, 400), (20, 800)], id="two-plateaus"),
        pytest.param([(20, 700), (40, 800)], [(0, 700)], id="a-seventh-more-is-no-other"),
        pytest.param([(20, 800), (3, 100), (40, 800)], [(0, 800)], id="a-dip-does-not-settle"),
        pytest.param([(5, 100), (4, 300), (30, 900)], [(9, 900)], id="a-ramp-then-steady"),
        pytest.param(
            [(20, 400), (20, 800), (20, 400)],
            [(0, 400), (20, 800), (40, 400)],
            id="back-again",
        ),
    ],
)
def test_plateaus(rates: list[Stretch], expected: list[tuple[float, float]]) -> None:
    lasts = sum(seconds for seconds, _ in rates)
    found = plateaus(held(*rates), spans((0, lasts)))
    assert [(each.start / ns(1), each.rate) for each in found] == expected


def test_a_rate_that_never_rests_settles_on_nothing() -> None:
    rates = [(1.0, 300.0 if n % 2 else 900.0) for n in range(120)]
    assert plateaus(held(*rates), spans((0, 120))) == []


def test_each_run_settles_by_itself_and_a_plateau_begins_with_a_reading() -> None:
    flow = held((30, 800), (30, 0), (30, 800), start=0.25)
    found = plateaus(flow, spans((0.25, 30.25), (60.25, 90.25)))
    assert found == [Plateau(ns(0.25), 800), Plateau(ns(60.25), 800)]


def test_readings_on_change_are_read_as_they_hold() -> None:
    flow = Samples.of([0, ns(50)], [400.0, 800.0])
    assert [each.start / ns(1) for each in plateaus(flow, spans((0, 100)))] == [0, 50]


@pytest.mark.parametrize("flow", [Samples.empty(), Samples.of([0], [800.0])])
def test_nothing_settles_without_readings_or_runs(flow: Samples) -> None:
    assert plateaus(flow, NOWHERE) == []
    assert plateaus(Samples.empty(), spans((0, 100))) == []


def test_a_day_at_ten_a_second_is_told_from_few_steps() -> None:
    time = np.arange(24 * 36_000) * ns(0.1)
    rate = np.where(time < ns(3600), 400.0, 800.0)
    found = plateaus(Samples.of(time, rate), spans((0, 24 * 3600)))
    assert [each.rate for each in found] == [400, 800]
    assert abs(found[1].start / ns(1) - 3600) <= 24 * 3600 / MOST_STEPS
