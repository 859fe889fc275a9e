"""A transfer beside the good ones: figures, ranges, and where it first differs."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest

from analytics.core.comparable import Comparable
from analytics.core.typical import (
    FEW,
    Comparison,
    Figure,
    by_chance,
    compared,
    figures,
    first_difference,
    is_good,
)
from bondtrail.results import Hookup, Outcome, Transfer, Trip, TripCause, TripClass
from tests.analytics.core.build import ns
from tests.analytics.made import a_transfer


def transfer(**other: Any) -> Transfer:
    told: dict[str, Any] = {
        "end": ns(1900),
        "flow_s": 800.0,
        "volume": 8000.0,
        "unit": "L",
        "bond_lead_s": 30.0,
    }
    return dataclasses.replace(a_transfer("spot", ns(1000)), **(told | other))


def hookup(start: float, end: float, to_bond: float | None = 2.0) -> Hookup:
    outcome = Outcome.FAILED if to_bond is None else Outcome.VERIFIED
    return Hookup("spot", ns(start), ns(end), outcome, to_bond, 2.0, 3.0, None)


def value_and_second(figure: Figure) -> tuple[float | None, float]:
    return figure.value, figure.moment / ns(1)


def test_figures_of_a_transfer_and_when_each_was_settled() -> None:
    found = figures(transfer(), [hookup(900, 1950), hookup(1960, 2000)])
    assert {name: value_and_second(figure) for name, figure in found.items()} == {
        "bond_lead_s": (30, 1000),
        "contact_lead_s": (100, 1000),
        "time_to_bond_s": (2, 902),
        "lowest_ohm": (2, 1950),
        "median_ohm": (3, 1950),
        "clamp_off_after_s": (50, 1950),
        "flow_s": (800, 1900),
        "paused_s": (100, 1900),
        "volume_L": (8000, 1900),
        "mean_rate_L_min": (600, 1900),
        "not_bonded_s": (0, 1900),
        "no_data_s": (0, 1900),
        "bypassed_s": (0, 1900),
        "trips": (0, 1900),
    }


def test_a_clamp_off_in_flow_comes_off_before_the_end() -> None:
    found = figures(transfer(), [hookup(900, 1500)])
    assert value_and_second(found["clamp_off_after_s"]) == (-400, 1500)


def test_contact_after_the_flow_began_is_settled_then() -> None:
    found = figures(transfer(), [hookup(1020, 1950)])
    assert value_and_second(found["contact_lead_s"]) == (-20, 1020)


def test_without_a_meter_or_a_clamp_there_is_less_to_compare() -> None:
    found = figures(transfer(volume=None, unit=None), [])
    assert not {"volume_L", "mean_rate_L_min", "lowest_ohm", "contact_lead_s"} & found.keys()


def test_trips_are_settled_by_the_first() -> None:
    trips = [
        Trip("spot", ns(at), "x", TripClass.GENUINE, TripCause.CLAMP_OFF, False, None, None)
        for at in (1300, 1200)
    ]
    assert value_and_second(figures(transfer(trips=2), [], trips)["trips"]) == (2, 1200)


@pytest.mark.parametrize(
    ("other", "never"),
    [
        pytest.param({"not_bonded_s": 5.0}, True, id="flowed-known-not-bonded"),
        pytest.param({"no_data_s": 800.0}, False, id="nobody-knows"),
        pytest.param(
            {"not_bonded_s": 790.0, "no_data_s": 10.0}, False, id="not-all-of-it-is-known"
        ),
    ],
)
def test_a_bond_that_never_came_is_told_from_one_that_nobody_saw(
    other: dict[str, float], never: bool
) -> None:
    assert figures(transfer(bond_lead_s=None, **other), [])["bond_lead_s"].never is never


def test_a_hookup_that_failed_never_took_its_time() -> None:
    figure = figures(transfer(), [hookup(900, 1950, None)])["time_to_bond_s"]
    assert (figure.value, figure.never, figure.moment) == (None, True, ns(1950))


@pytest.mark.parametrize(
    ("told", "changed"),
    [
        pytest.param(Comparable(), {}, id="all"),
        pytest.param(
            Comparable(volume=False), {"volume_L": None, "mean_rate_L_min": None}, id="no-volume"
        ),
        pytest.param(Comparable(bypass=False), {"bypassed_s": None}, id="no-bypass"),
    ],
)
def test_a_figure_that_readings_do_not_tell_has_no_value(
    told: Comparable, changed: dict[str, None]
) -> None:
    whole = {name: each.value for name, each in figures(transfer(), [hookup(900, 1950)]).items()}
    found = figures(transfer(), [hookup(900, 1950)], told=told)
    assert {name: each.value for name, each in found.items()} == whole | changed


@pytest.mark.parametrize(
    ("told", "left_out"),
    [
        pytest.param(Comparable(clamp_off=False), {"clamp_off_after_s"}, id="never-seen-off"),
        pytest.param(Comparable(lead=False), {"bond_lead_s"}, id="a-fixed-item"),
    ],
)
def test_a_figure_that_would_mean_something_else_is_left_out(
    told: Comparable, left_out: set[str]
) -> None:
    whole = figures(transfer(), [hookup(900, 1950)])
    assert whole.keys() - figures(transfer(), [hookup(900, 1950)], told=told).keys() == left_out


GOOD = [10.0, 12.0, 11.0, 14.0, 13.0]


def beside(value: float | None, good: list[float | None], *, never: bool = False) -> Comparison:
    this = {"flow_s": Figure(value, 7, never)}
    (found,) = compared(this, [{"flow_s": Figure(each, 0)} for each in good])
    return found


@pytest.mark.parametrize(
    ("value", "never", "differs"),
    [
        pytest.param(12.0, False, False, id="within"),
        pytest.param(10.0, False, False, id="as-low-as-the-lowest"),
        pytest.param(14.0, False, False, id="as-high-as-the-highest"),
        pytest.param(9.9, False, True, id="below"),
        pytest.param(14.1, False, True, id="above"),
        pytest.param(None, True, True, id="never-came"),
        pytest.param(None, False, None, id="nobody-knows"),
    ],
)
def test_a_figure_differs_outside_the_range(
    value: float | None, never: bool, differs: bool | None
) -> None:
    found = beside(value, [*GOOD, None], never=never)
    assert (found.low, found.median, found.high, found.of) == (10, 12, 14, 5)
    assert (found.moment, found.value, found.differs) == (7, value, differs)


def test_fewer_than_five_are_no_range_to_differ_from() -> None:
    few = beside(99.0, list(GOOD[: FEW - 1]))
    assert (few.of, few.differs, few.low, few.high) == (4, None, 10, 14)
    none = beside(99.0, [])
    assert (none.of, none.differs, none.median) == (0, None, None)


def test_a_figure_that_good_ones_lack_counts_those_that_have_it() -> None:
    this = {"volume_L": Figure(5.0, 0)}
    good = [{"volume_L": Figure(5.0, 0)}, {}, {"flow_s": Figure(1.0, 0)}]
    assert compared(this, good)[0].of == 1


def test_comparisons_are_by_moment_and_the_first_that_differs_is_named() -> None:
    moments = {"late": 9, "early": 1, "middle": 5}
    this = {name: Figure(99.0 if name != "early" else 1.0, at) for name, at in moments.items()}
    good = [{name: Figure(1.0, 0) for name in moments}] * FEW
    found = compared(this, good)
    assert [each.name for each in found] == ["early", "middle", "late"]
    first = first_difference(found)
    assert first is not None
    assert first.name == "middle"
    assert first_difference(found[:1]) is None


@pytest.mark.parametrize(
    ("other", "good"),
    [
        pytest.param({}, True, id="nothing-found"),
        pytest.param({"compliant": False}, False, id="not-compliant"),
        pytest.param({"findings": ("spot/early_release/x",)}, False, id="a-minor-finding"),
        pytest.param({"trips": 1}, False, id="a-trip"),
    ],
)
def test_a_good_transfer_is_one_in_which_nothing_was_found(
    other: dict[str, object], good: bool
) -> None:
    assert is_good(transfer(**other)) is good


def test_how_often_a_good_one_differs_by_chance_is_told() -> None:
    # Of n + 1 alike, each is as likely the least as any other, and the greatest.
    assert "outside the range of 9 in 2 of 10 cases, for each figure" in by_chance(9)
