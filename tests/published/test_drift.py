"""Resistance that drifts, steps or stays, through ``show drift`` and ``show findings``."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

import numpy as np
import pytest
import statsmodels.datasets

from tests.published.conftest import Recorded
from tests.published.historian import Historian
from tests.published.readings import (
    DAY,
    HOUR,
    Reading,
    Work,
    hookup,
    idle,
    iso,
    moment,
    site_text,
)

BEGIN = moment("2026-01-05T06:00")
LIMIT_OHM = 10.0


def hooking_up(station: str, ohm: Iterable[float], every: int = DAY) -> Iterator[Reading]:
    """One hookup after another, each at its own resistance."""
    yield from idle(station, BEGIN - HOUR)
    for n, value in enumerate(ohm):
        yield from hookup(station, BEGIN + n * every, round(float(value), 9))


def stretches(told: Historian, station: str) -> list[dict[str, Any]]:
    """Return what ``show drift`` says of a station, in the order of time."""
    return sorted(told.show("drift", "--station", station), key=lambda row: str(row["from"]))


def drifts(told: Historian, station: str) -> list[dict[str, Any]]:
    return told.show("findings", "--station", station, "--kind", "resistance_drift")


PER_OHM = 200.0
"""Flow of the Nile, in 1e8 m3 a year, that is taken as an ohm."""


@pytest.fixture(scope="module")
def flow() -> Any:
    """Annual flow of the Nile at Aswan, 1871 to 1970."""
    return statsmodels.datasets.nile.load().data["volume"].to_numpy()


@pytest.fixture(scope="module")
def nile(historian_of: Recorded, flow: Any) -> Historian:
    readings = [
        *hooking_up("down", flow / PER_OHM),
        # Rising up to the limit, and twice as fast: a drift of that slope would be found.
        *hooking_up("up", LIMIT_OHM + (flow[::-1] - flow.max()) / PER_OHM, DAY // 2),
    ]
    return historian_of(site_text(["down", "up"]), readings)


class TestNile:
    """A level that fell with 1899: a step, though a test for a trend finds one in it too."""

    def test_it_is_a_step_between_1898_and_1899(self, nile: Historian, flow: Any) -> None:
        # From memory the well-known break is that after 1898 (G. W. Cobb, Biometrika 65, 1978).
        # Pettitt's test: K 1617, p 3.591e-7, by its formula over ranks of scipy.
        step, _ = stretches(nile, "down")
        assert (step["kind"], step["hookups"]) == ("step", 100)
        change = step["change_point"]
        assert change["at"] == iso(BEGIN + 28 * DAY)
        assert change["p_value"] == pytest.approx(3.591e-7, rel=1e-3)
        assert change["from_ohm"] == pytest.approx(np.median(flow[:28]) / PER_OHM)
        assert change["to_ohm"] == pytest.approx(np.median(flow[28:]) / PER_OHM)

    def test_trend_and_slope_stand_beside_it(self, nile: Historian) -> None:
        # pymannkendall and scipy: p 3.65826e-5, Sen's slope -2.6 a year, 95 % -3.627907 to
        # -1.428571.
        step, _ = stretches(nile, "down")
        assert step["p_value"] == pytest.approx(3.65826e-5, rel=1e-5)
        slope = step["slope_ohm_per_day"]
        assert slope["value"] == pytest.approx(-2.6 / PER_OHM, rel=1e-6)
        assert slope["low"] == pytest.approx(-3.627907 / PER_OHM, rel=1e-6)
        assert slope["high"] == pytest.approx(-1.428571 / PER_OHM, rel=1e-6)

    def test_what_follows_it_is_level(self, nile: Historian) -> None:
        _, after = stretches(nile, "down")
        assert (after["kind"], after["hookups"], after["latest"]) == ("none", 72, True)
        assert after["from"] == iso(BEGIN + 28 * DAY)

    def test_turned_round_in_time_it_is_a_step_upwards(self, nile: Historian) -> None:
        step, *_ = stretches(nile, "up")
        assert (step["kind"], step["hookups"]) == ("step", 100)
        assert step["change_point"]["at"] == iso(BEGIN + 72 * (DAY // 2))
        assert step["change_point"]["from_ohm"] < step["change_point"]["to_ohm"]

    @pytest.mark.parametrize("station", ["down", "up"])
    def test_no_limit_is_in_sight_and_nothing_is_found(self, nile: Historian, station: str) -> None:
        assert drifts(nile, station) == []
        for row in stretches(nile, station):
            assert set(row["reaches_limit"].values()) == {None}
            assert row["within_90_days"] is False

    def test_words_name_the_step_and_its_day(self, nile: Historian) -> None:
        step, _ = stretches(nile, "down")
        day = dt.date(2026, 1, 5) + dt.timedelta(28)
        assert "step" in step["words"].lower()
        assert str(day) in step["words"]


def wavering(values: Sequence[float] | np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    """Return values that are a tenth of an ohm off, above and below in turn."""
    told = np.asarray(values, np.float64)
    return told + np.where(np.arange(told.size) % 2, 0.1, -0.1)


@pytest.fixture(scope="module")
def made_up(historian_of: Recorded) -> Historian:
    """Our own worked examples, one hookup a day."""
    days = np.arange(60)
    stations = {
        # At 4 + 0.05 * 59 = 6.95 ohm at the last hookup, 61 days before 10 ohm.
        "soon": 4 + 0.05 * days,
        "soon-wavering": wavering(4 + 0.05 * days),
        # At 4.59 ohm at the last hookup, 541 days before 10 ohm.
        "late": 4 + 0.01 * days,
        "level": wavering(np.full(60, 5.0)),
        "falling": 9 - 0.05 * days,
        # Too few hookups to show a trend, then just enough.
        "nineteen": 4 + 0.25 * np.arange(19),
        "twenty": 4 + 0.25 * np.arange(20),
        # Beyond the limit before the end: those hookups fail, and the trend is of the others.
        "cleaned": np.concatenate((4 + 0.08 * days[:40], 4 + 0.08 * days[:30])),
        "not-cleaned": np.concatenate((4 + 0.08 * days[:40], 7.2 + 0.04 * days[:20])),
        "polished": np.concatenate((wavering(np.full(30, 8.0)), wavering(np.full(30, 3.0)))),
    }
    readings = [row for name, ohm in stations.items() for row in hooking_up(name, ohm)]
    work = [
        Work(BEGIN + 39 * DAY + 2 * HOUR, BEGIN + 39 * DAY + 3 * HOUR, name, "clamp jaws cleaned")
        for name in ("cleaned", "not-cleaned")
    ]
    return historian_of(site_text(list(stations)), readings, work)


@pytest.mark.parametrize(
    ("station", "slope", "level", "days"),
    [
        ("soon", 0.05, 6.95, 61.0),
        ("soon-wavering", 0.05, 6.95, 61.0),
        ("twenty", 0.25, 8.75, 5.0),
    ],
)
def test_a_straight_drift_is_found_with_the_day_it_gets_there(
    made_up: Historian, station: str, slope: float, level: float, days: float
) -> None:
    (row,) = stretches(made_up, station)
    assert (row["kind"], row["within_90_days"], row["limit_ohm"]) == ("drift", True, LIMIT_OHM)
    assert row["slope_ohm_per_day"]["value"] == pytest.approx(slope, rel=0.05)
    assert row["slope_ohm_per_day"]["low"] <= slope <= row["slope_ohm_per_day"]["high"]
    assert row["level_ohm"] == pytest.approx(level, abs=0.1)
    reached = row["reaches_limit"]
    assert reached["days"] == pytest.approx(days, abs=3)
    assert reached["earliest_days"] <= reached["days"] <= reached["latest_days"]
    (found,) = drifts(made_up, station)
    assert (found["severity"], found["transfer"], found["start"]) == ("minor", None, iso(BEGIN))
    assert found["evidence"]["reaches_limit_in_days"] == reached["days"]
    assert found["evidence"]["hookups"] == row["hookups"]
    assert found["limits"]["limit_ohm"] == LIMIT_OHM


def test_a_drift_without_scatter_is_told_exactly(made_up: Historian) -> None:
    (row,) = stretches(made_up, "soon")
    slope, reached = row["slope_ohm_per_day"], row["reaches_limit"]
    assert (slope["value"], slope["low"], slope["high"]) == pytest.approx((0.05, 0.05, 0.05))
    assert (row["level_ohm"], reached["days"]) == pytest.approx((6.95, 61.0))
    assert reached["on"] == iso(BEGIN + (59 + 61) * DAY)


def test_a_drift_that_is_far_from_its_limit_is_told_but_not_found(made_up: Historian) -> None:
    (row,) = stretches(made_up, "late")
    assert (row["kind"], row["within_90_days"]) == ("drift", False)
    assert row["reaches_limit"]["days"] == pytest.approx(541.0)
    assert drifts(made_up, "late") == []


@pytest.mark.parametrize("station", ["level", "falling", "nineteen"])
def test_what_does_not_rise_or_is_too_short_is_no_drift(made_up: Historian, station: str) -> None:
    (row,) = stretches(made_up, station)
    assert row["kind"] == "none"
    assert set(row["reaches_limit"].values()) == {None}
    assert drifts(made_up, station) == []


def test_work_that_brought_resistance_down_begins_anew(made_up: Historian) -> None:
    before, after = stretches(made_up, "cleaned")
    assert (before["hookups"], before["latest"]) == (40, False)
    assert (after["hookups"], after["latest"]) == (30, True)
    assert after["from"] == iso(BEGIN + 40 * DAY)
    for row in (before, after):
        assert row["slope_ohm_per_day"]["value"] == pytest.approx(0.08)
    # 4 + .08 * 29 = 6.32 ohm at the last hookup; 10 ohm 46 days later.
    assert after["reaches_limit"]["days"] == pytest.approx(46.0)
    assert [found["start"] for found in drifts(made_up, "cleaned")] == [
        iso(BEGIN),
        iso(BEGIN + 40 * DAY),
    ]


def test_work_that_brought_nothing_begins_nothing(made_up: Historian) -> None:
    found = stretches(made_up, "not-cleaned")
    assert sum(row["hookups"] for row in found) == 60
    assert found[0]["hookups"] == 60


def test_a_step_down_without_work_is_told_as_a_step(made_up: Historian) -> None:
    step, after = stretches(made_up, "polished")
    assert (step["kind"], after["kind"]) == ("step", "none")
    assert step["change_point"]["at"] == iso(BEGIN + 30 * DAY)
    assert step["change_point"]["from_ohm"] == pytest.approx(8.0, abs=0.1)
    assert step["change_point"]["to_ohm"] == pytest.approx(3.0, abs=0.1)
    assert drifts(made_up, "polished") == []
