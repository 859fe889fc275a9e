"""``bondtrail show alarms``: alarm-system figures per operator position, or the alarms."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from operator import attrgetter
from typing import TYPE_CHECKING, Any

import click

from bondtrail.cli import output
from bondtrail.cli.faults import Fault, near
from bondtrail.cli.output import Column, counted, length, site_time
from bondtrail.cli.views import SPAN, Query, View
from bondtrail.objects import Fields, iso
from bondtrail.results import AlarmKind
from bondtrail.times import local, seconds

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from analytics.alarms import PositionFigures
    from analytics.core.alarm_figures import AlarmFigures, OneAlarm
    from analytics.core.alarm_floods import Flood
    from analytics.core.alarm_levels import Kpi
    from bondtrail.site import Site
    from store import Store


@dataclass(frozen=True, slots=True)
class AlarmRow:
    """One alarm and the position that it called; moments in ns."""

    station: str
    kind: str
    position: str
    start: int
    end: int

    @property
    def seconds(self) -> float:
        """How long it was active."""
        return seconds(self.end - self.start)


def read(store: Store, query: Query) -> list[Any]:
    """Return the figures of each position or, if asked for, the alarms.

    Raises
    ------
    Fault
        If there is no such position.
    UsageError
        If kinds are asked for where figures of all alarms are told.
    """
    position = _known(query.options.get("position"), query.site)
    if query.options.get("listed"):
        return _alarms(store, query, position)
    if query.kinds:
        raise click.UsageError("--kind goes with alarms --list: the levels are for all alarms")
    from analytics.alarms import alarm_positions

    return alarm_positions(
        store, query.site, query.start, query.end, position=position, station=query.station
    )


def _known(position: str | None, site: Site) -> str | None:
    from analytics.alarms import GONE, positions_of

    known = {*positions_of(site), GONE}
    if position is None or position in known:
        return position
    raise Fault(f"no position {position!r}", near(position, known))


def _alarms(store: Store, query: Query, position: str | None) -> list[AlarmRow]:
    from analytics.alarms import GONE, position_by_station

    named = position_by_station(query.site)
    found = [
        AlarmRow(row.station, str(row.kind), named.get(row.station, GONE), row.start, row.end)
        for row in store.alarms(**query.span)
        if not query.kinds or str(row.kind) in query.kinds
    ]
    wanted = [row for row in found if position in (None, row.position)]
    return sorted(wanted, key=lambda row: (row.start, row.station, row.kind))


LISTED: Fields[AlarmRow] = {
    "station": attrgetter("station"),
    "kind": attrgetter("kind"),
    "position": attrgetter("position"),
    "start": lambda row: iso(row.start),
    "end": lambda row: iso(row.end),
    "seconds": attrgetter("seconds"),
}
"""The keys of an alarm."""


def fields(query: Query) -> Fields[Any]:
    """Return the keys of a row in JSON."""
    return LISTED if query.options.get("listed") else _position_fields()


def flat_fields(query: Query) -> Fields[Any]:
    """Return the columns of a row in CSV: of a position, one a figure and one its judgement."""
    return LISTED if query.options.get("listed") else _flat_position_fields()


_HEAD: Fields[PositionFigures] = {
    "position": attrgetter("position"),
    "stations": attrgetter("stations"),
    "from": lambda row: iso(row.figures.start),
    "to": lambda row: iso(row.figures.end),
    "alarms": attrgetter("figures.count"),
    "different_alarms": attrgetter("figures.tags"),
    "hours": attrgetter("figures.hours"),
    "results_from": lambda row: iso(row.history.start),
    "results_to": lambda row: iso(row.history.end),
    "coverage": attrgetter("coverage"),
    "shorter_than_30_days": lambda row: _is_short(row.figures),
}


def _is_short(figures: AlarmFigures) -> bool:
    from analytics.core.alarm_levels import is_short

    return is_short(figures)


def _settings() -> tuple[str, ...]:
    from bondtrail.site import AlarmRules

    return tuple(AlarmRules.model_fields)


def _position_fields() -> Fields[PositionFigures]:
    return {
        **_HEAD,
        "settings": lambda row: {name: getattr(row.figures.rules, name) for name in _settings()},
        **{name: _kpi(name) for name in _kpi_names()},
        "floods": lambda row: [_flood(flood) for flood in row.figures.floods],
        "top_ten": lambda row: [_one(alarm) for alarm in row.figures.top],
        "each": lambda row: [_one(alarm) for alarm in row.figures.each],
        "standing_alarms": lambda row: [
            {"station": alarm.station, "kind": str(alarm.kind), "start": iso(alarm.start)}
            for alarm in row.figures.standing
        ],
    }


def _flat_position_fields() -> Fields[PositionFigures]:
    found: dict[str, Callable[[PositionFigures], object]] = {**_HEAD}
    for name in _kpi_names():
        found[name] = _part(name, "value")
        found[f"{name}_judgement"] = _part(name, "judgement")
    found["floods"] = lambda row: len(row.figures.floods)
    found |= {name: attrgetter(f"figures.rules.{name}") for name in _settings()}
    return found


def _kpi_names() -> Sequence[str]:
    from analytics.core.alarm_levels import LEVELS

    return [level.name for level in LEVELS]


def _kpi(name: str) -> Callable[[PositionFigures], object]:
    from analytics.core import alarm_levels

    def told(row: PositionFigures) -> object:
        kpi = alarm_levels.kpi(name, row.figures)
        return {
            "value": kpi.value,
            **(_BESIDE[name](row) if name in _BESIDE else {}),
            "acceptable": kpi.level.acceptable if kpi.level.is_verified else None,
            "acceptable_is": "below" if kpi.level.below else "up to",
            "manageable": kpi.level.manageable,
            "judgement": _word(kpi),
            **({"not_judged": kpi.not_judged} if kpi.not_judged else {}),
            "source": kpi.level.source,
            **({"remark": kpi.level.remark} if kpi.level.remark else {}),
        }

    return told


def _part(name: str, part: str) -> Callable[[PositionFigures], object]:
    from analytics.core.alarm_levels import kpi

    read_part = _word if part == "judgement" else attrgetter(part)
    return lambda row: read_part(kpi(name, row.figures))


def _word(kpi: Kpi) -> str | None:
    return None if kpi.judgement is None else str(kpi.judgement)


_BESIDE: Mapping[str, Callable[[PositionFigures], dict[str, object]]] = {
    "peak_per_10_min": lambda row: {"at": iso(row.figures.peak.start)},
    "hours_over_30": lambda row: _counts(row.figures.hours_over_30),
    "periods_over_10": lambda row: _counts(row.figures.periods_over_10),
    "time_in_flood": lambda row: {
        "seconds": seconds(row.figures.flood_ns),
        "count": len(row.figures.floods),
    },
    "chattering": lambda row: _episodes(row.figures.chattering),
    "fleeting": lambda row: _episodes(row.figures.fleeting),
    "stale": lambda row: {"alarms": row.figures.stale.alarms},
    "standing": lambda row: {
        "at_end": len(row.figures.standing),
        "end": iso(row.figures.standing_at),
    },
}
"""What stands beside the value of some figures."""


def _counts(part: Any) -> dict[str, object]:
    return {"count": part.count, "of": part.of}


def _episodes(nuisance: Any) -> dict[str, object]:
    return {"episodes": nuisance.episodes, "alarms": nuisance.alarms}


def _one(alarm: OneAlarm) -> dict[str, object]:
    return {
        "station": alarm.station,
        "kind": str(alarm.kind),
        "count": alarm.count,
        "share": alarm.share,
        "chattering": alarm.chattering,
        "chattering_episodes": alarm.episodes,
        "fleeting": alarm.fleeting,
        "stale": alarm.stale,
    }


def _flood(flood: Flood) -> dict[str, object]:
    return {
        "start": iso(flood.start),
        "end": iso(flood.end),
        "seconds": seconds(flood.end - flood.start),
        "count": flood.count,
        "peak": flood.peak,
    }


def columns(query: Query) -> list[Column[Any]]:
    """Return the columns of a table for people."""
    return _list_columns(query.zone) if query.options.get("listed") else _figure_columns(query.zone)


def _list_columns(zone: ZoneInfo) -> list[Column[AlarmRow]]:
    return [
        Column("Begins", lambda row: site_time(row.start, zone)),
        Column("Station", attrgetter("station"), wraps=True),
        Column("Alarm", attrgetter("kind")),
        Column("Position", attrgetter("position"), wraps=True),
        Column("Active", lambda row: length(row.seconds), right=True),
    ]


def _figure_columns(zone: ZoneInfo) -> list[Column[PositionFigures]]:
    from analytics.core import alarm_wording as wording

    def when(moment: int) -> str:
        return f"{local(moment, zone):%Y-%m-%d %H:%M}"

    def detail(row: PositionFigures, kpi: Kpi) -> str:
        return wording.detail(kpi.level.name, row.figures, when)

    return [
        Column("Position", _position, wraps=True),
        Column("Figure", _lines(lambda _, kpi: wording.LABELS[kpi.level.name])),
        Column("Value", _lines(lambda _, kpi: wording.value_text(kpi)), right=True),
        Column("", _lines(detail)),
        Column("Acceptable", _lines(lambda _, kpi: wording.acceptable_text(kpi.level)), right=True),
        Column("Manageable", _lines(lambda _, kpi: wording.manageable_text(kpi.level)), right=True),
        Column("", _lines(lambda _, kpi: _loud(kpi))),
    ]


def _lines(cell: Callable[[PositionFigures, Kpi], str]) -> Callable[[PositionFigures], str]:
    """Return a cell with a line a figure, and an empty one below them."""
    from analytics.core.alarm_levels import kpis

    return lambda row: "\n".join([*(cell(row, kpi) for kpi in kpis(row.figures)), ""])


def _position(row: PositionFigures) -> str:
    from analytics.core.alarm_wording import percent

    known = "no record" if row.coverage is None else f"{percent(row.coverage)} known"
    return f"{row.position}\n{counted(len(row.stations), 'station')}\n{known}"


def _loud(kpi: Kpi) -> str:
    """Return how a figure compares: what is over its level stands out without colour."""
    word = _word(kpi) or ("not judged" if kpi.not_judged else "")
    return word.removeprefix("within ") if word != "over" else "OVER"


def remarks(query: Query, found: Sequence[Any]) -> list[str]:
    """Return what is said below the table: by which settings, against which levels."""
    if query.options.get("listed"):
        return []
    from analytics.core import alarm_wording as wording

    figures = found[0].figures
    span = f"{site_time(figures.start, query.zone)} to {site_time(figures.end, query.zone)}"
    told = [
        f"Period: {span}.",
        wording.CUT if found[0].is_cut else "",
        f"Only alarms of {query.station}: levels are for a position." if query.station else "",
        wording.short_note(figures) or "",
        *wording.rules_told(figures.rules),
        wording.DIFFERENT,
        "Known: share of the time on record with the bond state known; few alarms begin outside.",
        wording.SOURCES,
        "--list has the alarms; --format json the floods, the top ten and what is standing.",
    ]
    return [output.wrapped(line) for line in told if line]


VIEW: View[Any] = View(
    read,
    fields,
    columns,
    SPAN | {"kinds", "position", "listed"},
    tuple(AlarmKind),
    flat=flat_fields,
    remarks=remarks,
)
