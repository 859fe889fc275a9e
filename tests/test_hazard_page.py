"""The page about the hazard estimate says what the code holds, and what it can be held to."""

from __future__ import annotations

import re
import tomllib
from math import inf
from pathlib import Path

import pytest

from analytics.core.electrostatics.capacitance import CAPACITANCES
from analytics.core.electrostatics.conductivity import EDITIONS
from analytics.core.electrostatics.energy import (
    charge_uC,
    potential_for_energy_V,
    stored_energy_mJ,
)
from analytics.core.electrostatics.hazard import Figures
from analytics.core.electrostatics.inputs import gather, taken
from analytics.core.electrostatics.leakage import (
    OPEN_LEAKAGE,
    RESISTANCE_CRITERIA,
    resistance_for_potential,
)
from analytics.core.electrostatics.powders import OPERATIONS
from analytics.core.electrostatics.relaxation import relaxation_time
from analytics.core.electrostatics.spread import Level, Spread
from analytics.core.electrostatics.streaming import FORMS, streaming_current_A, velocity_m_s
from analytics.core.electrostatics.substances import SUBSTANCES
from analytics.core.electrostatics.velocity import VELOCITY_BORE, velocity_limit
from analytics.core.electrostatics.waiting import AT_REST
from bondtrail.site import HazardRules, Product, Station, StationKind, parse_site

PAGE = (Path(__file__).parents[1] / "docs" / "hazard.md").read_text(encoding="utf-8")
SAID = " ".join(PAGE.split())


def rows(heading: str, number: int = 0) -> list[list[str]]:
    """Return the cells of the rows of a section's table, without code marks."""
    section = re.split(rf"^## {heading}\n", PAGE, flags=re.MULTILINE)[1].partition("\n## ")[0]
    table = re.findall(r"(?:^\|.*\n)+", section, re.MULTILINE)[number]
    cells = [[cell.strip(" `") for cell in line.split("|")[1:-1]] for line in table.splitlines()]
    return cells[2:]


def figures(cells: list[str]) -> list[float]:
    return [float(cell) for cell in cells]


def spread(levels: Spread) -> list[float]:
    return [levels.low, levels.typical, levels.high]


def test_the_forms_stand_with_the_current_that_each_gives() -> None:
    shown = {name: figures([k, micro]) for name, k, micro, _ in rows("Published forms.*")}
    assert list(shown) == list(FORMS)
    for name, (coefficient, microampere) in shown.items():
        assert coefficient == pytest.approx(FORMS[name].coefficient, rel=2e-3)
        assert microampere == pytest.approx(1e6 * streaming_current_A(7, 0.1, name), abs=0.005)


@pytest.mark.parametrize(
    ("heading", "table"),
    [("Powders", OPERATIONS), ("Capacitances", CAPACITANCES), ("Waiting", AT_REST)],
)
def test_a_table_of_spreads_is_the_code_s(heading: str, table: dict[str, Spread]) -> None:
    shown = {cells[0]: figures(cells[1:4]) for cells in rows(heading)}
    assert shown == {
        name: pytest.approx(spread(levels), rel=2e-3) for name, levels in table.items()
    }


def test_the_criteria_of_resistance_are_the_code_s() -> None:
    assert [(path, float(ohm), source) for path, ohm, source in rows("Resistances")] == [
        (row.path, row.ohm, row.source) for row in RESISTANCE_CRITERIA
    ]


def test_the_classes_of_conductivity_are_the_code_s() -> None:
    lines = [
        (edition.low_below_pS_m, edition.per_permittivity_pS_m, edition.high_above_pS_m)
        for edition in EDITIONS.values()
    ]
    shown = []
    for _, low, _, high in rows("Conductivity"):
        numbers = figures(re.findall(r"\d+", low))
        shown.append((numbers[-1], numbers[0] if "times" in low else None, above(high)))
    assert shown == lines


def above(cell: str) -> float:
    return float(cell.removeprefix("above ").replace(" ", ""))


def test_the_velocities_follow_from_the_rules_of_velocity_times_bore() -> None:
    road, rail = VELOCITY_BORE[StationKind.ROAD_TANKER], VELOCITY_BORE[StationKind.RAIL_TANK_CAR]
    rules = [cell for _, cell, _ in rows("Velocity")]
    assert figures(re.findall(r"[\d.]+", " ".join(rules))) == [
        *(road.high, road.low, 0.38),
        *(rail.low, rail.high),
    ]
    for bore, *shown in rows("Velocity", 1):
        on_road, on_rail = (
            velocity_limit(kind, float(bore), "low")
            for kind in (StationKind.ROAD_TANKER, StationKind.RAIL_TANK_CAR)
        )
        assert figures(shown) == pytest.approx(
            [on_road.low, on_road.high, on_rail.low, on_rail.high], abs=0.005
        )


def values(levels: Spread | None) -> list[float]:
    return [] if levels is None else list(dict.fromkeys(spread(levels)))


def test_the_table_of_substances_is_the_code_s() -> None:
    shown = {
        name: (phase, *(figures(re.findall(r"[\d.][\d.e-]*", cell)) for cell in cells))
        for name, phase, *cells in rows("The table of substances")
    }
    assert shown == {
        name: (
            item.phase,
            values(item.conductivity_pS_m),
            values(item.relative_permittivity),
            values(item.mie_mJ),
        )
        for name, item in SUBSTANCES.items()
    }


# The constructed chain: Schon form, 2 m/s in 50 mm, 100 pF, 0.24 mJ. Our own worked example,
# checked by hand: 3.75e-8 A, 2190.89 V, 5.8424 s, 2.66667e9 ohm.
CURRENT_A = 3.75e-6 * (2 * 0.05) ** 2
IGNITING_V = potential_for_energy_V(0.24, 100)
STEPS = [
    (235.6, "L/min", 2 * 3.14159265 / 4 * 0.05**2 * 60_000),
    (0.1, "m²/s", 2 * 0.05),
    (3.75e-8, "A", streaming_current_A(velocity_m_s(235.619449, 0.05), 0.05, "schon")),
    (2190.9, "V", IGNITING_V),
    (0.219, "µC", charge_uC(100, IGNITING_V)),
    (5.84, "s", 1e-6 * charge_uC(100, IGNITING_V) / CURRENT_A),
    (37.5, "V", CURRENT_A * 1e9),
    (7.03e-5, "mJ", stored_energy_mJ(100, 37.5)),
    (2.67e9, "ohm", resistance_for_potential(CURRENT_A)),
    (3.75e-7, "V", CURRENT_A * 10),
    (21.1, "s", relaxation_time(1.0, 2.3866)),
]


def test_the_worked_example_comes_out_as_it_is_told() -> None:
    told = [cells[2].rpartition(" ") for cells in rows("A worked example")]
    assert [(float(value), unit) for value, _, unit in told] == [
        (value, unit) for value, unit, _ in STEPS
    ]
    for value, _, reckoned in STEPS:
        assert reckoned == pytest.approx(value, rel=2e-3)


def test_the_levels_of_the_worked_example_come_out_as_they_are_told() -> None:
    low, typical, high = rows("A worked example", 1)
    coefficients = [form.coefficient for form in FORMS.values()]
    for cells, coefficient in (
        (low, min(coefficients)),
        (typical, FORMS["crowl_louvar"].coefficient),
        (high, max(coefficients)),
    ):
        assert float(cells[1]) == coefficient
        assert float(cells[2].removesuffix(" A")) == pytest.approx(coefficient * 0.1**2)
    assert low[3:] == [f"{OPEN_LEAKAGE.low:.0e} ohm".replace("+0", ""), "0.00375 V"]
    assert typical[3:] == ["1e9 ohm", "100 V, 0.0005 mJ"]
    assert float(low[2].removesuffix(" A")) * OPEN_LEAKAGE.low == pytest.approx(0.00375)
    assert stored_energy_mJ(100, 1e-7 * OPEN_LEAKAGE.typical) == pytest.approx(0.0005)
    assert (high[3], OPEN_LEAKAGE.high) == ("none", inf)
    seconds = float(high[4].removeprefix("0.24 mJ after ").removesuffix(" s"))
    assert 1e-6 * charge_uC(100, IGNITING_V) / 2.5e-7 == pytest.approx(seconds, rel=1e-3)


def test_the_product_of_the_page_fits_a_site_file() -> None:
    written = re.findall(r"```toml\n(.*?)```", PAGE, re.DOTALL)[0]
    head = 'schema = 1\n[site]\nid = "a"\nname = "A (invented)"\ntimezone = "UTC"\n'
    station = '[[station]]\nid = "s"\nname = "S"\nkind = "drum"\nproduct = "solvent-7"\n'
    product = parse_site(head + written + station).products["solvent-7"]
    assert (product.substance, product.conductivity_pS_m) == ("toluene", 5.0)
    assert "invented" in tomllib.loads(written)["product"]["solvent-7"]["source"]


def test_every_input_is_named() -> None:
    for phase, unit in (("liquid", "L"), ("powder", "kg")):
        station = Station(
            id="s",
            name="S (invented)",
            kind=StationKind.DRUM,
            pipe_diameter_m=0.05,
            pipe_length_m=6.0,
            filter_charge_uC_m3=100.0,
            operation="pouring",
            rated_flow=100.0,
            rated_unit=unit,
        )
        product = Product(
            phase=phase, conductivity_pS_m=1.0, relative_permittivity=2.4, mie_mJ=0.24
        )
        for name, _ in gather(station, product, None, HazardRules()).listed():
            assert f"`{name}`" in PAGE


def test_which_value_each_level_takes_is_the_code_s() -> None:
    """Where it is one end, the page says which; where it depends on the figure, it says so."""
    words = {1: "the least", 2: "the usual one", 3: "the greatest"}
    told: dict[str, list[list[str]]] = {}
    for names, *cells in rows("Inputs", 1):
        for name in re.findall(r"[a-z]\w*_\w+", names.partition(" for ")[0]):
            told.setdefault(name, []).append(cells)
    for name, cells in told.items():
        levels = taken(name, Spread(1, 2, 3, "", "a test"))
        if levels is not None and "one value" not in cells[0][0]:
            assert cells == [[words[round(levels[level])] for level in Level]]
    assert {"mie_mJ", "leakage_ohm", "capacitance_pF", "bond_resistance_ohm"} <= set(told)


@pytest.mark.parametrize("name", [*Figures.__slots__, *HazardRules.model_fields])
def test_every_figure_and_every_rule_is_named(name: str) -> None:
    assert f"`{name}`" in PAGE


@pytest.mark.parametrize(
    "words",
    [
        "It never says that anything was safe",
        "local codes and licensed practice govern",
        "not a safety function",
        "2007-06-I-KS",
        "bonded and grounded; the float of a level gauge inside the tank was not, and sparked",
        "Brush discharges",
        "People",
        "Splash filling",
        "Sprays, mists and foam",
    ],
)
def test_what_the_estimate_cannot_see_stays_on_the_page(words: str) -> None:
    assert words in SAID
