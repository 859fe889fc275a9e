"""The page about the site file shows every table and key that there is, with its default."""

from __future__ import annotations

import pickle
import re
import tomllib
from pathlib import Path
from typing import Any, get_args

import pytest
from pydantic import BaseModel

from analytics.core.electrostatics.streaming import FORMS
from bondtrail.quantities import quantity
from bondtrail.site import (
    AlarmRules,
    HazardRules,
    Limits,
    Operation,
    RetentionRules,
    Role,
    Site,
    parse_site,
)
from bondtrail.site_checks import STATION_KEYS, TABLES
from bondtrail.site_quantities import OF_PRODUCT, OF_STATION
from bondtrail.site_tables import (
    Header,
    PointTable,
    ProductTable,
    ReportPlan,
    ShiftTable,
    SparkplugRules,
    keys_of,
)

PAGE = (Path(__file__).parents[2] / "docs" / "site-file.md").read_text(encoding="utf-8")
EXAMPLE = re.findall(r"```toml\n(.*?)```", PAGE, re.DOTALL)[0]


@pytest.fixture(scope="module")
def raw() -> dict[str, Any]:
    return tomllib.loads(EXAMPLE)


@pytest.fixture(scope="module")
def site() -> Site:
    return parse_site(EXAMPLE, "docs/site-file.md")


def test_the_example_is_a_site_file(site: Site) -> None:
    assert [station.id for station in site.stations] == ["rail-1", "drum-1", "bag-1"]
    assert [shift.name for shift in site.shifts] == ["early", "late", "night"]
    assert "invented" in site.name


def test_the_example_survives_the_way_to_another_process(site: Site) -> None:
    assert pickle.loads(pickle.dumps(site)) == site


def test_every_table_is_shown(raw: dict[str, Any]) -> None:
    assert set(raw) == set(TABLES)


@pytest.mark.parametrize(
    ("table", "model"),
    [
        pytest.param("site", Header, id="site"),
        pytest.param("limits", Limits, id="limits"),
        pytest.param("alarms", AlarmRules, id="alarms"),
        pytest.param("hazard", HazardRules, id="hazard"),
        pytest.param("retention", RetentionRules, id="retention"),
        pytest.param("sparkplug", SparkplugRules, id="sparkplug"),
        pytest.param("shift", ShiftTable, id="shift"),
        pytest.param("report", ReportPlan, id="report"),
    ],
)
def test_every_key_of_a_table_is_shown(
    raw: dict[str, Any], table: str, model: type[BaseModel]
) -> None:
    first = raw[table][0] if isinstance(raw[table], list) else raw[table]
    assert set(first) == set(keys_of(model))


def test_clocks_are_shown_as_they_are_taken_where_nothing_is_said(raw: dict[str, Any]) -> None:
    assert raw["site"]["clock_error_s"] == keys_of(Header)["clock_error_s"].default
    assert "`clock_error_s` of the site" in PAGE


def test_every_key_of_a_product_and_of_a_point_is_shown(raw: dict[str, Any]) -> None:
    assert set().union(*raw["product"].values()) == set(keys_of(ProductTable))
    points = raw["station"][0]["points"]
    assert set(points) == {role.value for role in Role}
    assert {key for point in points.values() for key in point} == set(keys_of(PointTable))


def test_every_key_of_a_station_is_shown_and_one_override(raw: dict[str, Any]) -> None:
    shown = set().union(*raw["station"])
    overrides = shown & set(keys_of(Limits))
    assert shown == set(STATION_KEYS) - set(keys_of(Limits)) | overrides
    assert len(overrides) == 1


def test_rules_of_the_hazard_estimate_stand_with_their_defaults(raw: dict[str, Any]) -> None:
    assert raw["hazard"].keys() - HazardRules().model_dump(exclude_none=True).keys() == {
        "leakage_high_ohm"  # left out by default
    }
    assert raw["hazard"].items() >= HazardRules().model_dump(exclude_none=True).items()


@pytest.mark.parametrize("name", [*get_args(Operation), *FORMS, "spread"])
def test_every_operation_and_form_is_named(name: str) -> None:
    assert f"`{name}`" in PAGE


ROWS = re.findall(r"^\| `(\w+) = ([\d.]+)` \| `(\w+) = \"(.+)\"` \|$", PAGE, re.MULTILINE)


def test_every_quantity_that_may_be_text_is_shown_both_ways() -> None:
    pairs = {**OF_PRODUCT, **OF_STATION}
    shown = {text_key: number_key for number_key, _, text_key, _ in ROWS}
    assert shown == {text_key: number_key for text_key, (number_key, _) in pairs.items()}
    for _, number, text_key, text in ROWS:
        assert quantity(text, pairs[text_key][1]) == float(number)


@pytest.mark.parametrize(("table", "model"), [("limits", Limits), ("alarms", AlarmRules)])
def test_limits_and_alarm_rules_stand_with_their_defaults(
    raw: dict[str, Any], table: str, model: type[BaseModel]
) -> None:
    assert raw[table] == model().model_dump()


def test_the_page_says_that_the_limits_are_no_advice() -> None:
    said = " ".join(PAGE.split())
    assert "defaults, not advice" in said
    assert "local codes" in said
    assert "not a safety function" in said
