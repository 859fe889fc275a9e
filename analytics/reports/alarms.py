"""Alarm-system figures of each operator position, beside the levels that are published."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from operator import attrgetter

from analytics.alarms import PositionFigures, alarm_positions
from analytics.core.alarm_figures import AlarmFigures
from analytics.core.alarm_levels import LEVELS as PUBLISHED
from analytics.core.alarm_levels import Judgement, Kpi, Unit, is_short, kpis
from analytics.reports import words
from analytics.reports.report import Section
from analytics.reports.source import Source
from analytics.reports.tables import Column, Place, Sort, Table, frame
from bondtrail.results import Severity
from bondtrail.site import AlarmRules
from bondtrail.times import local

ABOUT = (
    "The levels are those commonly published for one operator position over at least 30 days, "
    "and approximate. They are about the work of a person, not about the hazard."
)
SHORT = "That is shorter than the 30 days that are common practice for such levels."


@dataclass(frozen=True, slots=True)
class _Figure:
    position: str
    kpi: Kpi


def _shown(value: float | None, unit: Unit) -> str:
    if value is None:
        return words.NOTHING
    return words.percent(value) if unit is Unit.SHARE else words.number(value)


def _acceptable(row: _Figure) -> str:
    level = row.kpi.level
    if not level.is_verified:
        return words.NOTHING
    return f"{'below' if level.below else 'up to'} {_shown(level.acceptable, level.unit)}"


def _manageable(row: _Figure) -> str:
    level = row.kpi.level
    return "" if level.manageable is None else f"up to {_shown(level.manageable, level.unit)}"


_COLUMNS: Sequence[Column[_Figure]] = (
    Column("position", "Position", attrgetter("position")),
    Column("figure", "Figure", attrgetter("kpi.level.name"), place=Place.DATA),
    Column(
        "figure_in_words", "Figure", lambda row: words.plain(row.kpi.level.name), place=Place.PAGE
    ),
    Column("value", "Value", attrgetter("kpi.value"), Sort.NUMBER, place=Place.DATA),
    Column(
        "shown",
        "Value",
        lambda row: _shown(row.kpi.value, row.kpi.level.unit),
        place=Place.PAGE,
        right=True,
    ),
    Column("unit", "Unit", lambda row: str(row.kpi.level.unit), place=Place.DATA),
    Column(
        "acceptable",
        "Acceptable",
        lambda row: row.kpi.level.acceptable if row.kpi.level.is_verified else None,
        Sort.NUMBER,
        place=Place.DATA,
    ),
    Column("acceptable_in_words", "Acceptable", _acceptable, place=Place.PAGE),
    Column(
        "manageable",
        "Manageable",
        attrgetter("kpi.level.manageable"),
        Sort.NUMBER,
        place=Place.DATA,
    ),
    Column("manageable_in_words", "Manageable", _manageable, place=Place.PAGE),
    Column(
        "judgement",
        "Against the levels",
        lambda row: str(row.kpi.judgement or ""),
        marks={Judgement.OVER: Severity.MAJOR},
    ),
    Column("remark", "Remark", attrgetter("kpi.level.remark"), place=Place.DATA),
    Column("source", "Source of the levels", attrgetter("kpi.level.source"), place=Place.DATA),
)


def section(source: Source) -> Section:
    """Return the figures of every position that a station of the report calls."""
    span = source.recorded
    found = [] if span is None else _positions(source, span)
    text = [ABOUT, settings(source.site.alarms)]
    if found and span is not None:
        text += _remarks(source, span, found[0].figures)
    return Section(
        "Alarm load", text, (_table(source, found), _floods(source, found), _top(source, found))
    )


def _positions(source: Source, span: tuple[int, int]) -> list[PositionFigures]:
    return [
        row
        for row in alarm_positions(source.store, source.site, *span)
        if any(source.is_wanted(station) for station in row.stations)
    ]


def _remarks(source: Source, span: tuple[int, int], figures: AlarmFigures) -> Iterator[str]:
    if span != source.span:
        first, last = (words.site_time(local(moment, source.site.zone)) for moment in span)
        yield f"Counted from {first} to {last}: of the rest of the period nothing is on record."
    if is_short(figures):
        yield SHORT
    if source.stations is not None:
        yield (
            "A position is told whole, with the stations that this report is not about: its "
            "operator has to answer all of them."
        )


def settings(rules: AlarmRules) -> str:
    """Return how alarms are counted where editions and texts differ."""
    begins = "more than 10" if rules.flood_begins == "above_10" else "10 or more"
    windows = (
        "periods that follow each other from the start"
        if rules.flood_windows == "fixed"
        else "any 10 minutes"
    )
    return (
        f"Counted by the site file's settings: a flood begins with {begins} alarms in 10 minutes "
        f"and ends below {rules.flood_ends_below}, in {windows}; chattering is "
        f"{rules.chattering_count} of a kind at a station within {rules.chattering_s:g} s; "
        f"fleeting clears within {rules.fleeting_s:g} s; stale is active for more than "
        f"{rules.stale_h:g} h. Chattering and fleeting count stations and kinds, stale the most "
        "on any one day, standing the average at a time."
    )


def _table(source: Source, found: Sequence[PositionFigures]) -> Table:
    rows = [_Figure(row.position, kpi) for row in found for kpi in kpis(row.figures)]
    return Table(
        "alarm_load",
        "Alarm load by operator position",
        _COLUMNS,
        frame(_COLUMNS, rows, source.site.zone),
        note=(
            f"Levels: {_sources()}. Approximate ones (about 144) are taken at their number. "
            f"{_remarks_on_levels()}."
        ),
        empty="Nothing of this period is on record.",
    )


def _sources() -> str:
    """Return where the levels are published, each source once."""
    named: dict[str, list[str]] = defaultdict(list)
    for level in PUBLISHED:
        named[level.source].append(words.plain(level.name))
    widest = max(named, key=lambda source: len(named[source]))
    others = [f"{', '.join(named[it])} from {it}" for it in named if it != widest]
    return "; ".join([f"from {widest}", *others])


def _remarks_on_levels() -> str:
    """Return what else is published of the levels, each remark once."""
    told = dict.fromkeys(level.remark for level in PUBLISHED if level.remark)
    named = {
        remark: ", ".join(words.plain(level.name) for level in PUBLISHED if level.remark == remark)
        for remark in told
    }
    return ". ".join(f"{names.capitalize()}: {remark}" for remark, names in named.items())


@dataclass(frozen=True, slots=True)
class _Flood:
    position: str
    start: int
    end: int
    count: int
    peak: int


_FLOODS: Sequence[Column[_Flood]] = (
    Column("position", "Position", attrgetter("position")),
    Column("start", "Begins", attrgetter("start"), Sort.TIME),
    Column("end", "Ends", attrgetter("end"), Sort.TIME),
    Column("alarms", "Alarms", attrgetter("count"), Sort.COUNT),
    Column("peak_per_10_min", "Most in 10 min", attrgetter("peak"), Sort.COUNT),
)


def _floods(source: Source, found: Sequence[PositionFigures]) -> Table:
    rows = [
        _Flood(row.position, flood.start, flood.end, flood.count, flood.peak)
        for row in found
        for flood in row.figures.floods
    ]
    return Table(
        "alarm_floods",
        "Alarm floods",
        _FLOODS,
        frame(_FLOODS, rows, source.site.zone),
        empty="No alarm flood in this period.",
    )


@dataclass(frozen=True, slots=True)
class _Top:
    position: str
    station: str
    kind: str
    count: int
    share: float


_TOPS: Sequence[Column[_Top]] = (
    Column("position", "Position", attrgetter("position")),
    Column("station", "Station", attrgetter("station")),
    Column("kind", "Alarm", lambda row: words.plain(row.kind)),
    Column("count", "Alarms", attrgetter("count"), Sort.COUNT),
    Column("share", "Share of its alarms", attrgetter("share"), Sort.SHARE),
)


def _top(source: Source, found: Sequence[PositionFigures]) -> Table:
    return Table(
        "top_alarms",
        "The ten most frequent alarms of each position",
        _TOPS,
        frame(_TOPS, _tops(found), source.site.zone),
        empty="No alarm in this period.",
    )


def _tops(found: Sequence[PositionFigures]) -> Iterator[_Top]:
    for row in found:
        for top in row.figures.top:
            yield _Top(row.position, top.station, str(top.kind), top.count, top.share)
