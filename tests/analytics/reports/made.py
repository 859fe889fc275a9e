"""A report made by hand, small enough to know every cell of."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from typing import Any
from zoneinfo import ZoneInfo

from analytics.core.shares import Share, wilson
from analytics.holes import Coverage
from analytics.reports.period import Period
from analytics.reports.report import Caveat, Cover, Report, Section
from analytics.reports.tables import Column, Place, Sort, Table, figure, frame
from bondtrail.results import Severity
from bondtrail.times import parse_time
from store import Allowed

ZONE = ZoneInfo("Europe/Lisbon")
PERIOD = Period(dt.date(2026, 3, 1), dt.date(2026, 4, 1))
MADE = parse_time("2026-04-02T09:30:00Z")

Row = dict[str, Any]


def _of(name: str) -> Any:
    return lambda row: row[name]


COLUMNS: Sequence[Column[Row]] = (
    Column("station", "Station", _of("station"), marks={"bad": Severity.CRITICAL}),
    Column("at", "Begins", _of("at"), Sort.TIME),
    Column("day", "Day", _of("day"), Sort.DAY),
    *figure("share", "Share", _of("share")),
    Column("lowest_ohm", "Lowest", _of("lowest_ohm"), Sort.OHM),
    Column("seconds", "Lasts", _of("seconds"), Sort.SECONDS),
    Column("count", "Trips", _of("count"), Sort.COUNT),
    Column("rate", "Rate", _of("rate"), Sort.NUMBER, "per 100 h"),
    Column("cause", "Cause", _of("cause"), place=Place.BELOW),
    Column("id", "Id", _of("id"), place=Place.DATA),
    Column("short", "In short", lambda _: "in short", place=Place.PAGE),
)


def row(station: str = "rail-1", **more: Any) -> Row:
    return {
        "station": station,
        "at": parse_time("2026-03-10T06:00:00.250Z"),
        "day": dt.date(2026, 3, 10),
        "share": wilson(9, 10),
        "lowest_ohm": 1 / 3,
        "seconds": 75.5,
        "count": 3,
        "rate": 0.1,
        "cause": "It was so.",
        "id": "x",
        **more,
    }


UNKNOWN = row(
    station="",
    at=None,
    day=None,
    share=Share(None, None, None, 0, 0),
    lowest_ohm=math.inf,
    seconds=None,
    count=None,
    rate=None,
    cause="",
    id=None,
)


def table(*rows: Row, name: str = "made", **more: Any) -> Table:
    given = {"note": "A note.", "empty": "Nothing here.", **more}
    return Table(name, "Made by hand", COLUMNS, frame(COLUMNS, rows, ZONE), **given)


def report(*tables: Table, **cover: Any) -> Report:
    told: dict[str, Any] = {
        "site_id": "quay",
        "site_name": "Quay (invented)",
        "zone": ZONE,
        "period": PERIOD,
        "scope": "All 2 stations of the site.",
        "made": MADE,
        "last_reading": parse_time("2026-03-31T22:00:00Z"),
        "compliance": wilson(498, 512),
        "allowed": Allowed(12, 40.0, 3, 90.0, 1),
        "bad_bond": 6,
        "bypassed": 3,
        "unverifiable": 5,
        "without_bypass": (0, 2),
        "coverage": Coverage(900.0, 60.0, 40.0),
        "software": "0.1.0",
        "rules": "Version 2",
        "caveats": (Caveat("The records have holes.", ("rail-1: no record for 40 s",)),),
        **cover,
    }
    return Report(Cover(**told), (Section("Part", ("Some words.",), tables),))
