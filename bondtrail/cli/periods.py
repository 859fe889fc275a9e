"""Counts and sums of a station over a period: whole days of the site's own calendar."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import reduce
from operator import attrgetter
from zoneinfo import ZoneInfo

from bondtrail.cli.output import iso
from bondtrail.cli.rows import Fields
from bondtrail.results import TIME_EDGES_S, AlarmKind, DaySums, Kind, TripCause, TripClass
from bondtrail.times import day_start

ONE_DAY = dt.timedelta(days=1)

SUMS = (
    "transfers",
    "compliant_transfers",
    "flow_s",
    "not_bonded_s",
    "no_data_s",
    "bypassed_s",
    "volume",
    "hookups",
    "failed_hookups",
    "touches",
    "low_s",
    "high_s",
    "open_s",
    "known_s",
    "unknown_s",
)
COUNTERS: Mapping[str, tuple[str, ...]] = {
    "trips": (
        f"{TripClass.GENUINE}/{TripCause.CLAMP_OFF}",
        f"{TripClass.GENUINE}/{TripCause.HIGH_RESISTANCE}",
        f"{TripClass.NUISANCE}/{TripCause.BRIEF_CONTACT_LOSS}",
        f"{TripClass.NUISANCE}/{TripCause.MONITOR_FAULT}",
        f"{TripClass.NUISANCE}/{TripCause.NO_LOSS_SEEN}",
        f"{TripClass.UNDETERMINED}/{TripCause.NO_DATA}",
    ),
    "findings": tuple(Kind),
    "alarms": tuple(AlarmKind),
}
"""What each counter counts, so that a count of none is a 0 and not a gap."""

HISTOGRAMS = ("time_to_bond", "time_to_stop")


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


def first_of_week(day: dt.date) -> dt.date:
    """Return the Monday of the day's ISO week."""
    return day - dt.timedelta(days=day.weekday())


def first_of_month(day: dt.date) -> dt.date:
    """Return the first day of the day's month."""
    return day.replace(day=1)


STEPS: Mapping[str, Callable[[dt.date], dt.date]] = {
    "day": lambda day: day,
    "week": first_of_week,
    "month": first_of_month,
}


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
    grouped: dict[str, dict[dt.date, list[DaySums]]] = {
        station: {} if by else {first: []} for station in stations
    }
    for row in days:
        begin = max(STEPS[by](row.day), first) if by else first
        grouped.setdefault(row.station, {}).setdefault(begin, []).append(row)
    return [
        _period(station, begin, _last_day(begin, last, by), rows, zone)
        for station, parts in grouped.items()
        for begin, rows in sorted(parts.items())
    ]


def _last_day(begin: dt.date, last: dt.date, by: str | None) -> dt.date:
    if by is None:
        return last
    step, day = STEPS[by], begin
    while day < last and step(day + ONE_DAY) == step(begin):
        day += ONE_DAY
    return day


def _period(
    station: str, begin: dt.date, last: dt.date, rows: Sequence[DaySums], zone: ZoneInfo
) -> Period:
    from analytics.core.days import plus

    in_order = sorted(rows, key=attrgetter("day"))
    sums = reduce(plus, in_order) if in_order else DaySums(station, begin)
    return Period(station, day_start(begin, zone), day_start(last + ONE_DAY, zone), sums)


def _sum(name: str) -> Callable[[Period], object]:
    """Read a sum without the noise that adding floats leaves behind the microsecond."""
    return lambda row: round(getattr(row.sums, name), 6)


def _counter(name: str) -> Callable[[Period], object]:
    kinds = [str(kind) for kind in COUNTERS[name]]
    return lambda row: {kind: getattr(row.sums, name).get(kind, 0) for kind in kinds}


def _count(name: str, kind: str) -> Callable[[Period], object]:
    return lambda row: getattr(row.sums, name).get(kind, 0)


def _histogram(name: str) -> Callable[[Period], object]:
    none = (0,) * (len(TIME_EDGES_S) + 1)
    return lambda row: getattr(row.sums, name) or none


_SPAN: Fields[Period] = {
    "station": attrgetter("station"),
    "from": lambda row: iso(row.start),
    "to": lambda row: iso(row.end),
    **{name: _sum(name) for name in SUMS},
}
_HISTOGRAMS: Fields[Period] = {name: _histogram(name) for name in HISTOGRAMS}

KPIS: Fields[Period] = {**_SPAN, **{name: _counter(name) for name in COUNTERS}, **_HISTOGRAMS}
"""As JSON has it."""

FLAT_KPIS: Fields[Period] = {
    **_SPAN,
    **{
        f"{name}.{kind}": _count(name, str(kind))
        for name, kinds in COUNTERS.items()
        for kind in kinds
    },
    **_HISTOGRAMS,
}
"""As CSV has it: one column a count."""
