"""Histories of events, before any statistic is made of them."""

from __future__ import annotations

import math

import pytest

from analytics.core.histories import EARLIEST, history


def test_times_are_put_in_order() -> None:
    assert history([3, 1, 2], 10).times.tolist() == [1.0, 2.0, 3.0]


def test_an_event_at_the_very_start_is_moved_just_off_it() -> None:
    assert history([0, 4], 10).times.tolist() == [EARLIEST * 10, 4.0]


def test_the_last_event_is_not_inside_a_history_that_it_ends() -> None:
    watched = history([1, 4], 4)
    assert watched.inner.tolist() == [1.0, 4.0]
    assert history([1, 4], 4, ends_with_event=True).inner.tolist() == [1.0]


@pytest.mark.parametrize(
    ("times", "end", "ends_with_event", "wrong"),
    [
        pytest.param([1], 0, False, "end must be above 0, got 0", id="no-time"),
        pytest.param([1], math.inf, False, "end must be above 0, got inf", id="endless"),
        pytest.param([1], math.nan, False, "end must be above 0, got nan", id="end-not-a-number"),
        pytest.param([-1, 2], 4, False, r"times must lie in 0 \.\. 4, got -1", id="before"),
        pytest.param([1, 5], 4, False, r"times must lie in 0 \.\. 4, got 1.0 \.\. 5", id="after"),
        pytest.param([1, math.nan], 4, False, "times must lie in 0", id="not-a-number"),
        pytest.param([1, 3], 4, True, "needs one at 4", id="ends-without-the-event"),
        pytest.param([], 4, True, "needs one at 4", id="ends-with-no-event"),
    ],
)
def test_what_cannot_be_a_history_is_refused(
    times: list[float], end: float, ends_with_event: bool, wrong: str
) -> None:
    with pytest.raises(ValueError, match=wrong):
        history(times, end, ends_with_event=ends_with_event)
