"""Hookups over time and trips by cause."""

from __future__ import annotations

import numpy as np
import pytest

from bondtrail.results import Hookup, HookupCause, Outcome, TripCause
from dashboard.figures import palette
from dashboard.figures.resistance import FLOOR_OHM
from dashboard.figures.steps import Clock
from dashboard.figures.trend import hookup_trend, trips_by_cause

S = 1_000_000_000
CLOCK = Clock(3600 * S, "Europe/Lisbon, UTC+01:00")


def hookup(at_s: int, lowest: float | None, median: float | None, failed: bool = False) -> Hookup:
    outcome = Outcome.FAILED if failed else Outcome.VERIFIED
    cause = HookupCause.LAYER if failed else None
    return Hookup("rail-1", at_s * S, (at_s + 60) * S, outcome, 2.0, lowest, median, cause)


def test_verified_hookups_show_their_median_and_failed_ones_their_lowest() -> None:
    figure = hookup_trend(
        [hookup(0, 3.0, 4.0), hookup(100, 600.0, 700.0, failed=True)], 10.0, CLOCK
    )
    verified, failed = figure.data
    assert verified.y.tolist() == [4.0]
    assert failed.y.tolist() == [600.0]
    assert failed.marker.symbol != verified.marker.symbol
    assert verified.x.tolist() == [3_600_000.0]


def test_the_axis_is_logarithmic_and_has_the_limit() -> None:
    figure = hookup_trend([hookup(0, 3.0, 4.0)], 12.5, CLOCK)
    assert figure.layout.yaxis.type == "log"
    assert figure.layout.shapes[0].y0 == 12.5
    assert "limit 12.5 ohm" in figure.layout.annotations[0].text
    assert "Europe/Lisbon" in figure.layout.xaxis.title.text


def test_a_hookup_without_a_reading_is_left_out_and_zero_is_drawn_at_the_floor() -> None:
    figure = hookup_trend([hookup(0, None, None), hookup(9, 0.0, 0.0)], 10.0, CLOCK)
    assert figure.data[0].y.tolist() == [FLOOR_OHM]


def test_no_hookups_make_an_empty_figure() -> None:
    assert all(len(trace.x) == 0 for trace in hookup_trend([], 10.0, CLOCK).data)


def test_nuisance_causes_are_coloured_and_say_so() -> None:
    counts = {TripCause.CLAMP_OFF: 2, TripCause.BRIEF_CONTACT_LOSS: 7}
    (bar,) = trips_by_cause(counts, frozenset({TripCause.BRIEF_CONTACT_LOSS})).data
    assert bar.y == ("clamp off", "brief contact loss (nuisance)")
    assert np.array_equal(bar.x, [2, 7])
    assert bar.marker.color == (palette.LINE, palette.ORANGE)


@pytest.mark.parametrize(("most", "step"), [(1, 1), (6, 1), (7, 2), (100, 17)])
def test_trips_are_counted_in_whole_steps(most: int, step: int) -> None:
    assert trips_by_cause({TripCause.CLAMP_OFF: most}, frozenset()).layout.xaxis.dtick == step
