"""The table of factors says what pint says, and saves its registry."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import bondtrail
from bondtrail import units
from bondtrail.factors import FACTORS, OURS
from bondtrail.quantities import (
    CAPACITANCE,
    CHARGE_DENSITY,
    CHARGE_PER_MASS,
    CONDUCTIVITY,
    ENERGY,
    LENGTH,
)

MEASURES = (CAPACITANCE, CHARGE_DENSITY, CHARGE_PER_MASS, CONDUCTIVITY, ENERGY, LENGTH)
MICRO = ("\N{MICRO SIGN}", "\N{GREEK SMALL LETTER MU}")


def spellings(unit: str) -> Iterator[str]:
    """Yield a unit of the table as people write it."""
    yield unit
    yield unit.replace("3", "³")
    yield unit.replace("3", "^3")
    yield unit.replace("3", "**3").replace("/", " / ")
    yield unit.replace("ohm", "Ω")
    if unit.startswith("u"):
        yield from (sign + unit[1:] for sign in MICRO)


@pytest.mark.parametrize("unit", FACTORS)
def test_every_factor_is_exactly_that_of_pint(unit: str) -> None:
    ours, factor = FACTORS[unit]
    for spelling in spellings(unit):
        assert units.one_spelling(spelling) == unit
        assert units.factor_by_pint(spelling, ours) == factor
    assert [other for other in OURS if units.factor_by_pint(unit, other) is not None] == [ours]


@pytest.mark.parametrize("unit", FACTORS)
def test_a_unit_of_the_table_measures_what_it_measures_and_nothing_else(unit: str) -> None:
    ours, factor = FACTORS[unit]
    for spelling in spellings(unit):
        assert units.factor(spelling, ours, "", {}) == factor
        assert {units.factor(spelling, other, "", {}) for other in OURS - {ours}} == {None}


def test_the_table_covers_what_the_site_file_asks_for() -> None:
    assert {"ohm", "L/min", "kg/min", *(measure.unit for measure in MEASURES)} == OURS
    assert FACTORS.keys() >= OURS


@pytest.mark.parametrize(
    ("unit", "target"),
    [
        pytest.param("V/A", "ohm", id="not-in-the-table"),
        pytest.param("kohm", "V/A", id="of-a-target-that-is-not-ours"),
    ],
)
def test_what_is_not_in_the_table_is_asked_of_pint(unit: str, target: str) -> None:
    assert units.factor(unit, target, "", {}) == units.factor_by_pint(unit, target)


def in_a_process(code: str) -> str:
    """Return what some code prints in a process of its own."""
    room = str(Path(bondtrail.__file__).parents[1])
    shown = subprocess.run(
        [sys.executable, "-c", code],
        env={**os.environ, "PYTHONPATH": room},
        capture_output=True,
        text=True,
        check=True,
    )
    return shown.stdout.strip()


ASKED = {
    'flow_scale("m3/h", None)': False,
    'flow_scale("t/h", "powder")': False,
    'resistance_scale("kΩ")': False,
    'flow_scale("in3/s", None)': True,
}
"""What is asked one after the other, and whether pint is loaded then."""


def test_only_a_unit_that_is_not_in_the_table_loads_pint() -> None:
    lines = ["import sys", "from bondtrail.site_units import *"]
    for asked in ASKED:
        lines += [asked, "print('pint' in sys.modules)"]
    told = in_a_process("\n".join(lines)).split()
    assert dict(zip(ASKED, told, strict=True)) == {
        asked: str(loads) for asked, loads in ASKED.items()
    }
