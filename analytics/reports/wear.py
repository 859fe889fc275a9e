"""Bonded resistance that rises, steps and how long clamps and cables last."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from operator import attrgetter
from zoneinfo import ZoneInfo

from analytics.core.drift import Shape
from analytics.core.drift_words import trend_words
from analytics.core.life import weibull_life
from analytics.core.shares import FEW
from analytics.core.stretches import NS_PER_DAY
from analytics.reports.report import Section
from analytics.reports.source import Source
from analytics.reports.tables import Column, Place, Sort, Table, frame
from analytics.trends import PartWear, Watched, stretches_of, wear
from bondtrail.results import Finding, Kind, Severity
from bondtrail.times import local_day, parse_time

DUE = "reaches its limit soon"
ENDED = "ended by work"
RANGE = "95 % of the slope alone"
"""What the earliest and the latest day follow; how the hookups scatter is not in it."""
RISING, STEP = "rising", "a step"


@dataclass(frozen=True, slots=True)
class _Watched:
    station: str
    what: str
    start: int
    end: int
    hookups: int
    level_ohm: float
    limit_ohm: float
    slope: float | None
    p_value: float | None
    reaches: int | None
    earliest: int | None
    latest: int | None
    failed_since: int | None
    words: str


def _columns(source: Source) -> Sequence[Column[_Watched]]:
    zone, end = source.site.zone, source.span[1]
    return (*_WATCHED, *_in_words(zone, end))


_WATCHED: Sequence[Column[_Watched]] = (
    Column("station", "Station", attrgetter("station")),
    Column("what", "What it is", attrgetter("what"), marks={DUE: Severity.MINOR}),
    Column("since", "From", attrgetter("start"), Sort.TIME),
    Column("until", "Last hookup", attrgetter("end"), Sort.TIME),
    Column("hookups", "Hookups", attrgetter("hookups"), Sort.COUNT),
    Column("level_ohm", "Level", attrgetter("level_ohm"), Sort.OHM),
    Column("limit_ohm", "Limit", attrgetter("limit_ohm"), Sort.OHM),
    Column("slope_ohm_per_day", "Slope", attrgetter("slope"), Sort.NUMBER, "ohm a day"),
    Column("p_value", "p", attrgetter("p_value"), Sort.NUMBER, place=Place.DATA),
    Column("reaches_limit_on", "Reaches it on", attrgetter("reaches"), Sort.TIME, place=Place.DATA),
    Column("earliest", f"Earliest, {RANGE}", attrgetter("earliest"), Sort.TIME, place=Place.DATA),
    Column("latest", f"Latest, {RANGE}", attrgetter("latest"), Sort.TIME, place=Place.DATA),
    Column("failed_since", "Failed since", attrgetter("failed_since"), Sort.COUNT),
)


def _in_words(zone: ZoneInfo, end: int) -> Sequence[Column[_Watched]]:
    return (
        Column("words", "In words", attrgetter("words"), place=Place.BELOW),
        Column(
            "reaches_limit",
            "Reaches its limit",
            lambda row: _reach_words(row, zone),
            place=Place.BELOW,
        ),
        Column("judged_by", "Mind", lambda row: _later(row, zone, end), place=Place.BELOW),
    )


def _reach_words(row: _Watched, zone: ZoneInfo) -> str:
    """Return when a drift reaches its limit as a range of days; nothing of what does not drift."""
    if row.what == STEP:
        return ""
    if row.reaches is not None and row.reaches <= row.end:
        return "it has."
    about, earliest, latest = (
        None if moment is None else str(local_day(moment, zone))
        for moment in (row.reaches, row.earliest, row.latest)
    )
    middle = f"about {about}" if about else "not in sight"
    return f"{middle}; {earliest or 'not in sight'} to {latest or 'not in sight'} ({RANGE})."


def _later(row: _Watched, zone: ZoneInfo, end: int) -> str:
    if row.end <= end:
        return ""
    return (
        f"judged by hookups up to {local_day(row.end, zone)}, after the end of this period: a "
        "drift that is a finding is judged by all hookups there are."
    )


def section(source: Source) -> Section:
    """Return the drift watch list, and the lives of parts."""
    return Section("Wear", (), (watch(source), lives(source)))


def watch(source: Source) -> Table:
    """Return drifts that are findings, and what else resistance did in the period."""
    due = [
        _of_finding(row)
        for row in source.overlapping(source.store.findings, kind=Kind.RESISTANCE_DRIFT)
    ]
    told = {row.station for row in due}
    others = [
        row
        for row in _in_period(source)
        if row.what == STEP or (row.what == RISING and row.station not in told)
    ]
    columns = _columns(source)
    rows = [*sorted(due, key=lambda row: (row.what == ENDED, row.reaches or 0)), *others]
    return Table(
        "drift_watch",
        "Drift watch list: median resistance of verified hookups",
        columns,
        frame(columns, rows, source.site.zone),
        note=(
            f"What {DUE} is a finding: it rises (Mann-Kendall, p below 0.01, at least 20 hookups) "
            "and its Theil-Sen line reaches the limit within 90 days, judged over all of the "
            "station's history. One that work has ended is past. Steps, and what rises without "
            "reaching the limit so soon, are "
            "those of the hookups of this period. Failed since: hookups that failed after the last "
            "one of the row, before another was verified; they have no bonded resistance, so no "
            "line shows them. A forecast says where the line of past hookups leads, not what a "
            f"clamp will do; its range is {RANGE}."
        ),
        empty="No drift and no step among the hookups of this period.",
    )


def _of_finding(row: Finding) -> _Watched:
    told = row.evidence

    def number(name: str) -> float:
        value = told[name]
        assert isinstance(value, int | float)
        return value

    def moment(name: str) -> int | None:
        value = told[name]
        return parse_time(value) if isinstance(value, str) else None

    return _Watched(
        row.station,
        ENDED if told.get("ended_by_work") else DUE,
        row.start,
        row.end,
        int(number("hookups")),
        number("level_ohm"),
        number("limit_ohm"),
        number("slope_ohm_per_day"),
        number("p_value"),
        moment("reaches_limit_on"),
        moment("reaches_limit_earliest_on"),
        moment("reaches_limit_latest_on"),
        None if told.get("failed_since") is None else int(number("failed_since")),
        row.summary,
    )


def _in_period(source: Source) -> Iterator[_Watched]:
    hookups = source.begun(source.store.hookups)
    for row in stretches_of(hookups, source.store.work(), source.sites):
        if row.trend.kind is not Shape.NONE and math.isfinite(row.limit_ohm):
            yield _of_trend(source, row)


def _of_trend(source: Source, row: Watched) -> _Watched:
    trend, reached = row.trend, row.reached

    def moment(days: float | None) -> int | None:
        return None if days is None else trend.last + round(days * NS_PER_DAY)

    return _Watched(
        row.station,
        STEP if trend.kind is Shape.STEP else RISING,
        trend.start,
        trend.end,
        trend.hookups,
        trend.level_ohm,
        row.limit_ohm,
        trend.line.slope if trend.line and trend.kind is Shape.DRIFT else None,
        trend.test.p_value if trend.test else None,
        moment(reached.days),
        moment(reached.earliest),
        moment(reached.latest),
        row.failed_since,
        f"{trend_words(trend, row.limit_ohm, source.site.zone, source.now)}.",
    )


def _age(age: str, head: str) -> Sequence[Column[PartWear]]:
    return (
        Column(f"{age}_days", head, lambda row: _days(row, age, "value"), Sort.NUMBER, "d"),
        Column(f"{age}_low", "95 % low", lambda row: _days(row, age, "low"), Sort.NUMBER, "d"),
        Column(f"{age}_high", "95 % high", lambda row: _days(row, age, "high"), Sort.NUMBER, "d"),
    )


_LIVES: Sequence[Column[PartWear]] = (
    Column("part", "Part", lambda row: str(row.part)),
    Column("replaced", "Replaced", lambda row: sum(e.replaced for e in row.lives), Sort.COUNT),
    Column("running", "In use", lambda row: sum(not e.replaced for e in row.lives), Sort.COUNT),
    *_age("median", "50 % replaced by"),
    *_age("b10", "10 % replaced by"),
    Column("words", "In words", lambda row: _life_words(row)),
)


def _days(row: PartWear, age: str, end: str) -> float | None:
    if row.life is None:
        return None
    value: float = getattr(getattr(row.life, age), end)
    return value


def _life_words(row: PartWear) -> str:
    return row.life.words if row.life else f"too few to tell (at least {FEW} replaced)"


def lives(source: Source) -> Table:
    """Return how long clamps and cables last, by the whole work log."""
    found = [row for row in _wear(source) if row.lives]
    return Table(
        "part_lives",
        "How long clamps and cables last",
        _LIVES,
        frame(_LIVES, found, source.site.zone),
        note=(
            "By every replacement of these stations in the work log, of all time; those still in "
            "use count as such until the last reading of their station or the last work on it. "
            "Days by which so many are replaced, each with its interval. A Weibull fit; where "
            "parts are replaced by the calendar it tells the calendar and not the part."
        ),
        empty="The work log tells of no replaced clamp or cable.",
    )


def _wear(source: Source) -> Iterator[PartWear]:
    """Yield the wear of the parts of the stations asked for."""
    for row in wear(source.store, now=source.now):
        if source.stations is None:
            yield row
        else:
            own = tuple(life for life in row.lives if source.is_wanted(life.station))
            ages, replaced = [life.days for life in own], [life.replaced for life in own]
            yield PartWear(row.part, own, weibull_life(ages, replaced))
