"""``bondtrail show wear``: how long clamps and cables last."""

from __future__ import annotations

from collections.abc import Callable
from operator import attrgetter
from typing import TYPE_CHECKING, Any

from bondtrail.cli import figures, output
from bondtrail.cli.output import Column
from bondtrail.cli.views import Query, View
from bondtrail.objects import Fields, iso

if TYPE_CHECKING:
    from analytics.trends import PartWear
    from store import Store


def read(store: Store, query: Query) -> list[PartWear]:
    """Return how long each sort of part lasts."""
    from analytics.trends import wear

    return wear(store, now=query.now, station=query.station)


def _quantity(name: str) -> Callable[[PartWear], object]:
    get = attrgetter(name)

    def told(row: PartWear) -> object:
        if row.life is None:
            return None
        found = get(row.life)
        return {"value": found.value, "low": found.low, "high": found.high}

    return told


def _words(row: PartWear) -> str:
    if row.life is not None:
        return row.life.words
    from analytics.core.shares import FEW

    return f"too few to tell ({_replaced(row)} of at least {FEW} lives that are over)"


def _replaced(row: PartWear) -> int:
    return sum(life.replaced for life in row.lives)


_QUANTITIES = {"shape": "shape", "b10_days": "b10", "median_days": "median"}

FIELDS: Fields[PartWear] = {
    "part": lambda row: str(row.part),
    "replaced": _replaced,
    "running": lambda row: len(row.lives) - _replaced(row),
    "words": _words,
    **{name: _quantity(part) for name, part in _QUANTITIES.items()},
    "scale_days": lambda row: None if row.life is None else row.life.scale,
    "lives": lambda row: [
        {
            "station": life.station,
            "start": iso(life.start),
            "end": iso(life.end),
            "days": life.days,
            "replaced": life.replaced,
        }
        for life in row.lives
    ],
}
"""The keys of a part."""


def flat_fields() -> Fields[PartWear]:
    """Return the columns of a part in CSV, without the lives."""
    found: dict[str, Callable[[PartWear], object]] = {}
    for name, read in FIELDS.items():
        if name in _QUANTITIES:
            found |= {
                f"{name}.{part}": figures.part(read, part) for part in ("value", "low", "high")
            }
        elif name != "lives":
            found[name] = read
    return found


def _days_cell(name: str) -> Callable[[PartWear], str]:
    get = attrgetter(name)

    def cell(row: PartWear) -> str:
        if row.life is None:
            return "-"
        found = get(row.life)
        ends = f"({figures.rate(found.low)}-{figures.rate(found.high)})"
        return f"{figures.rate(found.value)} d\n{ends}"

    return cell


def columns(_: Query) -> list[Column[PartWear]]:
    """Return the columns of a table for people."""
    return [
        Column("Part", lambda row: str(row.part)),
        Column("Replaced", lambda row: f"{_replaced(row):,}", right=True),
        Column("In use", lambda row: f"{len(row.lives) - _replaced(row):,}", right=True),
        Column("10 % replaced by", _days_cell("b10"), right=True),
        Column("Half replaced by", _days_cell("median"), right=True),
        Column("Wear", _words, wraps=True),
    ]


NOTE = (
    "From what the work log (work.csv) says was replaced: a life runs from one replacement to the\n"
    "next of the same part at the same station, and what is in use counts as lasting longer than\n"
    "to the last reading of its station. Work that has not begun yet does not count.\n"
    "Every replacement counts as a failure: parts replaced by the calendar tell the calendar.\n"
    "Weibull distribution with 95 % intervals. --format json has each life."
)

VIEW: View[Any] = View(
    read,
    lambda _: FIELDS,
    columns,
    frozenset({"station"}),
    flat=lambda _: flat_fields(),
    notes=(NOTE, output.CAUTION),
    title="How long clamps and cables last",
    judged=False,
)
