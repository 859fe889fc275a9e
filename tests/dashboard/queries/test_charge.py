"""The estimate as it is drawn, from a real store: exact, and followed inside its steps."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest

from analytics.core.electrostatics.hazard import Hazard, NoEstimate
from analytics.core.electrostatics.spread import Level
from analytics.replay.gather import replay_transfer
from analytics.replay.replayed import Replay
from dashboard.queries.charge import closely
from store import open_store
from tests.dashboard.bay import ID, LOST, NOW, S


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
