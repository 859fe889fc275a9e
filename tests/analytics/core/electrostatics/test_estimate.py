"""What the charge on a vessel could have been, from scripted records."""

from __future__ import annotations

import dataclasses
import math
import random
import re
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from analytics.core.electrostatics.estimate import estimate
from analytics.core.electrostatics.hazard import Figures, Hazard, NoEstimate
from analytics.core.electrostatics.spread import Level, Spread
from analytics.core.electrostatics.unseen import UNSEEN
from analytics.core.situation import situation
from bondtrail.samples import ValueArray
from bondtrail.site import HazardRules, Product, Role, Station
from tests.analytics.core.build import BAD, GAP, OPEN, S, Stretch, ns, station, told

Signals = Mapping[str, Sequence[Stretch]]

SEVEN_M_S = 60_000 * math.pi / 4 * 0.1**2 * 7
"""L/min in a pipe of 100 mm: 54.98 L/s."""
TWO_M_S = 60_000 * math.pi / 4 * 0.05**2 * 2
"""L/min in a pipe of 50 mm."""

TOLUENE = Product(
    phase="liquid", conductivity_pS_m=1, relative_permittivity=2.38, mie_mJ=0.24, source="a test"
)
POWDER = Product(phase="powder", mie_mJ=10, charge_uC_kg=1)


def filler(*roles: Role, kind: str = "drum", open_ohm: float = 1e5, **own: Any) -> Station:
    """A station with a pipe of 100 mm and a vessel of 1 nF, unless ``own`` says otherwise."""
    known = {"pipe_diameter_m": 0.1, "capacitance_pF": 1000.0, **own}
    told_by = roles or (Role.RESISTANCE, Role.FLOW)
    return station(*told_by, kind=kind, open_ohm=open_ohm).model_copy(update=known)


def ask(
    of: Station,
    signals: Signals,
    product: Product | None = TOLUENE,
    name: str | None = "toluene",
    rules: HazardRules | None = None,
    form: str | None = None,
) -> Hazard | NoEstimate:
    recorded = told(**signals)
    until = max(sum(lasts for lasts, _ in stretches) for stretches in signals.values())
    span = 0, ns(until)
    now = situation(of, recorded, span)
    return estimate(of, product, name, recorded, now, span, rules or HazardRules(), form=form)


def hazard(of: Station, signals: Signals, *args: Any, **options: Any) -> Hazard:
    found = ask(of, signals, *args, **options)
    assert isinstance(found, Hazard), found
    return found


def peaks(found: Hazard, name: str) -> list[Any]:
    return [getattr(found.figures[level], name) for level in Level]


def said(found: Hazard, *words: str) -> bool:
    """Whether one note holds all of the words."""
    return any(all(word in note for word in words) for note in found.notes)


ISOLATED: Signals = {"resistance": [(10, OPEN)], "flow": [(10, SEVEN_M_S)]}


def test_isolated_at_seven_metres_a_second() -> None:
    """Worked by hand: 1.8375, 4.9 and 12.25 uA (forms from memory) on 1 nF for 10 s.

    Low: through 100 kohm, I R. Typical: 1 Gohm, so a time constant of 1 s. High: no leak.
    """
    found = hazard(filler(), ISOLATED)
    potentials = [0.18375, 4900 * (1 - math.exp(-10)), 122_500]
    assert peaks(found, "peak_potential_V") == pytest.approx(potentials, rel=1e-6)
    assert peaks(found, "peak_charge_uC") == pytest.approx([v * 1e-3 for v in potentials], rel=1e-6)
    energies = [v**2 * 0.5e-6 for v in potentials]
    assert peaks(found, "peak_energy_mJ") == pytest.approx(energies, rel=1e-6)
    assert peaks(found, "mie_ratio") == pytest.approx([w / 0.24 for w in energies], rel=1e-6)
    assert peaks(found, "velocity_m_s") == pytest.approx([7, 7, 7])


def test_when_the_ignition_energy_is_crossed() -> None:
    """Worked by hand: 0.24 mJ on 1 nF is 692.82 V: the ramp of 12.25 kV/s gets there in 56.6 ms."""
    found = hazard(filler(), ISOLATED)
    volts = math.sqrt(2 * 0.24e-3 / 1e-9)
    typical, high = -math.log(1 - volts / 4900), volts / 12_250
    low_at, typical_at, high_at = peaks(found, "first_over_mie")
    assert low_at is None
    assert typical_at == pytest.approx(typical * S, abs=2)
    assert high_at == pytest.approx(high * S, abs=2)
    assert peaks(found, "seconds_over_mie") == pytest.approx([0, 10 - typical, 10 - high])


def test_the_drum_that_was_cut_off() -> None:
    """Our own worked example, by Schon's form: 3.75e-8 A, and 2190.89 V after 5.8424 s."""
    of = filler(pipe_diameter_m=0.05, capacitance_pF=100.0)
    signals: Signals = {"resistance": [(4, 3), (60, OPEN)], "flow": [(64, TWO_M_S)]}
    worst = hazard(of, signals, form="schon").figures[Level.HIGH]
    assert worst.first_over_mie is not None
    assert worst.first_over_mie / S - 4 == pytest.approx(5.8424, abs=5e-5)
    assert worst.seconds_over_mie == pytest.approx(60 - 5.8424, abs=5e-5)
    assert worst.peak_potential_V == pytest.approx(3.75e-8 * 60 / 100e-12, rel=1e-6)


def test_bonded_throughout_is_microvolts() -> None:
    found = hazard(filler(), {"resistance": [(10, 2.5)], "flow": [(10, SEVEN_M_S)]})
    volts = [2.5 * current for current in (1.8375e-6, 4.9e-6, 12.25e-6)]
    assert peaks(found, "peak_potential_V") == pytest.approx(volts, rel=1e-6)
    assert peaks(found, "first_over_mie") == [None, None, None]
    assert peaks(found, "seconds_over_mie") == [0, 0, 0]
    assert not said(found, "unknown")
    assert not said(found, "open bond")


def test_an_unknown_bond_is_both_bounds() -> None:
    silent: Signals = {"resistance": [(2, 3), (6, GAP)], "flow": [(8, SEVEN_M_S)]}
    found = hazard(filler(), silent)
    low, _, high = peaks(found, "peak_potential_V")
    assert low == pytest.approx(3 * 1.8375e-6, rel=1e-6)
    assert high == pytest.approx(12.25e-6 * 6 / 1e-9, rel=1e-6)
    assert said(
        found, "The bond was unknown for 6 s, 6 s of it in flow or", "low", "perfect", "open"
    )


def test_what_an_open_bond_leaks_is_for_the_site_to_say() -> None:
    rules = HazardRules(leakage_typical_ohm=1e6, leakage_high_ohm=1e7)
    found = hazard(filler(), ISOLATED, rules=rules)
    volts = [1e5 * 1.8375e-6, 1e6 * 4.9e-6, 1e7 * 12.25e-6]
    assert peaks(found, "peak_potential_V") == pytest.approx(volts, rel=1e-6)
    assert said(found, "100 kohm", "1 Mohm at the typical", "10 Mohm at the high")


def test_flow_that_is_unknown() -> None:
    lost: Signals = {"resistance": [(11, OPEN)], "flow": [(5, SEVEN_M_S), (5, GAP), (1, 0)]}
    low, _, high = hazard(filler(), lost).courses.values()
    assert high.potential_V[-1] == pytest.approx(122_500, rel=1e-6)
    assert low.potential_V[-1] == pytest.approx(0, abs=1e-12)
    assert said(hazard(filler(), lost), "Flow was unknown for 5 s", "3299 L/min")
    assert not said(hazard(filler(), lost), "none is counted")


def test_no_crossing_before_the_first_reading_of_flow_nor_after_the_last() -> None:
    """Open all along, and flow for two seconds of ten: time without a record charges nothing."""
    signals: Signals = {
        "resistance": [(5, GAP), (4, OPEN)],
        "flow": [(5.5, GAP), (1, 0), (2, SEVEN_M_S)],
        "bypass": [(20, GAP)],
    }
    found = hazard(filler(), signals)
    first = peaks(found, "first_over_mie")[2]
    assert first / S == pytest.approx(6.5566, abs=1e-4)  # 56.6 ms after flow on, as above
    assert found.notes[1].startswith("The bond was unknown for 16 s, none of it in flow")
    assert found.notes[2].startswith("Flow was unknown for 17 s away from any flow on record")


def test_filter_charge_is_added() -> None:
    """Worked by hand: 1000 uC/m3 in 54.98 L/s is 54.98 uA; 7 m of pipe take a second.

    tau is 21.073 s, of the pipe's share at the high level 10.536 s (as of 2 pS/m), of the filter's
    84.292 s (four times); at the low level 1 / (1 + 1/2.1073) of the filter's is left by the
    hyperbolic law, and the pipe's works against it.
    """
    of = filler(pipe_length_m=7.0, filter_charge_uC_m3=1000.0)
    found = hazard(of, {"resistance": [(10, 1e3)], "flow": [(10, SEVEN_M_S)]}, form="schon")
    left, built = math.exp(-1 / 21.073), 1 - math.exp(-1 / 10.536)
    current = [
        54.9779e-6 / (1 + 1 / 2.1073) - 1.8375e-6 * built,
        54.9779e-6 * left + 1.8375e-6 * (1 - left),
        54.9779e-6 * math.exp(-1 / 84.292) + 1.8375e-6 * built,
    ]
    volts = [each * 1e3 for each in current]
    assert peaks(found, "peak_potential_V") == pytest.approx(volts, rel=1e-4)
    unsure = hazard(filler(filter_charge_uC_m3=1000.0), ISOLATED, form="schon")
    assert unsure.figures[Level.LOW].peak_potential_V == 0  # it may undo what the pipe gives
    high = (54.9779e-6 + 1.8375e-6) * 10 / 1e-9
    assert unsure.figures[Level.HIGH].peak_potential_V == pytest.approx(high, rel=1e-5)
    assert said(unsure, "filter's charge", "none at the low level")


def test_a_powder() -> None:
    """Worked by hand: 60 kg/min at 1 uC/kg is 1 uA; on 1 nF for 10 s, no leak, 10 kV and 50 mJ."""
    of = filler(kind="fixed_item").model_copy(update={"volume_unit": "kg"})
    found = hazard(of, {"resistance": [(10, OPEN)], "flow": [(10, 60)]}, POWDER, "lactose")
    worst = found.figures[Level.HIGH]
    assert worst.peak_potential_V == pytest.approx(10_000)
    assert worst.peak_energy_mJ == pytest.approx(50)
    assert worst.mie_ratio == pytest.approx(5)
    assert worst.first_over_mie == pytest.approx(math.sqrt(20e-3 / 1e-9) / 1000 * S, abs=2)
    assert worst.relaxation_time_s is worst.velocity_m_s is worst.velocity_limit_m_s is None
    assert found.conductivity_class is None
    assert found.wait_s is not None
    assert "pipe_diameter_m" not in found.inputs


def test_a_powder_by_its_operation() -> None:
    """Pouring: 0.001 to 10 uC/kg, from memory; 60 kg/min through 1 Mohm."""
    of = filler(Role.RUNNING, Role.RESISTANCE, operation="pouring", rated_flow=60, rated_unit="kg")
    bulk: Signals = {"resistance": [(9, 1e4)], "running": [(9, 1)]}
    found = hazard(of, bulk, Product(phase="powder"), "sugar")
    assert peaks(found, "peak_potential_V") == pytest.approx([1e-5, 1e-3, 0.1])
    assert found.inputs["mie_mJ"].typical == 35  # a public list of dusts
    assert found.inputs["peak_flow"] == Spread.of(60, "kg/min", "rated flow of the site file")
    assert said(found, "orders of magnitude", "0.001 to 10 uC/kg")
    assert said(found, "Flow is not measured", "60 kg/min")


def test_inputs_tell_where_they_come_from() -> None:
    found = hazard(filler(kind="road_tanker", capacitance_pF=None), ISOLATED)
    assert set(found.inputs) == {
        *("conductivity_pS_m", "relative_permittivity", "mie_mJ", "pipe_diameter_m"),
        *("streaming_coefficient", "capacitance_pF", "leakage_ohm", "peak_flow"),
    }
    assert all(spread.source for spread in found.inputs.values())
    assert found.inputs["mie_mJ"].source == "site file: a test"
    assert (found.inputs["capacitance_pF"].low, found.inputs["capacitance_pF"].high) == (1000, 5000)
    assert said(found, "1000 to 5000 pF")
    bonded = hazard(filler(), {"resistance": [(6, 2), (2, 4), (1, OPEN)], "flow": [(9, 60)]})
    ohms = bonded.inputs["bond_resistance_ohm"]
    assert (ohms.low, ohms.typical, ohms.high) == (2, 2, 4)


LIMITS = [  # v d of 0.35 to 0.5, or 0.75 to 0.8 m2/s, and the cap of 7 m/s: from memory
    pytest.param("road_tanker", 0.1, (5, 5, 3.5), id="road"),
    pytest.param("rail_tank_car", 0.1, (7, 7, 7), id="rail-at-the-cap"),
    pytest.param("rail_tank_car", 0.2, (4, 3.75, 3.75), id="rail"),
    pytest.param("drum", 0.05, (7, 7, 7), id="drum"),
]


@pytest.mark.parametrize(("kind", "bore", "expected"), LIMITS)
def test_velocity_limit(kind: str, bore: float, expected: tuple[float, ...]) -> None:
    found = hazard(filler(kind=kind, pipe_diameter_m=bore), ISOLATED)
    assert peaks(found, "velocity_limit_m_s") == pytest.approx(expected)


def test_what_keeps_the_most_lenient_limit_alone_does_not_look_kept_at_the_high_level() -> None:
    # 4.67 m/s in 100 mm at a road tanker: 3.5 to 5 m/s by document, from memory
    flow = SEVEN_M_S * 4.67 / 7
    found = hazard(filler(kind="road_tanker"), {"resistance": [(9, 3)], "flow": [(9, flow)]})
    assert peaks(found, "velocity_m_s") == pytest.approx([4.67] * 3)
    assert peaks(found, "velocity_limit_m_s") == pytest.approx([5, 5, 3.5])


def test_what_follows_from_a_conductivity_of_the_table_spans_its_decades() -> None:
    """Toluene: eps_0 x 2.3866 at 10, 1 and 0.1 pS/m; 3 tau, and 6.9078 tau for 0.1 %."""
    found = hazard(filler(kind="road_tanker"), ISOLATED, None, "toluene")
    assert peaks(found, "relaxation_time_s") == pytest.approx([2.1131, 21.131, 211.31], rel=1e-4)
    assert found.wait_s is not None
    waits = found.wait_s.low, found.wait_s.typical, found.wait_s.high
    assert waits == pytest.approx((60, 3 * 21.131, 6.9078 * 211.31), rel=1e-4)
    own = hazard(filler(kind="road_tanker"), ISOLATED, TOLUENE, "toluene")
    assert len(set(peaks(own, "relaxation_time_s"))) == 1


def test_that_high_figures_are_no_upper_bound_comes_before_all_else() -> None:
    found = hazard(filler(), {"resistance": [(4, GAP), (4, OPEN)], "flow": [(8, SEVEN_M_S)]})
    assert found.notes[0].startswith("The high figures are at least: ")
    assert not said(hazard(filler(), {"resistance": [(5, 3)], "flow": [(5, 60)]}), "at least:")


def test_liquid_figures() -> None:
    found = hazard(filler(kind="road_tanker"), ISOLATED)
    # NFPA 77's rule of 21 s for toluene, from memory
    assert peaks(found, "relaxation_time_s") == pytest.approx([21.073] * 3, abs=1e-3)
    assert found.conductivity_class == "low"
    assert found.wait_s is not None
    assert found.wait_s.high == pytest.approx(6.9078 * 21.073, rel=1e-4)
    assert said(found, "reached 7 m/s, over the published limit of 3.5 to 5 m/s")
    assert said(found, "1 m/s", "outlet is covered")


WITHOUT = [
    pytest.param({"mie_mJ": None}, "No minimum ignition energy of paste", id="ignition-energy"),
    pytest.param({"conductivity_pS_m": None}, "The conductivity of paste", id="conductivity"),
    pytest.param({"relative_permittivity": None}, "permittivity of paste", id="permittivity"),
    pytest.param({"conductivity_pS_m": 4e7}, "4e+07 pS/m, is high", id="conductive"),
]


@pytest.mark.parametrize(("changed", "note"), WITHOUT)
def test_what_is_not_known_of_a_product_is_said(changed: dict[str, Any], note: str) -> None:
    found = hazard(filler(), ISOLATED, TOLUENE.model_copy(update=changed), "paste")
    assert said(found, note)
    assert peaks(found, "peak_potential_V")[2] == pytest.approx(122_500, rel=1e-6)
    whole = hazard(filler(), ISOLATED, TOLUENE, "paste")
    assert not said(whole, note)


def test_without_an_ignition_energy_there_is_nothing_to_compare() -> None:
    found = hazard(filler(), ISOLATED, TOLUENE.model_copy(update={"mie_mJ": None}), "paste")
    for name in ("mie_ratio", "first_over_mie", "seconds_over_mie"):
        assert peaks(found, name) == [None, None, None]


def test_a_product_on_a_ticket_alone_is_looked_up() -> None:
    found = hazard(filler(), ISOLATED, None, "MEK")
    assert found.inputs["mie_mJ"].typical == 0.53  # from memory
    assert found.conductivity_class == "high"
    assert said(found, "no [product.MEK]", "table of substances")


@pytest.mark.parametrize("name", [None, "elixir"])
def test_without_any_product_the_current_is_known_all_the_same(name: str | None) -> None:
    found = hazard(filler(), ISOLATED, None, name)
    assert peaks(found, "peak_potential_V")[2] == pytest.approx(122_500, rel=1e-6)
    assert peaks(found, "mie_ratio") == [None, None, None]
    assert peaks(found, "relaxation_time_s") == [None, None, None]
    assert said(found, "not on record" if name is None else "Nothing is known of elixir")


def test_the_least_ignition_energy_is_the_worst() -> None:
    # hydrogen: 0.016 to 0.02 mJ by document
    found = hazard(filler(), ISOLATED, Product(phase="liquid"), "hydrogen")
    low, typical, high = found.figures.values()
    assert low.mie_ratio == pytest.approx(low.peak_energy_mJ / 0.02)
    assert typical.mie_ratio == pytest.approx(typical.peak_energy_mJ / 0.019)
    assert high.mie_ratio == pytest.approx(high.peak_energy_mJ / 0.016)


NOTES = [
    pytest.param(filler(), ISOLATED, ["without charge where the span begins"], id="start"),
    pytest.param(
        filler(Role.STATUS, Role.FLOW),
        {"status": [(5, 1)], "flow": [(5, 60)]},
        ["told by the status alone", "0 to 10 ohm"],
        id="status-alone",
    ),
    pytest.param(filler(Role.FLOW), {"flow": [(5, 60)]}, ["Nothing at this station"], id="no-bond"),
    pytest.param(filler(), ISOLATED, ["until the next, for 1 s at most", "not seen"], id="gaps"),
    pytest.param(
        filler(Role.FLOW, Role.RUNNING, rated_flow=500.0, rated_unit="L"),
        {"flow": [(5, BAD)], "running": [(5, 1)]},
        ["The flow meter says nothing", "rated 500 L/min"],
        id="silent-meter",
    ),
    pytest.param(
        filler(), {"resistance": [(5, 3)], "flow": [(5, 0)]}, ["Nothing flowed"], id="no-flow"
    ),
    pytest.param(filler(), ISOLATED, ["differ by 6.7 times"], id="forms"),
    pytest.param(filler(), ISOLATED, ["in flow was an open circuit"], id="criteria"),
    pytest.param(filler(), ISOLATED, ["ignition energy at 693 V, by"], id="where-it-ignites"),
    pytest.param(filler(), ISOLATED, ["at most 8.163 Mohm at the high level"], id="what-holds-it"),
    pytest.param(
        filler(),
        {"resistance": [(99, 3)], "flow": [(2, 0), (60, SEVEN_M_S / 2), (37, SEVEN_M_S)]},
        ["In the first minute of flow it was up to 3.5 m/s"],
        id="first-minute",
    ),
    pytest.param(
        filler(pipe_length_m=14.0, filter_charge_uC_m3=9.0), ISOLATED, ["took 2 s"], id="residence"
    ),
    pytest.param(filler(), ISOLATED, ["pipe_length_m"], id="long-pipe"),
    pytest.param(filler(), ISOLATED, ["filter_charge_uC_m3"], id="no-filter"),
    pytest.param(filler(), ISOLATED, ["above about 30 kV", "neither spark nor corona"], id="kV"),
    pytest.param(filler(), ISOLATED, ["metal all through"], id="one-conductor"),
    pytest.param(filler(), ISOLATED, ["carried 1.84 to 12.", "4.9 uA"], id="current"),
    pytest.param(
        filler(),
        {"resistance": [(5, 3), (3, OPEN)], "flow": [(6, 60), (2, 0)]},
        ["open for 3 s, 1 s of it in flow"],
        id="open-partly-in-flow",
    ),
]


@pytest.mark.parametrize(("of", "signals", "words"), NOTES)
def test_notes(of: Station, signals: Signals, words: list[str]) -> None:
    assert said(hazard(of, signals), *words)


REFUSALS = [
    pytest.param(filler(pipe_diameter_m=None), ISOLATED, TOLUENE, "pipe_diameter_m", id="no-bore"),
    pytest.param(
        filler().model_copy(update={"volume_unit": "kg"}),
        ISOLATED,
        Product(phase="powder"),
        'operation = "pouring"',
        id="powder-without-a-charge",
    ),
    pytest.param(filler(), ISOLATED, POWDER, "has to be in kg/min", id="powder-in-litres"),
    pytest.param(
        filler(), {"resistance": [(5, 3)], "flow": [(5, BAD)]}, TOLUENE, "spot.flow", id="silent"
    ),
    pytest.param(
        filler(Role.RUNNING),
        {"running": [(5, 1)]},
        TOLUENE,
        'such as rated_flow = "800 L/min".',
        id="no-rate-of-a-liquid",
    ),
    pytest.param(
        filler(Role.RUNNING),
        {"running": [(5, 1)]},
        POWDER,
        'such as rated_flow = "30 kg/min".',
        id="no-rate-of-a-powder",
    ),
    pytest.param(
        filler(Role.RUNNING),
        {"running": [(5, 1)]},
        None,
        '"800 L/min" of a liquid, "30 kg/min" of a powder',
        id="no-rate-of-either",
    ),
    pytest.param(
        filler(Role.RESISTANCE), {"resistance": [(5, 1)]}, TOLUENE, "Neither flow", id="no-flow"
    ),
    pytest.param(
        filler().model_copy(update={"volume_unit": None}),
        ISOLATED,
        None,
        "liquid or a powder",
        id="no-phase",
    ),
]


@pytest.mark.parametrize(("of", "signals", "product", "reason"), REFUSALS)
def test_no_estimate_says_why(
    of: Station, signals: Signals, product: Product | None, reason: str
) -> None:
    found = ask(of, signals, product, "stuff")
    assert isinstance(found, NoEstimate)
    assert any(reason in each for each in found.reasons)
    assert found.unseen == UNSEEN


@pytest.mark.parametrize("name", ["hydrogen", "Propane", "ethylene oxide"])
def test_a_gas_is_not_reckoned_as_a_liquid(name: str) -> None:
    found = ask(filler(), ISOLATED, None, name)
    assert isinstance(found, NoEstimate)
    (reason,) = found.reasons
    for words in (f"{name} is a gas", "hardly charges", "not covered", 'phase = "liquid"'):
        assert words in reason
    assert found.unseen == UNSEEN


def test_a_liquefied_gas_is_a_liquid_by_the_site_file() -> None:
    liquefied = Product(phase="liquid", conductivity_pS_m=1, relative_permittivity=1.7)
    found = hazard(filler(), ISOLATED, liquefied, "propane")
    assert found.inputs["mie_mJ"].typical == 0.25  # University of Washington vehicle fire pages


def test_every_reason_is_told_at_once() -> None:
    found = ask(filler(Role.RUNNING, pipe_diameter_m=None), {"running": [(5, 1)]})
    assert isinstance(found, NoEstimate)
    assert len(found.reasons) == 2


def test_a_bonded_truck_keeps_the_caution_about_what_floats_inside() -> None:
    """U.S. CSB case study 2007-06-I-KS: bonded and grounded, and a loose float sparked inside.

    Its liquid at 3 pS/m relaxes in 5.9 s (permittivity of 2 is our assumption); a decade either
    way is taken.
    """
    of = filler(kind="road_tanker")
    signals: Signals = {"resistance": [(600, 1.2)], "flow": [(600, 1500)]}
    found = hazard(of, signals, None, "VM&P naphtha")
    assert peaks(found, "relaxation_time_s") == pytest.approx([0.59028, 5.9028, 59.028], rel=1e-4)
    assert max(peaks(found, "peak_potential_V")) < 1e-3
    assert any("float" in each for each in found.unseen)
    assert any("2007-06-I-KS" in each for each in found.unseen)
    assert said(found, "does not show that nothing could ignite")


@pytest.mark.parametrize("product", [TOLUENE, None])
def test_nothing_is_ever_called_safe(product: Product | None) -> None:
    for signals in (ISOLATED, {"resistance": [(10, 1)], "flow": [(10, 0)]}):
        found = hazard(filler(), signals, product)
        texts = [*found.notes, *found.unseen, *(each.source for each in found.inputs.values())]
        assert found.notes
        assert found.unseen == UNSEEN
        assert not [text for text in texts if re.search(r"\bsafe(ly)?\b", text, re.IGNORECASE)]


def test_courses_are_exact_where_something_changes() -> None:
    signals: Signals = {"resistance": [(2, OPEN), (4, 3)], "flow": [(3, SEVEN_M_S), (3, 0)]}
    course = hazard(filler(), signals).courses[Level.HIGH]
    assert (course.time / S).tolist() == [0, 2, 3, 6]
    assert course.potential_V == pytest.approx([0, 24_500, 3.675e-5, 0], rel=1e-6, abs=1e-12)
    assert course.charge_uC == pytest.approx(course.potential_V * 1e-3, rel=1e-9)
    assert course.energy_mJ == pytest.approx(course.potential_V**2 * 0.5e-6, rel=1e-9)


def test_course_against_an_ode_solver() -> None:
    """The yardstick: scipy's LSODA on the record itself, by the textbook formulas in SI units."""
    ohms = [1e9, 3e8, 5e9, 2e8, 1e10, 1e9, 4e9, 2e9]
    flows = [0, 2000, 3500, 0, 800, 1200, 3000, 100]
    of = filler(open_ohm=1e12)
    signals: Signals = {"resistance": [(1, x) for x in ohms], "flow": [(1, x) for x in flows]}
    course = hazard(of, signals, form="schon").courses[Level.TYPICAL]

    def slope(t: float, v: ValueArray) -> ValueArray:
        n = min(int(t), 7)
        velocity = flows[n] / 60_000 / (math.pi * 0.05**2)
        return (3.75e-6 * (velocity * 0.1) ** 2 - v / ohms[n]) / 1e-9

    solved = [0.0]
    for n in range(8):
        found = solve_ivp(slope, (n, n + 1 - 1e-12), solved[-1:], "LSODA", rtol=1e-10, atol=1e-9)
        solved.append(float(found.y[0, -1]))
    np.testing.assert_allclose(course.potential_V, solved, rtol=1e-6)


def test_one_form_by_name_goes_before_the_site_file() -> None:
    rules = HazardRules(streaming_form="schon")
    by_site = hazard(filler(), ISOLATED, rules=rules).inputs["streaming_coefficient"]
    assert by_site.low == by_site.high == 3.75e-6
    by_name = hazard(filler(), ISOLATED, rules=rules, form="nfpa_77")
    assert by_name.inputs["streaming_coefficient"].low == 2.5e-5
    assert not said(by_name, "differ by")
    assert hazard(filler(), ISOLATED, rules=rules, form="spread").inputs[
        "streaming_coefficient"
    ].high == pytest.approx(2.5e-5)


def test_refuses_nonsense() -> None:
    with pytest.raises(ValueError, match="form must be one of spread, schon"):
        ask(filler(), ISOLATED, form="guess")
    now = situation(filler(), {}, (0, 1))
    with pytest.raises(ValueError, match="a span must end after its start, got 5 to 5"):
        estimate(filler(), None, None, {}, now, (5, 5), HazardRules())


KINDS = ("rail_tank_car", "road_tanker", "drum", "ibc", "mobile_vessel", "fixed_item")
PRODUCTS = [
    (TOLUENE, "toluene"),
    (None, "MEK"),
    (Product(phase="liquid"), "hydrogen"),
    (None, None),
]


def random_case(seed: int) -> tuple[Station, Signals, Product | None, str | None]:
    draw = random.Random(seed)
    read: list[float | str] = [0, 3, 50, 4e4, 1e5, 3e7, 5e9, OPEN, GAP, BAD]
    rates: list[float | str] = [0, 5, 700, 2400.5, GAP, BAD]
    signals: dict[str, list[Stretch]] = {
        "resistance": [(draw.choice([0.5, 1, 7]), draw.choice(read)) for _ in range(25)],
        "flow": [(0.2, 60.0), *((draw.choice([0.7, 2]), draw.choice(rates)) for _ in range(25))],
    }
    of = filler(
        kind=draw.choice([*KINDS, "flexible_bulk_bag"]),
        capacitance_pF=draw.choice([None, 20.0, 5000.0]),
        pipe_length_m=draw.choice([None, 0.5, 50.0]),
        filter_charge_uC_m3=draw.choice([None, 0.0, 300.0]),
    )
    return of, signals, *draw.choice(PRODUCTS)


@settings(deadline=None, max_examples=60)
@given(st.integers(0, 10**9))
def test_every_figure_rises_from_low_to_high(seed: int) -> None:
    found = hazard(*random_case(seed))
    for field in dataclasses.fields(Figures):
        figures = peaks(found, field.name)
        if field.name == "first_over_mie":
            figures = [-(each if each is not None else 2**62) for each in figures]
        elif field.name == "velocity_limit_m_s" and None not in figures:
            figures.reverse()  # the worst is the strictest
        elif None in figures:
            assert figures == [None, None, None]
            continue
        assert figures == sorted(figures), field.name
    for name in ("potential_V", "charge_uC", "energy_mJ"):
        low, typical, high = (getattr(found.courses[level], name) for level in Level)
        assert np.all(low >= 0)
        assert np.all(low <= typical * (1 + 1e-12))
        assert np.all(typical <= high * (1 + 1e-12))


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 10**9))
def test_figures_agree_with_each_other(seed: int) -> None:
    found = hazard(*random_case(seed))
    start, end = found.courses[Level.LOW].time[[0, -1]].tolist()
    for level in Level:
        figures, course = found.figures[level], found.courses[level]
        assert np.all(np.diff(course.time) > 0)
        if level is not Level.LOW:
            assert figures.peak_potential_V == course.potential_V.max()
            assert figures.peak_energy_mJ == course.energy_mJ.max()
        if figures.mie_ratio is None or abs(figures.mie_ratio - 1) < 1e-9:
            continue
        assert (figures.first_over_mie is not None) == (figures.mie_ratio > 1)
        if figures.first_over_mie is not None:
            assert start <= figures.first_over_mie <= end
