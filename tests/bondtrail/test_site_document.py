"""The page about the site file shows every table and key that there is, with its default."""

from __future__ import annotations

import pickle
import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
from pydantic import BaseModel

from bondtrail.site import AlarmRules, Limits, Role, Site, parse_site
from bondtrail.site_checks import STATION_KEYS, TABLES
from bondtrail.site_tables import Header, PointTable, Product, ReportPlan, ShiftTable, keys_of

PAGE = (Path(__file__).parents[2] / "docs" / "site-file.md").read_text(encoding="utf-8")
EXAMPLE = re.findall(r"```toml\n(.*?)```", PAGE, re.DOTALL)[0]


@pytest.fixture(scope="module")
def raw() -> dict[str, Any]:
    return tomllib.loads(EXAMPLE)


@pytest.fixture(scope="module")
def site() -> Site:
    return parse_site(EXAMPLE, "docs/site-file.md")


def test_the_example_is_a_site_file(site: Site) -> None:
    assert [station.id for station in site.stations] == ["rail-1"]
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
        pytest.param("shift", ShiftTable, id="shift"),
        pytest.param("report", ReportPlan, id="report"),
    ],
)
def test_every_key_of_a_table_is_shown(
    raw: dict[str, Any], table: str, model: type[BaseModel]
) -> None:
    first = raw[table][0] if isinstance(raw[table], list) else raw[table]
    assert set(first) == set(keys_of(model))


def test_every_key_of_a_product_and_of_a_point_is_shown(raw: dict[str, Any]) -> None:
    assert set(raw["product"]["toluene"]) == set(keys_of(Product))
    points = raw["station"][0]["points"]
    assert set(points) == {role.value for role in Role}
    assert {key for point in points.values() for key in point} == set(keys_of(PointTable))


def test_every_key_of_a_station_is_shown_and_one_override(raw: dict[str, Any]) -> None:
    overrides = set(raw["station"][0]) & set(keys_of(Limits))
    assert set(raw["station"][0]) == set(STATION_KEYS) - set(keys_of(Limits)) | overrides
    assert len(overrides) == 1


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
