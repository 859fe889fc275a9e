"""Counts and sums of a station over a period: whole days of the site's own calendar."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from operator import attrgetter
from typing import Any
from zoneinfo import ZoneInfo

from bondtrail.cli.output import iso
from bondtrail.cli.rows import Fields
from bondtrail.results import CLASS_OF, DAY_SUMS, TIME_EDGES_S, AlarmKind, DaySums, Kind
from bondtrail.times import day_start

ONE_DAY = dt.timedelta(days=1)

COUNTERS: Mapping[str, tuple[str, ...]] = {
    "trips": tuple(f"{sort}/{cause}" for cause, sort in CLASS_OF.items()),
    "findings": tuple(Kind),
    "alarms": tuple(AlarmKind),
}
"""What each counter counts, so that a count of none is a 0 and not a gap."""

HISTOGRAMS = ("time_to_bond", "time_to_stop")
BINS = range(len(TIME_EDGES_S) + 1)

STEPS = {"day": "D", "week": "W-SUN", "month": "M"}
"""What pandas calls each period. A week that ends on Sunday is an ISO week."""


@dataclass(frozen=True, slots=True)
class Period:
    """One station over one period ``[start, end)``, in ns."""

    station: str
    start: int
    end: int
    sums: DaySums

    def count(self, counter: str, prefix: str = "") -> int:
        """Return how many a counter holds, of all that begins with ``prefix``."""
        held = getattr(self.sums, counter).items()
        return sum(number for name, number in held if name.startswith(prefix))


def periods(
    days: Sequence[DaySums],
    stations: Iterable[str],
    zone: ZoneInfo,
    by: str | None = None,
    first: dt.date | None = None,
    last: dt.date | None = None,
) -> list[Period]:
    """Return the sums of each station, over everything or per day, week or month.

    Parameters
    ----------
    days : sequence of DaySums
        Of any stations, in any order.
    stations : iterable of str
        In the order wanted. Over everything each of them has a row; per period those that have
        a day in it.
    zone : ZoneInfo
        Whose days they are.
    by : {"day", "week", "month"}, optional
        Weeks are ISO weeks. A period is cut where the range is.
    first, last : date, optional
        The range; the days that there are, unless given.
    """
    first = first or min((row.day for row in days), default=None)
    last = last or max((row.day for row in days), default=None)
    if first is None or last is None:
        return []
    found = []
    for (station, span), cells in _summed(days, list(stations), by, first).items():
        begin = max(span.start_time.date(), first)
        end = min(span.end_time.date(), last) if by else last
        edges = day_start(begin, zone), day_start(end + ONE_DAY, zone)
        found.append(Period(station, *edges, _nested(station, begin, cells)))
    return found


def _summed(
    days: Sequence[DaySums], stations: Sequence[str], by: str | None, first: dt.date
) -> Mapping[Any, Mapping[Any, Any]]:
    """Return the sum of each of `CELLS`, per station and `pandas.Period` that has a day.

    Over everything all days count as the first one, and each station has a day of zeros there.
    """
    import pandas as pd

    none = [] if by else [DaySums(station, first) for station in stations]
    rows = [*none, *sorted(days, key=attrgetter("day"))]  # the order changes a sum of floats
    order = dict.fromkeys([*stations, *(row.station for row in days)])
    station = pd.Categorical([row.station for row in rows], list(order))
    day = pd.PeriodIndex([row.day if by else first for row in rows], freq="D")
    cells = pd.DataFrame({name: [read(row) for row in rows] for name, read in CELLS.items()})
    keys = [station, day.asfreq(STEPS[by or "day"])]
    return cells.groupby(keys, observed=True).sum().to_dict("index")


def _nested(station: str, day: dt.date, cells: Mapping[str, Any]) -> DaySums:
    parts: dict[str, Any] = {name: cells[name] for name in DAY_SUMS}
    for name, kinds in COUNTERS.items():
        parts[name] = {str(kind): cells[f"{name}.{kind}"] for kind in kinds}
    for name in HISTOGRAMS:
        parts[name] = tuple(cells[f"{name}.{n}"] for n in BINS)
    return DaySums(station, day, **parts)


def _count(name: str, kind: str) -> Callable[[DaySums], int]:
    return lambda row: getattr(row, name).get(kind, 0)


def _bin(name: str, n: int) -> Callable[[DaySums], int]:
    return lambda row: getattr(row, name)[n] if getattr(row, name) else 0


_COUNTS = {
    f"{name}.{kind}": _count(name, str(kind)) for name, kinds in COUNTERS.items() for kind in kinds
}
CELLS: Fields[DaySums] = {
    **{name: attrgetter(name) for name in DAY_SUMS},
    **_COUNTS,
    **{f"{name}.{n}": _bin(name, n) for name in HISTOGRAMS for n in BINS},
}
"""One number each: what pandas adds up."""


def _sum(name: str) -> Callable[[Period], object]:
    """Read a sum without the noise that adding floats leaves behind the microsecond."""
    return lambda row: round(getattr(row.sums, name), 6)


def _of_sums(read: Callable[[DaySums], object]) -> Callable[[Period], object]:
    return lambda row: read(row.sums)


_SPAN: Fields[Period] = {
    "station": attrgetter("station"),
    "from": lambda row: iso(row.start),
    "to": lambda row: iso(row.end),
    **{name: _sum(name) for name in DAY_SUMS},
}

KPIS: Fields[Period] = {
    **_SPAN,
    **{name: attrgetter(f"sums.{name}") for name in (*COUNTERS, *HISTOGRAMS)},
}
"""As JSON has it."""

FLAT_KPIS: Fields[Period] = {
    **_SPAN,
    **{name: _of_sums(read) for name, read in _COUNTS.items()},
    **{name: KPIS[name] for name in HISTOGRAMS},
}
"""As CSV has it: one column a count."""
