"""Words of the page: names without units in them, figures with their units, and no exponents."""

from __future__ import annotations

import math
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from analytics.core.electrostatics.hazard import Figures
from analytics.evidence.page_hazard import FIGURES
from analytics.evidence.words import Clock, at_least, digits, exact, name_of, ohms, told, unit_of
from bondtrail.site_tables import Limits


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (0.0, "0"),
        (1e-5, "0.00001"),
        (3.75e-6, "0.00000375"),
        (2.3999, "2.4"),
        (100.0, "100"),
        (999.4, "999"),
        (999.5, "1,000"),
        (-1191.67, "-1,192"),
        (5e9, "5,000,000,000"),
        (math.inf, "without end"),
    ],
)
def test_numbers_have_no_exponent_and_no_more_than_they_need(value: float, expected: str) -> None:
    assert digits(value) == expected


@pytest.mark.parametrize(
    ("ohm", "expected"),
    [
        (None, "\N{EN DASH}"),
        (0.0, "0 ohm"),
        (0.0004, "0.0004 ohm"),
        (2.26, "2.26 ohm"),
        (999.9, "1 kohm"),
        (58_750.0, "58.8 kohm"),
        (1e9, "1,000 Mohm"),
        (math.inf, "open"),
    ],
)
def test_a_resistance_has_the_unit_that_suits_it(ohm: float | None, expected: str) -> None:
    assert ohms(ohm) == expected


@pytest.mark.parametrize(
    ("code", "value", "expected"),
    [
        ("peak_energy_mJ", 7.2e-9, "below 0.000001 mJ"),
        ("peak_energy_mJ", 0.0, "0 mJ"),
        ("mie_ratio", 13.92, "13.9 times"),
        ("seconds_over_mie", 153.66, "2 min 34 s"),
        ("bond_lead_s", -4.0, "-4 s"),
        ("slope_ohm_per_day", 0.25, "0.25 ohm a day"),
        ("flow_kg_min", 30.0, "30 kg/min"),
        ("highest_ohm", "infinite", "open"),
        ("cause", "clamp_off", "clamp_off"),
        ("marginal", True, "yes"),
        ("marginal", False, "no"),
        ("losses", 3, "3"),
        ("loss_s", None, "\N{EN DASH}"),
    ],
)
def test_a_figure_has_its_unit(code: str, value: Any, expected: str) -> None:
    assert told(code, value) == expected


@pytest.mark.parametrize(
    ("code", "value", "unit", "expected"),
    [
        ("limit_ohm", 10.0, None, "10 ohm"),
        ("limit_ohm", 9.87654, None, "9.87654 ohm"),
        ("open_ohm", 1e15, None, "1,000,000,000,000,000 ohm"),
        ("brief_s", 0.001, None, "0.001 s"),
        ("flow_min", 5.0, "L/min", "5 L/min"),
        ("cluster_count", 3, None, "3 losses"),
    ],
)
def test_a_limit_keeps_all_its_digits(
    code: str, value: float, unit: str | None, expected: str
) -> None:
    assert exact(code, value, unit) == expected


@pytest.mark.parametrize("code", [*Limits.model_fields, *FIGURES])
def test_every_limit_and_figure_has_a_name_in_words(code: str) -> None:
    assert "_" not in name_of(code)
    assert unit_of(code) or code in ("flow_min", "first_over_mie")


def test_every_figure_of_the_estimate_is_told() -> None:
    assert set(FIGURES) == set(Figures.__dataclass_fields__)


def test_a_name_that_is_not_listed_loses_its_unit() -> None:
    assert name_of("level_ohm") == "level"
    assert name_of("slope_ohm_per_day") == "slope"
    assert name_of("after_work") == "after work"


AUTUMN = Clock(ZoneInfo("Europe/Lisbon"))
"""On 2026-10-25 the hour from 01:00 comes twice, by the IANA time zone database."""


@pytest.mark.parametrize(
    ("utc", "expected"),
    [
        (None, "\N{EN DASH}"),
        ("2026-03-10T06:33:08.610Z", "2026-03-10 06:33:08.610"),
        ("2026-07-01T23:30:00.000Z", "2026-07-02 00:30:00.000"),
        ("2026-10-25T00:30:00.000Z", "2026-10-25 01:30:00.000+0100"),
        ("2026-10-25T01:30:00.000Z", "2026-10-25 01:30:00.000+0000"),
    ],
)
def test_moments_are_those_of_the_site(utc: str | None, expected: str) -> None:
    assert AUTUMN.moment(utc) == expected


def test_a_date_is_told_once_where_it_is_one() -> None:
    start, end = "2026-03-10T06:00:00.000Z", "2026-03-10T07:00:00.000Z"
    assert AUTUMN.between(start, end) == "2026-03-10 06:00:00.000 to 07:00:00.000"
    later = "2026-03-11T07:00:00.000Z"
    assert AUTUMN.between(start, later).endswith(" to 2026-03-11 07:00:00.000")


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        pytest.param(0.0, "at least 0 L", id="none"),
        pytest.param(0.4299, "at least 0.429 L", id="little"),
        pytest.param(9.999, "at least 9.99 L", id="to-three-figures"),
        pytest.param(100.0, "at least 100 L", id="whole"),
        pytest.param(999.9, "at least 999 L", id="never-up"),
        pytest.param(12_345.9, "at least 12,345 L", id="much"),
    ],
)
def test_the_least_is_never_rounded_up(value: float, expected: str) -> None:
    assert at_least(value, "L") == expected
