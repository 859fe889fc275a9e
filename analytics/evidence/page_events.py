"""The page of a package: what happened, in order, what is missing, and what was not as usual."""

from __future__ import annotations

from typing import Any

from analytics.evidence.layout import Column, Row, Section, Table, Width, by_day
from analytics.evidence.page_facts import Source
from analytics.evidence.rows import Plain
from analytics.evidence.words import amount, name_of, ohms, told, unit_of
from analytics.reports.words import NOTHING, plain

UNRESOLVED = "="
"""Behind the time of an event whose place in the order cannot be told."""


def events(source: Source) -> Section:
    """Return the sequence of events."""
    rows = [(row["time"], _event(source, row)) for row in source.replay["events"]]
    text = [
        "Each event stands at the moment it was seen. Known: a reading or a person says so. "
        "Inferred: a rule says so, from readings. Missing: from here on nothing is known.",
        "Bond: its resistance; \N{EN DASH} where it was open or not known, the detail says which. "
        f"{UNRESOLVED} behind a time: whether this came before or after the one above cannot be "
        "told, they lie closer than their points report. events.csv has since when each may have "
        "been so.",
    ]
    columns = (
        Column("Seen at", Width.TIME),
        Column("What", Width.NAME),
        Column("Basis", Width.WORD),
        Column("Detail"),
        Column("Bond", Width.SHORT),
        Column("Flow", Width.SHORT),
        Column("So far", Width.SHORT),
    )
    return Section(
        "The sequence of events", text, tables=[Table(columns, list(by_day(source.clock, rows)))]
    )


def _event(source: Source, row: Plain) -> Row:
    order = "" if row["order_certain"] else f" {UNRESOLVED}"
    return Row(
        (
            source.clock.time(row["time"]) + order,
            plain(row["what"]),
            row["basis"],
            row["detail"],
            ohms(row["ohm"]),
            _amount(row["flow"], source.rate_unit),
            _amount(row["volume"], source.volume_unit),
        )
    )


def _amount(value: float | None, unit: str) -> str:
    return NOTHING if value is None else amount(value, unit)


def missing(source: Source) -> Section:
    """Return what is not known, and why."""
    clock = source.clock
    rows = [
        Row((plain(row["about"]), clock.moment(row["start"]), clock.moment(row["end"]), row["why"]))
        for row in source.replay["missing"]
    ]
    columns = (
        Column("What", Width.NAME),
        Column("From", Width.MOMENT),
        Column("To", Width.MOMENT),
        Column("Why"),
    )
    text = [] if rows else ["Nothing of what the site file names."]
    return Section("What is missing", text, tables=[Table(columns, rows)] if rows else [])


_TYPICAL = "Beside the typical transfer"
_DIFFERS = {True: "▲ differs", False: "within", None: "too few to tell"}


def typical(source: Source) -> Section:
    """Return how the transfer compares with the good ones before it."""
    told_of = source.replay["typical"]
    if told_of is None:
        return Section(_TYPICAL, ["There is none to compare with."])
    first = told_of["first_difference"]
    text = [
        f"The range of {len(told_of['transfers'])} good transfers before it, of the same station "
        "and product, in the order in which the figures were settled. Their readings are not "
        "enclosed.",
        "Nothing differs." if first is None else f"First to differ: {_name(first)}.",
    ]
    columns = (
        Column("Figure"),
        Column("Here", Width.SHORT),
        Column("Least", Width.SHORT),
        Column("Median", Width.SHORT),
        Column("Greatest", Width.SHORT),
        Column("Of", Width.COUNT),
        Column("", Width.SHORT),
    )
    rows = [_comparison(row) for row in told_of["comparisons"]]
    return Section(_TYPICAL, text, tables=[Table(columns, rows)])


def _name(row: Plain) -> str:
    return name_of(row["name"])


def _comparison(row: Plain) -> Row:
    def figure(name: str) -> Any:
        return told(row["name"], row[name], unit_of(row["name"]))

    figures = (figure(name) for name in ("value", "low", "median", "high"))
    differs = _DIFFERS[row["differs"]]
    return Row((_name(row), *figures, str(row["of"]), differs), "differs" if row["differs"] else "")
