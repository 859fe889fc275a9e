"""What a bond does, with the ohms and lengths of its excursions."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import pytest

from analytics.core.bond_events import bond_events, extremes, ohms
from analytics.core.bursts import MOST_CHANGES
from analytics.core.drafts import Draft, Scene
from analytics.core.events import Basis, What
from analytics.core.situation import situation
from bondtrail.site import Role
from tests.analytics.core.build import BAD, GAP, OPEN, Stretch, held, ns, spans, station, told


def drafts(
    seconds: float, signals: Mapping[str, Sequence[Stretch]], kind: str = "rail_tank_car"
) -> list[Draft]:
    where = station(*map(Role, signals), kind=kind)
    samples, span = told(**signals), (0, ns(seconds))
    scene = Scene.of(where, samples, span, situation(where, samples, span))
    return sorted(bond_events(scene), key=lambda draft: draft.time)


def details(found: list[Draft], what: What) -> list[tuple[float, str]]:
    return [(draft.time / ns(1), draft.detail) for draft in found if draft.what is what]


@pytest.mark.parametrize(
    ("ohm", "expected"),
    [
        pytest.param([(5, 4.0), (3, 37.0), (5, 4.0)], "37 ohm, for 3 s", id="one-value"),
        pytest.param(
            [(5, 4.0), (1, 12.0), (1, 900.0), (1, 41.0), (5, 4.0)],
            "12 ohm to 900 ohm, for 3 s",
            id="lowest-and-highest",
        ),
        pytest.param(
            [(5, 4.0), (2, 12.0), (3, OPEN), (5, 4.0)],
            "12 ohm to open circuit, for 5 s",
            id="until-low-again",
        ),
        pytest.param([(5, 4.0), (8, OPEN)], "open circuit, for at least 8 s", id="beyond-the-span"),
        pytest.param(
            [(5, 4.0), (2, 12.0), (6, GAP)], "12 ohm, for 2 s", id="as-far-as-it-is-known"
        ),
    ],
)
def test_an_excursion_tells_its_ohms_and_its_length(ohm: list[Stretch], expected: str) -> None:
    assert details(drafts(13, {"resistance": ohm}), What.BOND_LOST) == [(5, expected)]


@pytest.mark.parametrize(
    ("ohm", "expected"),
    [
        pytest.param([(5, 4.0), (8, OPEN)], [(5, "for at least 8 s")], id="off"),
        pytest.param([(5, 4.0), (2, OPEN), (6, 4.0)], [], id="a-bounce-is-not-off"),
        pytest.param(
            [(5, 4.0), (3, OPEN), (5, 4.0)], [(5, "for 3 s")], id="off-for-just-long-enough"
        ),
        pytest.param(
            [(5, 4.0), (5, GAP), (3, OPEN)],
            [(10, "found open; the hookup ended 5 s before, where the bond became unknown")],
            id="found-off",
        ),
        pytest.param([(13, OPEN)], [], id="never-on"),
    ],
)
def test_a_clamp_is_off_where_its_hookup_ends(
    ohm: list[Stretch], expected: list[tuple[float, str]]
) -> None:
    assert details(drafts(13, {"resistance": ohm}), What.CLAMP_OFF) == expected


def test_a_fixed_item_has_no_clamp() -> None:
    found = drafts(13, {"resistance": [(5, 4.0), (8, OPEN)]}, "fixed_item")
    assert details(found, What.CLAMP_OFF) == []
    assert details(found, What.BOND_LOST) != []


def test_a_verified_bond_is_no_sharper_than_the_low_behind_it() -> None:
    found = drafts(13, {"resistance": [(5, OPEN), (8, 4.0)]})
    (verified,) = [draft for draft in found if draft.what is What.VERIFIED]
    assert (verified.time, verified.since) == (ns(6), ns(5))  # low since 4 to 5, hold 1 s
    assert verified.basis is Basis.INFERRED


@pytest.mark.parametrize(
    ("signals", "expected"),
    [
        pytest.param(
            {"resistance": [(5, 4.0), (3, GAP), (5, 4.0)]},
            [(5, "resistance: silent, last reading 1 s before, for 3 s")],
            id="silent",
        ),
        pytest.param(
            {"resistance": [(5, 4.0), (3, BAD), (5, 4.0)]},
            [(5, "resistance: bad quality, for 3 s")],
            id="bad",
        ),
        pytest.param(
            {"status": [(5, 1), (8, 2)]},
            [(5, "the monitor says fault, for at least 8 s")],
            id="status-fault",
        ),
        pytest.param(
            {"status": [(5, 1), (8, 3)]},
            [(5, "the monitor says off, for at least 8 s")],
            id="status-off",
        ),
    ],
)
def test_an_unknown_bond_says_why(
    signals: dict[str, list[Stretch]], expected: list[tuple[float, str]]
) -> None:
    found = drafts(13, signals)
    assert details(found, What.BOND_UNKNOWN) == expected
    assert {d.basis for d in found if d.what is What.BOND_UNKNOWN} == {Basis.MISSING}


@pytest.mark.parametrize(
    ("signals", "role", "detail"),
    [
        pytest.param(
            {"resistance": [(13, 4.0)], "status": [(5, 1), (3, 2), (5, 1)]},
            Role.STATUS,
            "status: fault, for 3 s",
            id="the-monitor-says-so",
        ),
        pytest.param(
            {"resistance": [(5, 4.0), (3, BAD), (5, 4.0)], "status": [(13, 1)]},
            Role.RESISTANCE,
            "resistance: bad quality, for 3 s",
            id="bad-readings",
        ),
    ],
)
def test_a_fault_is_told_with_its_point(
    signals: dict[str, list[Stretch]], role: Role, detail: str
) -> None:
    faults = [d for d in drafts(13, signals) if d.what in (What.FAULT_ON, What.FAULT_OFF)]
    assert [(d.time / ns(1), d.role, d.detail) for d in faults] == [
        (5, role, detail),
        (8, role, ""),
    ]


@pytest.mark.parametrize("code", [2, 3])
def test_a_bond_found_lost_after_fault_or_off_may_have_been_lost_at_any_moment_in_it(
    code: int,
) -> None:
    found = drafts(40, {"status": [(10, 1), (20, code), (10, 0)]})
    silent = drafts(40, {"status": [(10, 1), (20, GAP), (10, 0)]})
    whats = (What.BOND_KNOWN, What.BOND_LOST, What.CLAMP_OFF)
    assert [(d.time, d.what, d.since) for d in found if d.what in whats] == [
        (ns(30), what, ns(9)) for what in whats
    ]
    assert [d.since for d in silent if d.what in whats] == [ns(9)] * 3
    faults = [d.since for d in found if d.what in (What.FAULT_ON, What.FAULT_OFF)]
    assert faults == ([ns(9), ns(29)] if code == 2 else [])  # of these each reading tells


def test_a_bond_told_by_status_has_no_ohms() -> None:
    found = drafts(13, {"status": [(3, 0), (5, 1), (5, 0)]})
    assert details(found, What.CONTACT) == [(3, "")]
    assert details(found, What.BOND_LOST) == [(8, "open, for at least 5 s")]


def test_a_reading_that_crosses_the_limit_without_rest_is_told_as_one() -> None:
    ohm: list[Stretch] = [
        (30, 4.0),
        *[(1, 10.5 if n % 2 == 0 else 9.5) for n in range(1999)],
        (30, 4.0),
    ]
    found = drafts(2059, {"resistance": ohm})
    assert MOST_CHANGES < 1999
    assert [(d.time / ns(1), d.what) for d in found] == [
        (1, What.VERIFIED),
        (30, What.BOND_LOST),
        (30, What.UNSTEADY),
        (2029, What.BOND_LOW),
        (2030, What.VERIFIED),
    ]
    (unsteady,) = [d for d in found if d.what is What.UNSTEADY]
    assert unsteady.detail == (
        "changes 2,000 times in 33 min 19 s, not told one by one, 9.5 ohm to 10.5 ohm"
    )


def test_extremes_are_those_in_force() -> None:
    samples = held((2, 1.0), (2, 5.0), (2, 3.0))
    assert extremes(samples, spans((0.5, 1.5), (1, 3), (3, 6))) == ([1, 1, 3], [1, 5, 5])
    assert extremes(samples, spans()) == ([], [])


@pytest.mark.parametrize(
    ("value", "said"),
    [(4.254, "4.25 ohm"), (52_000.0, "52 kohm"), (math.inf, "open circuit"), (0.0, "0 ohm")],
)
def test_ohms(value: float, said: str) -> None:
    assert ohms(value) == said
