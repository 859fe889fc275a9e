"""Points that fell silent: told once, and again when they speak."""

from __future__ import annotations

import logging

import pytest

from analytics.schedule.silence import MOST_TOLD, Watch, silent
from analytics.schedule.turn import Turn
from bondtrail.metrics import Metrics
from bondtrail.samples import Samples
from bondtrail.site import Site, parse_site
from bondtrail.times import NS_PER_S
from store import Store
from tests.analytics.workdays import site

S = NS_PER_S
BEGIN = 1_772_438_400 * S
SITE = parse_site(
    """
schema = 1
[site]
id = "pier"
name = "Pier (invented)"
timezone = "Europe/Lisbon"
[[station]]
id = "spot"
name = "Spot (invented)"
kind = "rail_tank_car"
[station.points]
resistance = { stale_after_s = 5 }
permissive = { stale_after_s = 7200 }
flow = { stale_after_s = 5 }
"""
)
ALL_SILENT = {"spot.resistance", "spot.permissive", "spot.flow"}


@pytest.mark.parametrize(
    ("after_s", "expected"),
    [
        pytest.param(0, set(), id="at-the-reading"),
        pytest.param(4.999, set(), id="just-before"),
        pytest.param(5, {"spot.resistance", "spot.flow"}, id="exactly-then"),
        pytest.param(7199, {"spot.resistance", "spot.flow"}, id="each-by-its-own-time"),
        pytest.param(7200, ALL_SILENT, id="all"),
        pytest.param(-30, set(), id="a-reading-yet-to-come"),
    ],
)
def test_a_point_is_silent_once_its_last_reading_no_longer_holds(
    after_s: float, expected: set[str]
) -> None:
    last = dict.fromkeys(ALL_SILENT, BEGIN)
    assert silent(SITE.points(), last, BEGIN + round(after_s * S)) == expected


def test_a_point_that_was_never_heard_is_not_silent() -> None:
    assert silent(SITE.points(), {"spot.flow": BEGIN, "gone.flow": BEGIN}, BEGIN + 60 * S) == {
        "spot.flow"
    }


def heard(store: Store, second: int, *points: str) -> None:
    sample = Samples.of([BEGIN + second * S], [1.0])
    store.write(dict.fromkeys(points, sample))


def look(watch: Watch, store: Store, second: int) -> str:
    now = BEGIN + second * S
    return watch.look(Turn(store, now, lambda: now, lambda: False))


@pytest.fixture
def metrics() -> Metrics:
    return Metrics()


def gauge(metrics: Metrics) -> float | None:
    return metrics.registry.get_sample_value("bondtrail_silent_points")


@pytest.fixture(autouse=True)
def _all_is_logged(caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.INFO)


def told(caplog: pytest.LogCaptureFixture) -> list[str]:
    lines = [record.getMessage() for record in caplog.records]
    caplog.clear()
    return lines


def test_each_change_is_told_once(
    store: Store, metrics: Metrics, caplog: pytest.LogCaptureFixture
) -> None:
    store.put_site(SITE, 0)
    heard(store, 0, "spot.resistance", "spot.flow")
    watch = Watch(metrics)
    assert look(watch, store, 1) == "0 of 2 points that were heard are silent"
    assert told(caplog) == []
    heard(store, 10, "spot.resistance")
    assert look(watch, store, 11) == "1 of 2 points that were heard are silent"
    assert told(caplog) == [
        "spot.flow fell silent: its last reading, of 2026-03-02T08:00:00.000Z, no longer holds"
    ]
    assert gauge(metrics) == 1
    look(watch, store, 12)
    assert told(caplog) == []
    heard(store, 13, "spot.flow")
    look(watch, store, 14)
    assert told(caplog) == ["spot.flow speaks again"]
    assert gauge(metrics) == 0


def test_what_is_silent_as_it_begins_is_counted(
    store: Store, metrics: Metrics, caplog: pytest.LogCaptureFixture
) -> None:
    store.put_site(SITE, 0)
    heard(store, 0, "spot.resistance", "spot.flow")
    look(Watch(metrics), store, 60)
    assert told(caplog) == ["2 points silent as the watch begins"]


def test_without_a_site_file_nothing_is_watched(store: Store, metrics: Metrics) -> None:
    heard(store, 0, "spot.flow")
    assert look(Watch(metrics), store, 60) == "0 of 0 points that were heard are silent"


def test_many_at_once_are_told_in_few_lines(
    store: Store, metrics: Metrics, caplog: pytest.LogCaptureFixture
) -> None:
    names = [f"spot-{n}" for n in range(30)]
    many: Site = site(*names, stale_s=5, points=["flow"])
    store.put_site(many, 0)
    heard(store, 0, *(f"{name}.flow" for name in names))
    watch = Watch(metrics)
    look(watch, store, 1)
    look(watch, store, 60)
    lines = told(caplog)
    assert len(lines) == MOST_TOLD + 1
    assert lines[-1] == "10 more fell silent"
