"""The estimate as it is drawn, from a real store: exact, and followed inside its steps."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from analytics.core.electrostatics.hazard import Hazard, NoEstimate
from analytics.core.electrostatics.spread import Level
from analytics.replay.gather import replay_transfer
from analytics.replay.replayed import Replay
from analytics.runs import analyse
from bondtrail.samples import Samples
from bondtrail.site import parse_site
from dashboard.queries.charge import closely
from store import open_store
from tests.dashboard import bay
from tests.dashboard.bay import ID, LOST, NOW, S
from tests.dashboard.conftest import sqlite_url


@pytest.fixture(scope="module")
def told(bay_url: str) -> Iterator[Replay]:
    with open_store(bay_url) as store:
        yield replay_transfer(store, ID, now=NOW)


def test_nothing_that_was_worked_out_is_changed(told: Replay) -> None:
    close = closely(told)
    assert isinstance(close, Hazard)
    assert isinstance(told.hazard, Hazard)
    assert close.figures == told.hazard.figures
    for level in Level:
        exact, drawn = told.hazard.courses[level], close.courses[level]
        place = np.searchsorted(drawn.time, exact.time)
        assert np.array_equal(drawn.time[place], exact.time)
        assert drawn.potential_V[place] == pytest.approx(exact.potential_V)
        assert drawn.energy_mJ[place] == pytest.approx(exact.energy_mJ)
        assert drawn.potential_V.max() == exact.potential_V.max()


def test_the_points_of_the_estimate_stay_where_flow_is_unknown(tmp_path: Path) -> None:
    """Of unknown flow the estimate supposes more than the replayed readings alone tell."""
    readings = bay.readings(bay.FLOW_ON, lost=True)
    flow = readings["bay-1.flow"]
    silent = (flow.time >= LOST + 5 * S) & (flow.time < LOST + 40 * S)
    readings["bay-1.flow"] = Samples.of(flow.time[~silent], flow.value[~silent])
    with open_store(sqlite_url(tmp_path)) as store:
        store.put_site(parse_site(bay.SITE), 0)
        store.write(readings)
        analyse(store, now=NOW)
        test_nothing_that_was_worked_out_is_changed(replay_transfer(store, ID, now=NOW))


def test_other_steps_than_those_of_the_drive_are_followed_all_the_same(told: Replay) -> None:
    first = closely(told)
    assert isinstance(first, Hazard)
    again = closely(replace(told, hazard=first))  # its courses have more moments by now
    assert isinstance(again, Hazard)
    course = again.courses[Level.TYPICAL]
    assert np.isin(first.courses[Level.TYPICAL].time, course.time).all()
    # 1e9 ohm and 1 nF, a steady current: V = I R (1 - exp(-t/RC)), the closed form.
    second = (course.time - LOST) / S
    inside = (second >= 0) & (second < 20)
    end = course.potential_V[inside].max()
    expected = end * -np.expm1(-second[inside])
    assert course.potential_V[inside] == pytest.approx(expected, rel=1e-4, abs=1e-3)


def test_a_steady_open_circuit_is_followed_as_the_leak_has_it(told: Replay) -> None:
    close = closely(told)
    assert isinstance(close, Hazard)
    course = close.courses[Level.TYPICAL]
    # 1e9 ohm and 1 nF: 1 - 1/e of the end after 1 s, the closed form.
    volt = np.interp(LOST + S, course.time, course.potential_V)
    end = np.interp(LOST + 19 * S, course.time, course.potential_V)
    assert volt / end == pytest.approx(0.63212, abs=1e-4)


def test_no_estimate_stays_none(told: Replay) -> None:
    nothing = NoEstimate(("made up",))
    assert closely(replace(told, hazard=nothing)) is nothing
