"""What an estimate says of the record, the product and the vessel."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np
import pytest

from analytics.core.electrostatics import notes
from analytics.core.electrostatics.drive import Drive, Levels, drive
from analytics.core.electrostatics.inputs import Inputs, gather
from analytics.core.electrostatics.spread import Level, Spread
from analytics.core.situation import situation
from bondtrail.site import HazardRules, Product, Role, Station
from tests.analytics.core.build import BAD, GAP, OPEN, Stretch, ns, station, told

LEAK = Spread(1e5, 1e9, math.inf, "ohm", "a test")
METERED = station(Role.RESISTANCE, Role.FLOW, resume_within_s=3)
BOTH = station(Role.RESISTANCE, Role.FLOW, Role.RUNNING, flow_min=5, resume_within_s=3)
LIQUID = Product(phase="liquid", mie_mJ=0.24)


def driven(of: Station, **signals: Sequence[Stretch]) -> Drive:
    recorded = told(**signals)
    until = max(sum(lasts for lasts, _ in stretches) for stretches in signals.values())
    span = 0, ns(until)
    found = drive(of, recorded, situation(of, recorded, span), span, LEAK)
    assert found is not None
    return found


def inputs(of: Station = METERED, product: Product = LIQUID, form: str = "schon") -> Inputs:
    return gather(of, product, None, HazardRules(), form)


def currents(*microampere: float) -> Levels:
    return {
        level: np.array([0.0, each * 1e-6]) for level, each in zip(Level, microampere, strict=True)
    }


def only(said: Iterable[str], word: str) -> str:
    (found,) = [each for each in said if word in each]
    return found


def test_what_is_known_throughout_needs_no_such_note() -> None:
    found = driven(METERED, resistance=[(9, 3)], flow=[(9, 60)])
    assert list(notes.of_unknown(METERED, found, "L/min")) == []


BEGINNINGS = [
    pytest.param({"resistance": [(9, OPEN)], "flow": [(9, 60)]}, "in the middle of", id="open"),
    pytest.param({"resistance": [(9, 5e4)], "flow": [(9, 60)]}, "in the middle of", id="not-low"),
    pytest.param(
        {"resistance": [(1, GAP), (8, 3)], "flow": [(9, 60)]}, "in the middle of", id="unknown"
    ),
    pytest.param(
        {"resistance": [(9, OPEN)], "flow": [(1, GAP), (1, 0), (7, 60)]},
        "where flow is not known",
        id="flow-unknown",
    ),
    pytest.param(
        {"resistance": [(99, OPEN)], "flow": [(50, GAP), (49, 60)]},
        "where flow is not known",
        id="flow-unknown-apart",
    ),
    pytest.param({"resistance": [(9, 3)], "flow": [(9, 60)]}, None, id="low"),
    pytest.param({"resistance": [(9, 10)], "flow": [(9, 60)]}, None, id="at-the-limit"),
    pytest.param({"resistance": [(9, OPEN)], "flow": [(1, 0), (8, 60)]}, None, id="at-rest"),
    pytest.param({"resistance": [(9, OPEN)], "flow": [(9, 0.01)]}, None, id="counts-as-none"),
    pytest.param(
        {"resistance": [(1, 3), (8, OPEN)], "flow": [(9, 60)]}, None, id="opened-later-on"
    ),
]


@pytest.mark.parametrize(("signals", "words"), BEGINNINGS)
def test_a_vessel_that_may_have_come_with_charge(
    signals: dict[str, Sequence[Stretch]], words: str | None
) -> None:
    said = " ".join(notes.of_beginning(METERED, driven(METERED, **signals)))
    assert said.startswith("The high figures are at least") == (words is not None)
    assert words is None or f"begins {words}" in said


UNKNOWN = [
    pytest.param(
        {"resistance": [(4, 3), (4, GAP), (12, 3)], "flow": [(2, 60), (18, 0)]},
        ["The bond was unknown for 4 s, none of it in flow: the low figures take it for perfect"],
        id="bond-without-flow",
    ),
    pytest.param(
        {"resistance": [(4, 3), (4, BAD), (12, 3)], "flow": [(6, 60), (14, 0)]},
        ["The bond was unknown for 4 s, 2 s of it in flow or where it may have flowed"],
        id="bond-in-flow",
    ),
    pytest.param(
        {"resistance": [(20, 3)], "flow": [(1, 90), (1, 60), (2, GAP), (16, 0)]},
        [
            "Flow was unknown for 2 s in which it may have run: the low figures take it for none,"
            " the typical ones for what was last known, the high ones for 90 L/min."
        ],
        id="flow-beside-flow",
    ),
    pytest.param(
        {"resistance": [(20, 3)], "flow": [(1, 60), (10, GAP), (9, 0)]},
        [
            "Flow was unknown for 7 s away from any flow on record: none is counted; the record"
            " cannot tell.",
            "Flow was unknown for 3 s in which it may have run",
        ],
        id="flow-away-from-flow",
    ),
]


@pytest.mark.parametrize(("signals", "expected"), UNKNOWN)
def test_unknown_is_told_with_its_length(
    signals: dict[str, Sequence[Stretch]], expected: list[str]
) -> None:
    said = list(notes.of_unknown(METERED, driven(METERED, **signals), "L/min"))
    assert len(said) == len(expected)
    assert all(note.startswith(begin) for note, begin in zip(said, expected, strict=True))


def test_a_week_of_silence_is_told_in_days() -> None:
    week: Sequence[Stretch] = [(60, 60), (7 * 86_400, GAP), (60, 60)]
    found = driven(METERED, resistance=[(1, 3)], flow=week)
    said = only(notes.of_unknown(METERED, found, "L/min"), "away from any flow")
    assert said.startswith("Flow was unknown for 6 d 23 h away")


def test_flow_that_is_on_by_its_contact_takes_the_least_that_counts() -> None:
    found = driven(
        BOTH, resistance=[(20, 3)], flow=[(2, 80), (5, BAD), (13, 0)], running=[(7, 1), (13, 0)]
    )
    (said,) = notes.of_unknown(BOTH, found, "L/min")
    assert said == (
        "Flow was on for 5 s at a rate that is not known: the low figures take 5 L/min, the least"
        " that counts as flow, the typical ones what was last known, the high ones 80 L/min."
    )


@pytest.mark.parametrize(
    ("high", "words"),
    [
        (1e10, "100 kohm, or what was read, at the low level, 1 Gohm at the typical one, 10 Gohm"),
        (1e15, "1e+06 Gohm at the high one"),
        (math.inf, "nothing at all at the high one"),
    ],
)
def test_what_an_open_bond_leaks_is_told_in_its_own_size(high: float, words: str) -> None:
    leak = Spread(1e5, 1e9, high, "ohm", "a test")
    found = driven(METERED, resistance=[(2, OPEN)], flow=[(2, 60)])
    assert words in only(notes.of_bond(METERED, found, leak), "still leaks")


@pytest.mark.parametrize(
    ("ohm", "words"),
    [
        (9.5, "9.5 ohm"),
        (5.2e3, "5.2 kohm"),
        (5.922e8, "592.2 Mohm"),
        (2.66667e9, "2.667 Gohm"),
        (math.inf, "any"),
    ],
)
def test_resistances_in_words(ohm: float, words: str) -> None:
    assert notes.ohms(ohm) == words


@pytest.mark.parametrize(
    ("levels", "words"),
    [
        pytest.param((1.8375, 4.9, 12.25), "1.84 to 12.2 uA into the vessel, 4.9 uA", id="spread"),
        pytest.param((0.169, 0.169, 0.169), "carried 0.169 uA into the vessel.", id="one-value"),
        pytest.param((0, 0.2, 0.2), "0 to 0.2 uA into the vessel, 0.2 uA at", id="unknown-flow"),
    ],
)
def test_the_current_is_told_once_where_the_levels_agree(
    levels: tuple[float, ...], words: str
) -> None:
    assert words in only(notes.of_current(currents(*levels), inputs()), "At its greatest")


SILENT: Sequence[Stretch] = [(20, BAD)]
DRUM = station(Role.RESISTANCE, Role.FLOW, kind="drum")
BAG = station(Role.RESISTANCE, Role.FLOW, kind="flexible_bulk_bag")
# NFPA 77, API RP 2003, IEC TS 60079-32-1: 10 ohm and 1 Mohm, from memory; NBS 69C: 10 Mohm;
# IEC TS 60079-32-1: 100 Mohm, from memory; IEC 61340-4-4: 10 Mohm in 2012, 100 Mohm in 2018.
CRITERIA = [
    pytest.param(DRUM, [(20, 3)], "3 ohm", [], ["10 ohm", "1 Mohm"], id="above-none"),
    pytest.param(DRUM, [(20, 10)], "10 ohm", [], ["10 ohm", "1 Mohm"], id="at-the-limit"),
    pytest.param(DRUM, [(9, 3), (11, 6e4)], "60 kohm", ["10 ohm"], ["1 Mohm"], id="above-one"),
    pytest.param(
        DRUM, [(9, 3), (11, OPEN)], "an open circuit", ["10 ohm", "100 Mohm"], [], id="above-all"
    ),
    pytest.param(
        BAG,
        [(20, 2e7)],
        "20 Mohm",
        ["IEC 61340-4-4:2012"],
        ["IEC 61340-4-4:2018"],
        id="editions-for-a-bag",
    ),
]


@pytest.mark.parametrize(("of", "ohms", "most", "above", "others"), CRITERIA)
def test_the_greatest_resistance_in_flow_stands_beside_published_criteria(
    of: Station, ohms: Sequence[Stretch], most: str, above: list[str], others: list[str]
) -> None:
    (said,) = notes.of_criteria(of, driven(of, resistance=ohms, flow=[(20, 60)]))
    assert f"recorded in flow was {most}." in said
    _, *parts = said.removesuffix(".").split("It is ")
    over = next((part for part in parts if part.startswith("above")), "")
    rest = next((part for part in parts if part.startswith("not above")), "")
    assert all(word in over for word in above)
    assert all(word in rest for word in others)
    assert bool(over) == bool(above)
    assert bool(rest) == bool(others)
    assert "for the site's own codes" in said
    assert ("bulk bag" in said) == (of is BAG)


@pytest.mark.parametrize(
    ("ohms", "flow"),
    [
        pytest.param([(9, 3), (11, OPEN)], [(5, 60), (15, 0)], id="open-without-flow"),
        pytest.param([(9, 3), (11, BAD)], [(20, 60)], id="unknown-is-no-reading"),
    ],
)
def test_only_what_was_read_in_flow_is_compared(
    ohms: Sequence[Stretch], flow: Sequence[Stretch]
) -> None:
    (said,) = notes.of_criteria(DRUM, driven(DRUM, resistance=ohms, flow=flow))
    assert "recorded in flow was 3 ohm." in said


def test_without_a_reading_in_flow_no_criterion_is_told() -> None:
    found = driven(DRUM, resistance=SILENT, flow=[(20, 60)])
    assert list(notes.of_criteria(DRUM, found)) == []


def test_when_the_vessel_holds_the_ignition_energy_and_what_would_have_held_it() -> None:
    """Our own worked example: 100 pF hold 0.24 mJ at 2190.89 V; 37.5 nA need 2.66667e9 ohm."""
    of = METERED.model_copy(update={"capacitance_pF": 100.0})
    volts, leak = notes.of_ignition(inputs(of), currents(0.0375, 0.0375, 0.0375))
    assert volts == "The vessel holds the minimum ignition energy at 2,191 V, by its capacitance."
    assert "below 100 V at the greatest current" in leak
    assert "at most 2.667 Gohm (" in leak
    assert "from memory" in leak


def test_both_are_told_with_their_ends() -> None:
    """Worked by hand: 0.24 mJ on 10, 100 and 300 pF; 100 V over 1, 2 and 4 uA."""
    drum = station(Role.RESISTANCE, Role.FLOW, kind="drum")
    volts, leak = notes.of_ignition(inputs(drum), currents(1, 2, 4))
    assert "at 2,191 V (1,265 to 6,928 V by the ends of both)" in volts
    assert "at most 25 Mohm at the high level, 50 Mohm at the typical one" in leak


@pytest.mark.parametrize(
    ("product", "levels", "words"),
    [
        pytest.param(Product(phase="liquid"), (1, 1, 1), ["To hold it"], id="no-energy-known"),
        pytest.param(LIQUID, (0, 0, 0), ["The vessel holds"], id="nothing-charges"),
        pytest.param(LIQUID, (0, 0, 5), ["The vessel holds", "any at the"], id="perhaps-nothing"),
    ],
)
def test_what_is_not_known_or_does_not_charge_is_left_out(
    product: Product, levels: tuple[float, ...], words: list[str]
) -> None:
    said = list(notes.of_ignition(inputs(product=product), currents(*levels)))
    assert len(said) == len(words)
    assert all(word in note for word, note in zip(words, said, strict=True))
