"""The mean cumulative function of systems watched for different times."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.core.histories import history
from analytics.core.mean_cumulative import mean_cumulative_function
from tests.analytics.core.published import FIVE_SYSTEMS


def test_mean_matches_the_reliability_package() -> None:
    # `MCF_nonparametric` of the package reliability 0.9.0 on its data set MCF_1. It prints a row
    # per event; ours is one per time, the last of its rows there.
    found = mean_cumulative_function([history(row[:-1], row[-1]) for row in FIVE_SYSTEMS])
    assert found.times.tolist() == [5, 6, 10, 12, 13, 15, 16, 17, 20, 22, 25]
    assert found.watched.tolist() == [5, 5, 5, 5, 5, 5, 5, 5, 3, 3, 2]
    expected = [0.2, 0.4, 0.6, 0.8, 1.2, 1.6, 1.8, 2.0, 2.3333333, 2.6666667, 3.6666667]
    assert found.mean == pytest.approx(expected, abs=5e-8)


def test_a_small_case_worked_by_hand() -> None:
    # Three systems until 10, 6 and 4, events at 1 and 5, at 5, and at none.
    # At 1: 3 are watched, the mean is 1/3. Each adds (1 - 1/3)/3, (0 - 1/3)/3 twice:
    # 2/9, -1/9, -1/9; squares add up to 6/81.
    # At 5: 2 are watched with an event each, the mean rises by 1 to 4/3; each adds (1 - 1)/2 = 0.
    found = mean_cumulative_function([history([1, 5], 10), history([5], 6), history([], 4)])
    assert found.mean == pytest.approx([1 / 3, 4 / 3])
    assert found.watched.tolist() == [3, 2]
    assert found.variance == pytest.approx([6 / 81, 6 / 81])
    # exp(1.959964 * sqrt(6/81) / (1/3)) = 4.95454 either way.
    assert found.low[0] == pytest.approx((1 / 3) / 4.95454, rel=1e-4)
    assert found.high[0] == pytest.approx((1 / 3) * 4.95454, rel=1e-4)


def test_of_equally_long_histories_the_variance_is_that_of_their_counts() -> None:
    counts = [0, 1, 5, 2]
    histories = [history(np.linspace(1, 9, count).tolist(), 10) for count in counts]
    found = mean_cumulative_function(histories)
    assert found.mean[-1] == pytest.approx(np.mean(counts))
    assert found.variance[-1] == pytest.approx(np.var(counts) / len(counts))


def test_a_wider_interval_is_asked_for_by_its_confidence() -> None:
    histories = [history(row[:-1], row[-1]) for row in FIVE_SYSTEMS]
    usual = mean_cumulative_function(histories)
    wide = mean_cumulative_function(histories, confidence=0.99)
    assert (wide.low < usual.low).all()
    assert (wide.high > usual.high).all()


@pytest.mark.parametrize(
    "histories",
    [pytest.param([], id="no-system"), pytest.param([history([], 3)], id="no-event")],
)
def test_nothing_has_no_steps(histories: list) -> None:  # type: ignore[type-arg]
    found = mean_cumulative_function(histories)
    assert found.times.size == found.mean.size == found.low.size == 0


def test_an_interval_holds_the_true_mean_as_often_as_it_says() -> None:
    # 300 sets of 40 steady systems: about 95 %, a little less as the normal law is approximate.
    rng = np.random.default_rng(7)
    held = 0
    for _ in range(300):
        ends = rng.uniform(0.5, 1.5, size=40)
        histories = [
            history(rng.uniform(0, end, rng.poisson(4 * end)).tolist(), end) for end in ends
        ]
        found = mean_cumulative_function(histories)
        at = int(found.times.searchsorted(0.5)) - 1
        held += bool(found.low[at] <= 2.0 <= found.high[at])
    assert 0.90 <= held / 300 <= 0.985
