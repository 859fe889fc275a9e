"""What people read of the estimate: three levels, its inputs, and what it cannot see."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import pytest

from analytics.core.electrostatics.hazard import Figures, NoEstimate
from analytics.core.electrostatics.spread import Level, Spread
from analytics.core.electrostatics.unseen import UNSEEN
from analytics.core.events import Event, What
from bondtrail.cli.hazard_text import print_hazard
from tests.analytics.replay.by_hand import HAZARD, a_replay, at, figures

Text = Callable[..., str]


@pytest.fixture
def text(capsys: pytest.CaptureFixture[str]) -> Text:
    """The estimate of the replay by hand, some fields of which are changed, in one line."""

    def printed(*, events: Any = None, **changes: Any) -> str:
        beside = {} if events is None else {"events": events}
        print_hazard(a_replay(hazard=replace(HAZARD, **changes), **beside))
        return capsys.readouterr().out

    return printed


def flat(out: str) -> str:
    return " ".join(out.split())


def row(out: str, head: str) -> list[str]:
    (found,) = [line for line in out.splitlines() if line.startswith(head)]
    return found.removeprefix(head).split()


def levels(**changes: Any) -> Mapping[Level, Figures]:
    return {level: figures(**changes) for level in Level}


def test_the_figures_stand_in_three_columns(text: Text) -> None:
    out = text()
    assert row(out, "Figure") == ["Low", "Typical", "High"]
    assert row(out, "Peak energy, mJ") == ["0.750", "0.750", "0.750"]
    assert row(out, "  times the ignition energy") == ["0", "!", "3.12", "!", "3.12"]
    assert row(out, "  first reached it") == ["not", "reached", "07:00:45.500", "07:00:45.500"]
    assert row(out, "  for so long") == ["0.0", "s", "7.0", "s", "7.0", "s"]
    assert row(out, "Relaxation time, s") == ["5.90"] * 3


def test_what_is_not_known_is_told_as_such(text: Text) -> None:
    unknown = levels(
        mie_ratio=None, first_over_mie=None, seconds_over_mie=None, velocity_limit_m_s=None
    )
    out = text(figures=unknown)
    assert row(out, "  times the ignition energy") == ["not", "known"] * 3
    assert row(out, "  first reached it") == ["not", "known"] * 3
    assert row(out, "  for so long") == ["-"] * 3
    assert "published limit of" not in out


@pytest.mark.parametrize(
    ("fastest", "limits", "shown"),
    [
        pytest.param(2.5, (7.0, 7.0), "2.50", id="below"),
        pytest.param(7.0, (7.0, 7.0), "7.00", id="at"),
        pytest.param(7.1, (7.0, 7.0), "! 7.10", id="over"),
        pytest.param(4.0, (3.5, 5.0), "! 4.00", id="over-the-strictest"),
        pytest.param(4.0, (None, None), "4.00", id="no-limit-known"),
    ],
)
def test_a_velocity_over_a_published_limit_is_marked(
    text: Text, fastest: float, limits: tuple[float | None, float | None], shown: str
) -> None:
    strict, loose = limits
    told = {
        Level.LOW: figures(velocity_m_s=1.0, velocity_limit_m_s=strict),
        Level.TYPICAL: figures(velocity_m_s=1.0, velocity_limit_m_s=loose),
        Level.HIGH: figures(velocity_m_s=fastest, velocity_limit_m_s=loose),
    }
    out = text(figures=told)
    assert row(out, "Greatest velocity, m/s") == ["1.00", "1.00", *shown.split()]
    assert "The velocity was" not in out  # it is told in the notes of the estimate, and once


@pytest.mark.parametrize(
    ("kept_s", "said"),
    [
        pytest.param(12.5, "12.5 s after the last flow: ! sooner than that", id="sooner"),
        pytest.param(60.0, "1:00 after the last flow: ! sooner than the longest", id="between"),
        pytest.param(120.0, "2:00 after the last flow: not sooner", id="as-long"),
    ],
)
def test_the_waiting_time_stands_beside_when_the_clamp_came_off(
    text: Text, kept_s: float, said: str
) -> None:
    out = flat(text(events=[Event(at(80 + kept_s), What.CLAMP_OFF)]))
    assert "Published waiting time after flow: 30.0 to 120 s, typically 60.0 s" in out
    assert "API RP 2003, from memory" in out
    assert said in out


@pytest.mark.parametrize(
    "events",
    [
        pytest.param([], id="not-seen"),
        pytest.param([Event(at(50), What.CLAMP_OFF)], id="off-before-flow-ended"),
        pytest.param(
            [Event(at(90), What.CONTACT), Event(at(99), What.CLAMP_OFF)], id="another-hookup"
        ),
    ],
)
def test_a_clamp_that_was_not_seen_to_come_off_is_not_judged(
    text: Text, events: list[Event]
) -> None:
    assert "The clamp came off" not in text(events=events)


def test_one_published_waiting_time_is_told_without_a_range(text: Text) -> None:
    out = flat(text(wait_s=Spread.of(60.0, "s", "from memory")))
    assert "Published waiting time after flow: 60.0 s (from memory)." in out
    assert "waiting time" not in text(wait_s=None)


def test_every_input_stands_with_its_unit_and_source(text: Text) -> None:
    out = text()
    assert row(out, "conductivity, pS/m")[:3] == ["3", "3", "3"]
    assert "site file: a test's own" in out
    assert row(out, "leakage, ohm")[:4] == ["1e+05", "1e+09", "no", "end"]


def test_values_of_the_inputs_are_not_headed_as_levels(text: Text) -> None:
    out = text()
    assert row(out, "Made of") == ["Least", "Usual", "Greatest", "Source"]
    assert "the high figures take the least ignition energy" in flat(out)


def test_a_powder_has_no_relaxation_time_and_no_velocity(text: Text) -> None:
    inputs = {"charge_uC_kg": Spread(0.01, 0.1, 1.0, "uC/kg", "from memory")}
    nothing = levels(relaxation_time_s=None, velocity_m_s=None, velocity_limit_m_s=None)
    out = text(inputs=inputs, figures=nothing, conductivity_class=None)
    assert row(out, "Peak charge, uC") == ["1.50"] * 3
    assert "Relaxation" not in out
    assert "velocity" not in out


def test_levels_stand_in_rising_order_however_they_come(text: Text) -> None:
    told = {
        level: figures(peak_energy_mJ=energy)
        for level, energy in [(Level.HIGH, 3.0), (Level.LOW, 1.0), (Level.TYPICAL, 2.0)]
    }
    assert row(text(figures=told), "Peak energy, mJ") == ["1.00", "2.00", "3.00"]


def test_notes_and_the_class_of_the_liquid_are_told(text: Text) -> None:
    out = flat(text())
    assert "The conductivity of the liquid is low." in out
    assert "The vessel held no charge at the start of the span." in out
    assert "The conductivity of" not in text(conductivity_class=None)


@pytest.mark.parametrize("unseen", [(), UNSEEN], ids=["left-out", "given"])
def test_without_an_estimate_it_says_why_and_keeps_what_it_cannot_see(
    capsys: pytest.CaptureFixture[str], unseen: tuple[str, ...]
) -> None:
    reasons = ("The bore of the pipe is not known: add pipe_diameter_m.",)
    print_hazard(a_replay(hazard=NoEstimate(reasons, unseen)))
    out = capsys.readouterr().out
    assert "What the charge could have been: no estimate" in out
    assert "add pipe_diameter_m" in out
    assert flat(UNSEEN[0]) in flat(out)
    assert "Local codes and licensed practice govern" in flat(out)
    assert not re.search(r"Peak|Low +Typical", out)
