"""What is known of product, pipe and vessel, and who says so."""

from __future__ import annotations

import math

import pytest

from analytics.core.electrostatics.inputs import Inputs, gather, taken
from analytics.core.electrostatics.powders import OPERATIONS
from analytics.core.electrostatics.spread import Level, Spread
from bondtrail.site import HazardRules, Product, Role, Station
from tests.analytics.core.build import station

STATION = station(Role.RESISTANCE, Role.FLOW)
RULES = HazardRules()


def inputs(
    product: Product | None = None,
    name: str | None = None,
    of: Station = STATION,
    rules: HazardRules = RULES,
    form: str | None = None,
) -> Inputs:
    return gather(of, product, name, rules, form)


def typical(spread: Spread | None) -> float | None:
    return None if spread is None else spread.typical


LIQUID = Product(phase="liquid")

# Values of the table: toluene 1 pS/m, 2.3866, 0.24 mJ; MEK 1e7 pS/m, 18.60, 0.53 mJ (Lange's and
# the CRC handbook through the open library thermo 0.6.1; ignition energies from memory).
PRODUCTS = [
    pytest.param(LIQUID, "toluene", (1, 2.3866, 0.24), id="all-from-the-table"),
    pytest.param(None, "Toluene", (1, 2.3866, 0.24), id="not-in-the-site-file"),
    pytest.param(
        Product(phase="liquid", conductivity_pS_m=30),
        "toluene",
        (30, 2.3866, 0.24),
        id="site-file-before-table",
    ),
    pytest.param(
        Product(phase="liquid", substance="MEK"), "blend 7", (1e7, 18.60, 0.53), id="named"
    ),
    pytest.param(
        Product(phase="liquid", substance="MEK"), "toluene", (1e7, 18.60, 0.53), id="named-first"
    ),
    pytest.param(
        Product(phase="liquid", substance="nothing known"),
        "toluene",
        (None, None, None),
        id="named-and-not-there",
    ),
    pytest.param(Product(phase="liquid"), "sugar", (None, None, None), id="of-another-phase"),
    pytest.param(Product(phase="powder"), "sugar", (None, None, 35), id="powder"),
    pytest.param(Product(phase="liquid"), "propane", (None, None, 0.25), id="liquefied-gas"),
    pytest.param(None, "elixir", (None, None, None), id="nothing-known"),
    pytest.param(None, None, (None, None, None), id="no-product"),
]


@pytest.mark.parametrize(("product", "name", "expected"), PRODUCTS)
def test_properties(
    product: Product | None, name: str | None, expected: tuple[float | None, ...]
) -> None:
    found = inputs(product, name)
    told = found.conductivity_pS_m, found.relative_permittivity, found.mie_mJ
    assert tuple(map(typical, told)) == pytest.approx(expected, nan_ok=True)


def with_unit(unit: str | None, **update: object) -> Station:
    return station(Role.RUNNING).model_copy(update={"volume_unit": unit, **update})


PHASES = [
    pytest.param(with_unit("L"), LIQUID, None, "liquid", id="product"),
    pytest.param(with_unit("kg"), LIQUID, None, "liquid", id="product-against-unit"),
    pytest.param(with_unit(None), None, "sugar", "powder", id="table"),
    pytest.param(with_unit("L"), None, "elixir", "liquid", id="litres"),
    pytest.param(with_unit("kg"), None, None, "powder", id="kilograms"),
    pytest.param(with_unit(None, rated_unit="kg"), None, None, "powder", id="rated"),
    pytest.param(with_unit("L"), None, "propane", "gas", id="gas-whatever-its-unit"),
    pytest.param(with_unit("L"), LIQUID, "propane", "liquid", id="liquefied-gas"),
    pytest.param(with_unit(None), None, None, None, id="nothing-tells"),
]


@pytest.mark.parametrize(("of", "product", "name", "expected"), PHASES)
def test_phase(
    of: Station, product: Product | None, name: str | None, expected: str | None
) -> None:
    assert inputs(product, name, of).phase == expected


def test_sources_name_the_site_file_and_what_it_goes_by() -> None:
    own = Product(phase="liquid", mie_mJ=0.3, source="own test of May")
    found = inputs(own, "toluene", STATION.model_copy(update={"capacitance_pF": 70.0}))
    assert found.mie_mJ == Spread.of(0.3, "mJ", "site file: own test of May")
    assert found.capacitance_pF == Spread.of(70, "pF", "site file")
    assert found.conductivity_pS_m is not None
    assert "Lange" in found.conductivity_pS_m.source


def test_relaxation_time_needs_both_of_its_inputs() -> None:
    whole = inputs(LIQUID, "toluene").relaxation_time_s
    # eps_0 x 2.3866 / 1 pS/m
    assert typical(whole) == pytest.approx(21.131, abs=1e-3)
    assert inputs(Product(phase="liquid", conductivity_pS_m=1)).relaxation_time_s is None
    assert inputs(Product(phase="liquid", relative_permittivity=2)).relaxation_time_s is None


@pytest.mark.parametrize(
    ("kappa", "expected"), [(None, None), (49.9, "low"), (50, "medium"), (10_001, "high")]
)
def test_conductivity_class(kappa: float | None, expected: str | None) -> None:
    # NFPA 77, text of 2007 to 2014: below 50 pS/m low, above 10 000 pS/m high
    assert inputs(Product(phase="liquid", conductivity_pS_m=kappa)).conductivity_class == expected


def test_charge_of_a_powder() -> None:
    pours = STATION.model_copy(update={"operation": "pouring"})
    assert inputs(Product(phase="powder"), of=pours).charge_uC_kg == OPERATIONS["pouring"]
    measured = inputs(Product(phase="powder", charge_uC_kg=0.2), of=pours).charge_uC_kg
    assert measured == Spread.of(0.2, "uC/kg", "site file")
    assert inputs(Product(phase="powder")).charge_uC_kg is None


def test_the_spread_of_forms_goes_from_the_least_to_the_greatest() -> None:
    # 3.75e-6 (Schon) to 2.5e-5 (NFPA 77), 1.0e-5 (Crowl and Louvar): all from memory
    spread = inputs().streaming_coefficient
    assert (spread.low, spread.typical, spread.high) == (3.75e-6, 1.0e-5, 2.5e-5)
    assert inputs(form="schon").forms == dict.fromkeys(Level, "schon")
    assert inputs(rules=HazardRules(streaming_form="nfpa_77")).streaming_coefficient.low == 2.5e-5


LEAKAGES = [
    pytest.param(HazardRules(), 1e5, (1e5, 1e9, math.inf), id="defaults"),
    pytest.param(
        HazardRules(leakage_typical_ohm=1e7, leakage_high_ohm=1e8), 1e5, (1e5, 1e7, 1e8), id="own"
    ),
    pytest.param(
        HazardRules(leakage_typical_ohm=1e7, leakage_high_ohm=1e8),
        1e9,
        (1e9, 1e9, 1e9),
        id="never-below-open",
    ),
    pytest.param(
        HazardRules(leakage_typical_ohm=1e9, leakage_high_ohm=1e8),
        1e5,
        (1e5, 1e9, 1e9),
        id="never-falling",
    ),
]


@pytest.mark.parametrize(("rules", "open_ohm", "expected"), LEAKAGES)
def test_leakage(rules: HazardRules, open_ohm: float, expected: tuple[float, ...]) -> None:
    found = inputs(of=station(Role.FLOW, open_ohm=open_ohm), rules=rules).leakage_ohm
    assert (found.low, found.typical, found.high) == expected
    assert ("our assumption" in found.source) == (rules == HazardRules())


def test_listed_are_those_that_take_part() -> None:
    liquid = dict(inputs(LIQUID, "toluene").listed())
    assert "streaming_coefficient" in liquid
    assert "charge_uC_kg" not in liquid
    powder = dict(inputs(Product(phase="powder", charge_uC_kg=1, mie_mJ=3)).listed())
    assert set(powder) == {"mie_mJ", "charge_uC_kg", "capacitance_pF", "leakage_ohm"}


# From memory and the fire pages: methane 0.21 and 0.28 mJ, hydrogen 0.016, 0.019 and 0.02 mJ
@pytest.mark.parametrize(
    ("name", "levels"), [("methane", (0.28, 0.21, 0.21)), ("hydrogen", (0.02, 0.019, 0.016))]
)
def test_the_high_level_takes_the_least_ignition_energy_and_the_source_says_so(
    name: str, levels: tuple[float, ...]
) -> None:
    mie = inputs(None, name).mie_mJ
    assert mie is not None
    assert taken("mie_mJ", mie) == dict(zip(Level, levels, strict=True))
    told = "the low level takes {:g}, typical {:g}, high {:g} mJ".format(*levels)
    assert mie.source.endswith(told)


RANGE = Spread(1, 2, 3, "", "a test")


@pytest.mark.parametrize(
    ("name", "spread", "levels"),
    [
        pytest.param("leakage_ohm", RANGE, (1, 2, 3), id="rises-with-the-hazard"),
        pytest.param("streaming_coefficient", RANGE, (1, 2, 3), id="so-does-the-current"),
        pytest.param("mie_mJ", RANGE, (3, 2, 1), id="runs-against-it"),
        pytest.param("capacitance_pF", RANGE, None, id="either-way"),
        pytest.param("conductivity_pS_m", RANGE, None, id="either-way-too"),
        pytest.param("bond_resistance_ohm", RANGE, None, id="as-recorded"),
        pytest.param("capacitance_pF", Spread.of(7, "pF", "a test"), (7, 7, 7), id="one-value"),
    ],
)
def test_which_value_each_level_takes(
    name: str, spread: Spread, levels: tuple[float, ...] | None
) -> None:
    expected = None if levels is None else dict(zip(Level, levels, strict=True))
    assert taken(name, spread) == expected
