"""A transfer in words: how each is told is tried by the command, here the rest."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analytics.core.metering import Metering
from analytics.replay.heading import in_words
from tests.analytics.replay.by_hand import TRANSFER, a_replay, at


def test_nothing_is_said_of_what_is_not_recorded() -> None:
    told = in_words(a_replay(), TRANSFER)
    assert told.bond == "verified 8.75 s before the flow began"
    assert told.bypass == "bypass not recorded"
    assert told.unmeasured == ""


def test_lengths_are_told_as_asked() -> None:
    late = replace(TRANSFER, bond_lead_s=-14.5)
    told = in_words(a_replay(), late, lambda seconds: f"<{seconds}>")
    assert told.bond.startswith("verified <14.5> after the flow began")


@pytest.mark.parametrize(
    ("volume", "unit", "said"),
    [
        pytest.param(None, None, "", id="no-meter"),
        pytest.param(0.0, "L", "0 L", id="none"),
        pytest.param(0.425, "kg", "0.425 kg", id="little"),
        pytest.param(12_345.6, "L", "12,346 L", id="much"),
        pytest.param(7.0, None, "7", id="no-unit"),
    ],
)
def test_a_volume_has_its_unit(volume: float | None, unit: str | None, said: str) -> None:
    assert in_words(a_replay(), replace(TRANSFER, volume=volume, unit=unit)).volume == said


def test_what_was_not_measured_is_told_by_itself_too() -> None:
    none = np.empty((0, 2), np.int64)
    silent = Metering(np.array([[at(20), at(50)]]), np.array([[at(50), at(80)]]), none)
    told = in_words(a_replay(metering=silent), TRANSFER)
    assert told.unmeasured == "the meter told nothing for 30 s of the flow"
    assert told.volume == f"at least 812 L: {told.unmeasured}"
