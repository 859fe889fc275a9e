"""JSON: one object of tables, figures as objects with what stands behind them."""

from __future__ import annotations

import json
from typing import Any

from analytics.core.shares import wilson
from analytics.reports.json_file import json_file
from tests.analytics.reports import made


def tables(*rows: made.Row) -> dict[str, Any]:
    def refuse(name: str) -> None:
        raise AssertionError(f"{name} is no JSON")

    text = json_file(made.report(made.table(*rows)))
    found: dict[str, Any] = json.loads(text, parse_constant=refuse)
    return found


def test_a_figure_has_exactly_its_five_parts() -> None:
    (row,) = tables(made.row())["made"]
    part = wilson(9, 10)
    assert row["share"] == {
        "value": 0.9,
        "low": part.low,
        "high": part.high,
        "count": 9,
        "of": 10,
    }
    assert not any(name.startswith("share_") for name in row)


def test_numbers_times_and_texts_are_as_everywhere() -> None:
    (row,) = tables(made.row(cause="=1+1"))["made"]
    assert row["at"] == "2026-03-10T06:00:00.250Z"
    assert (row["day"], row["count"], row["lowest_ohm"]) == ("2026-03-10", 3, 1 / 3)
    assert row["cause"] == "=1+1"  # programs get what is there
    assert "short" not in row  # and no shortened form of it


def test_what_is_unknown_is_null_and_an_open_circuit_is_open() -> None:
    (row,) = tables(made.UNKNOWN)["made"]
    assert row["lowest_ohm"] == "open"
    assert [row[name] for name in ("at", "day", "seconds", "count")] == [None] * 4
    assert row["share"] == {"value": None, "low": None, "high": None, "count": 0, "of": 0}


def test_every_table_is_under_its_name() -> None:
    found = tables()
    assert list(found) == ["summary", "contents", "made"]
    assert found["made"] == []
