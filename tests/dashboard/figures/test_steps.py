"""Steps hold their value until the next sample, and stop where nothing is known."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from bondtrail.samples import Samples
from dashboard.figures.steps import Clock, boxes, inside, line, steps

S = 1_000_000_000
UTC = Clock(0, "UTC")
STALE = 5 * S
NAN = float("nan")


def drawn(
    times_s: list[float], values: list[float], quality: list[int] | None = None, end_s: float = 100
):  # type: ignore[no-untyped-def]
    samples = Samples.of([round(t * S) for t in times_s], values, quality)
    states = np.isinf(samples.value).astype(np.int64)
    return steps(samples, states, STALE, round(end_s * S))


def points(times_s, values, quality=None, end_s=100):  # type: ignore[no-untyped-def]
    x, y = line(drawn(times_s, values, quality, end_s), UTC)
    return (x / 1000).tolist(), y.tolist()


@pytest.mark.parametrize(
    ("times", "values", "quality", "end", "x", "y"),
    [
        pytest.param([], [], None, 9, [], [], id="no samples"),
        pytest.param([1, 3], [4, 5], None, 7, [1, 3, 3, 7], [4, 4, 5, 5], id="holds to the end"),
        pytest.param([1], [4], None, 50, [1, 6], [4, 4], id="goes stale"),
        pytest.param(
            [1, 20], [4, 5], None, 50, [1, 6, NAN, 20, 25], [4, 4, NAN, 5, 5], id="a silence parts"
        ),
        pytest.param(
            [1, 6], [4, 5], None, 9, [1, 6, 6, 9], [4, 4, 5, 5], id="exactly as long as it holds"
        ),
        pytest.param(
            [1, 2, 3], [4, 9, 5], [0, 2, 0], 4, [1, 2, NAN, 3, 4], [4, 4, NAN, 5, 5], id="bad parts"
        ),
        pytest.param([1, 9], [4, 5], None, 9, [1, 6], [4, 4], id="nothing from the end on"),
    ],
)
def test_line(times, values, quality, end, x, y) -> None:  # type: ignore[no-untyped-def]
    got_x, got_y = points(times, values, quality, end)
    np.testing.assert_array_equal(got_x, x)
    np.testing.assert_array_equal(got_y, y)


def test_only_some_of_the_steps_are_parted_where_others_lie_between() -> None:
    shown = drawn([1, 2, 3], [4.0, np.inf, 5.0], end_s=4)
    x, y = line(shown, UTC, shown.state == 0)
    np.testing.assert_array_equal(x / 1000, [1, 2, NAN, 3, 4])
    np.testing.assert_array_equal(y, [4, 4, NAN, 5, 5])


def test_a_thinned_series_has_no_holes_that_the_readings_have_not() -> None:
    times = list(range(1000))
    samples = Samples.of([t * S for t in times], np.arange(1000) % 7)
    thin_steps = steps(samples, np.zeros(1000, int), STALE, 1000 * S, buckets=10)
    _, y = line(thin_steps, UTC)
    assert thin_steps.time.size < 100
    assert not np.isnan(y).any()
    assert (thin_steps.until[:-1] == thin_steps.time[1:]).all()


def test_a_thinned_series_keeps_its_silences() -> None:
    times = [t for t in range(1000) if not 400 <= t < 500]
    samples = Samples.of([t * S for t in times], np.arange(len(times)) % 7)
    thin_steps = steps(samples, np.zeros(len(times), int), STALE, 1000 * S, buckets=10)
    x, y = line(thin_steps, UTC)
    assert np.isnan(y).sum() == 1
    at = int(np.flatnonzero(np.isnan(y))[0])
    assert (x[at - 1] / 1000, x[at + 1] / 1000) == (404, 500)


def test_boxes_are_closed_and_parted() -> None:
    x, y = boxes([(S, 3 * S), (5 * S, 6 * S)], UTC, 1.0, 9.0)
    np.testing.assert_array_equal(x / 1000, [1, 1, 3, 3, 1, NAN, 5, 5, 6, 6, 5, NAN])
    np.testing.assert_array_equal(y, [1, 9, 9, 1, 1, NAN] * 2)
    assert boxes([], UTC, 1, 9)[0].size == 0


def test_the_clock_shows_site_time_with_its_offset() -> None:
    lisbon = Clock(3600 * S, "Europe/Lisbon, UTC+01:00")
    moment = round(dt.datetime(2026, 7, 1, 6, 15, 30, 250_000, dt.UTC).timestamp() * 1000) * 10**6
    assert lisbon.text(moment) == "07:15:30"
    assert lisbon.text(moment, "%d %b %H:%M:%S.%L") == "01 Jul 07:15:30.250"
    as_axis = dt.datetime.fromtimestamp(float(lisbon.axis(moment)) / 1000, dt.UTC)
    assert f"{as_axis:%H:%M:%S.%f}" == "07:15:30.250000"


@pytest.mark.parametrize(
    ("spans", "expected"),
    [
        pytest.param([], [], id="none"),
        pytest.param([(0, 100)], [(1, 3, 4.0), (3, 7, 5.0)], id="all"),
        pytest.param([(2, 4)], [(2, 3, 4.0), (3, 4, 5.0)], id="across a sample"),
        pytest.param([(3, 7)], [(3, 7, 5.0)], id="exactly one step"),
        pytest.param([(1, 2), (6, 9)], [(1, 2, 4.0), (6, 7, 5.0)], id="two, one beyond the end"),
        pytest.param([(0, 1), (7, 9)], [], id="only beside"),
    ],
)
def test_inside(spans: list[tuple[int, int]], expected: list[tuple[int, int, float]]) -> None:
    chosen = np.array(spans, np.int64).reshape(-1, 2) * S
    parts = inside(drawn([1, 3], [4.0, 5.0], end_s=7), chosen)
    told = zip(parts.time // S, parts.until // S, parts.value, strict=True)
    assert list(told) == expected


def test_inside_leaves_silences_out() -> None:
    parts = inside(drawn([1, 20], [4.0, 5.0], end_s=50), np.array([[0, 30 * S]]))
    assert (parts.time // S).tolist() == [1, 20]
    assert (parts.until // S).tolist() == [6, 25]
