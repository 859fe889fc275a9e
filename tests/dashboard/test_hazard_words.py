"""The estimate in words: three levels, inputs with sources, and always what it cannot see."""

from __future__ import annotations

import math

import pytest

from analytics.core.electrostatics.hazard import Course, Figures, Hazard, NoEstimate
from analytics.core.electrostatics.spread import Level, Spread
from analytics.core.electrostatics.unseen import UNSEEN
from dashboard.figures.steps import Clock
from dashboard.hazard_words import hazard_part
from tests.dashboard.pages.conftest import Shown

S = 1_000_000_000
CLOCK = Clock(0, "UTC")
SOURCE = "made up for a test"


def figures(**told: float | int | None) -> Figures:
    names = ("peak_potential_V", "peak_charge_uC", "peak_energy_mJ")
    rest = dict.fromkeys(Figures.__dataclass_fields__)
    return Figures(**(rest | dict.fromkeys(names, 1.0) | told))  # type: ignore[arg-type]


def hazard(**told: object) -> Hazard:
    made = {level: figures() for level in Level}
    given: dict[str, object] = {"inputs": {}, "figures": made, "courses": dict[Level, Course]()}
    return Hazard(**(given | told))  # type: ignore[arg-type]


def text(told: Hazard | NoEstimate) -> str:
    return Shown(hazard_part(told, CLOCK)).text


@pytest.mark.parametrize("told", [hazard(), NoEstimate(("No bore is known.",))])
def test_what_it_cannot_see_is_always_told(told: Hazard | NoEstimate) -> None:
    said = text(told)
    assert "It never says that anything was safe." in said
    assert "What this cannot see" in said
    for sentence in UNSEEN:
        assert sentence in said


def test_no_estimate_says_why_and_shows_no_figures() -> None:
    shown = Shown(hazard_part(NoEstimate(("No bore is known: add pipe_diameter_m.",)), CLOCK))
    assert "There is no estimate No bore is known: add pipe_diameter_m." in shown.text
    assert not [part for part in shown.components if type(part).__name__ == "Table"]


def test_figures_are_told_at_three_levels() -> None:
    levels = {
        Level.LOW: figures(peak_potential_V=0.07, mie_ratio=1e-9),
        Level.TYPICAL: figures(peak_potential_V=540.0, mie_ratio=1.8, seconds_over_mie=4.0),
        Level.HIGH: figures(peak_potential_V=1600.0, mie_ratio=16.0, first_over_mie=61_250_000_000),
    }
    said = text(hazard(figures=levels))
    assert "Peak potential 0.07 V 540 V 1,600 V" in said
    assert "Peak energy over what ignites below 0.000001 times ! 1.8 times ! 16 times" in said
    assert "First at what ignites never reached never reached 00:01:01.250" in said
    assert "4 s" in said


def test_only_what_ignites_or_is_too_fast_is_marked() -> None:
    levels = {
        Level.LOW: figures(mie_ratio=0.999, velocity_m_s=3.5, velocity_limit_m_s=5.0),
        Level.TYPICAL: figures(mie_ratio=1.0, velocity_m_s=3.6, velocity_limit_m_s=5.0),
        Level.HIGH: figures(mie_ratio=2.0, velocity_m_s=4.0, velocity_limit_m_s=3.5),
    }
    shown = Shown(hazard_part(hazard(figures=levels), CLOCK))
    marked = [part for part in shown.components if "is-abnormal" in _class(part)]
    # Of the velocities the strictest of the limits counts.
    assert [part.children for part in marked] == ["! 1 times", "! 2 times", "! 3.6 m/s", "! 4 m/s"]


def _class(part: object) -> str:
    return getattr(part, "className", None) or ""


def test_a_powder_has_no_figures_of_a_liquid() -> None:
    inputs = {"charge_uC_kg": Spread(0.1, 1.0, 10.0, "uC/kg", SOURCE)}
    assert "Relaxation time" not in text(hazard(inputs=inputs))
    assert "Greatest velocity" not in text(hazard(inputs=inputs))


def test_what_is_not_known_is_said() -> None:
    said = text(hazard())
    assert "Peak energy over what ignites not known not known not known" in said
    assert "First at what ignites not known not known not known" in said
    assert "Relaxation time not known" in said


@pytest.mark.parametrize(
    ("name", "spread", "said"),
    [
        (
            "mie_mJ",
            Spread(0.2, 0.24, 0.3, "mJ", SOURCE),
            "Minimum ignition energy 0.2 mJ 0.24 mJ 0.3 mJ low the greatest, high the least made",
        ),
        (
            "leakage_ohm",
            Spread(1e5, 1e9, math.inf, "ohm", SOURCE),
            "100 kohm 1 Gohm no end low the least, high the greatest",
        ),
        (
            "capacitance_pF",
            Spread(100.0, 200.0, 300.0, "pF", SOURCE),
            "100 pF 200 pF 300 pF what fits each figure",
        ),
        ("conductivity_pS_m", Spread.of(1.0, "pS/m", SOURCE), "1 pS/m  the one value made up"),
        ("streaming_coefficient", Spread.of(1e-5, "A s2/m4", SOURCE), "1e-05 A s2/m4"),
        ("relative_permittivity", Spread.of(2.39, "", SOURCE), "Relative permittivity  2.39"),
        ("new_input", Spread.of(7.0, "m", SOURCE), "New input  7 m"),
    ],
)
def test_each_input_has_its_source(name: str, spread: Spread, said: str) -> None:
    told = text(hazard(inputs={name: spread}))
    assert "Input Least Usual Greatest Levels take Source" in told
    assert said in told
    assert SOURCE in told


def test_class_wait_and_notes_stand_beside_it() -> None:
    wait = Spread(60.0, 63.75, 146.0, "s", SOURCE)
    said = text(hazard(conductivity_class="low", wait_s=wait, notes=("It began at nought.",)))
    assert "Conductivity class: low." in said
    assert "opening or sampling: 63.8 s (60 s to 146 s). Source: made up for a test" in said
    assert "Notes It began at nought." in said
