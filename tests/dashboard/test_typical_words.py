"""A transfer beside the typical one: what differed first, and when too few are known."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.core.typical import FEW, Comparison, Typical, TypicalCourse, by_chance
from bondtrail.site import Role
from dashboard.figures.steps import Clock
from dashboard.typical_words import typical_part
from tests.dashboard.pages.conftest import Shown

S = 1_000_000_000
CLOCK = Clock(0, "UTC")
SIX = tuple(f"bay-1/{k}" for k in range(6))


def comparison(name: str, value: float | None, differs: bool | None = False) -> Comparison:
    return Comparison(name, 61 * S, value, 1.0, 2.0, 3.0, 6, differs)


def shown(typical: Typical) -> Shown:
    return Shown(typical_part(typical, CLOCK))


def test_without_a_transfer_there_is_nothing_to_compare() -> None:
    assert typical_part(None, CLOCK) is None


def test_too_few_good_ones_are_not_called_typical() -> None:
    page = shown(Typical("toluene", SIX[: FEW - 1], (comparison("flow_s", 9.0),)))
    assert f"Too few to call anything typical: at least {FEW} are needed." in page.text
    assert not [part for part in page.components if type(part).__name__ == "Table"]


def test_what_differed_first_is_told_with_its_figures() -> None:
    first = comparison("bond_lead_s", -4.0, True)
    text = shown(Typical("toluene", SIX, (first,), first)).text
    assert (
        "First to differ, at 00:01:01.000: bonded before flow by -4 s, the good ones 1 s to 3 s."
    ) in text
    assert "Beside 6 earlier good transfers of toluene here" in text
    assert "! outside the range" in text
    assert by_chance(6) in text  # 2 of 7: the words of the command


def test_nothing_that_differs_is_said_too() -> None:
    text = shown(Typical(None, SIX, (comparison("flow_s", 2.0),))).text
    assert "within their range in all that could be compared, which is no proof." in text
    assert "by chance" not in text


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("flow_s", 61.0, "Flow time 1 min 01 s 2 s 1 s to 3 s"),
        ("lowest_ohm", 3.05, "Lowest resistance 3.05 ohm 2 ohm"),
        ("resistance_ohm", float("inf"), "Resistance as it ran open"),
        ("volume_L", 18_537.2, "Quantity 18,540 L 2 L"),
        ("mean_rate_kg_min", 12.345, "Mean rate 12.35 kg/min"),
        ("flow_L_min", 565.0, "Flow as it ran 565 L/min"),
        ("time_to_bond_s", None, "Time to bond not known"),
        ("trips", 1.0, "Trips 1 2"),
        ("something_new", 1.5, "Something new 1.5"),
    ],
)
def test_each_figure_has_a_name_and_a_unit(name: str, value: float | None, said: str) -> None:
    assert said in shown(Typical(None, SIX, (comparison(name, value),))).text


def test_what_never_came_is_told_as_never() -> None:
    first = comparison("bond_lead_s", None, True)
    text = shown(Typical(None, SIX, (first,), first)).text
    assert "bonded before flow by never, the good ones 1 s to 3 s." in text


def test_a_figure_that_the_readings_do_not_tell_is_not_judged() -> None:
    unknown = Comparison("volume_L", S, None, 1.0, 2.0, 3.0, 6, None)
    text = shown(Typical(None, SIX, (unknown,))).text
    assert "Quantity not known 2 L 1 L to 3 L 6 not known" in text


def test_a_figure_of_too_few_is_not_judged() -> None:
    few = Comparison("median_ohm", S, 4.0, None, None, None, 0, None)
    text = shown(Typical(None, SIX, (few,))).text
    assert "Median resistance 4 ohm none - 0 too few to tell" in text


def test_it_is_laid_over_where_there_is_something_to_lay() -> None:
    course = TypicalCourse(*(np.zeros(2),) * 4)
    with_courses = Typical(None, SIX, courses={Role.FLOW: course})
    button = shown(with_courses).by_id("transfer-compare")
    assert getattr(button, "aria-pressed") == "false"
    assert not shown(Typical(None, SIX)).has("transfer-compare")
