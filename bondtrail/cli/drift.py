"""``bondtrail show drift``: what bonded resistance does from hookup to hookup."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from operator import attrgetter
from typing import TYPE_CHECKING, Any

from bondtrail.cli import figures, output
from bondtrail.cli.output import Column, counted, ohms
from bondtrail.cli.views import Query, View
from bondtrail.objects import Fields, iso
from bondtrail.times import local_day

if TYPE_CHECKING:
    from analytics.trends import Watched
    from store import Store


def read(store: Store, query: Query) -> list[Watched]:
    """Return every stretch of bonded resistance, what to watch first."""
    from analytics.trends import drift_watch

    return drift_watch(store, query.site, query.station)


def _slope(row: Watched) -> dict[str, object] | None:
    line = row.trend.line
    return None if line is None else {"value": line.slope, "low": line.low, "high": line.high}


def _step(row: Watched) -> dict[str, object] | None:
    change = row.trend.change
    if change is None:
        return None
    return {
        "at": iso(change.at),
        "p_value": change.p_value,
        "from_ohm": change.before_ohm,
        "to_ohm": change.after_ohm,
    }


def _on(row: Watched, days: float | None) -> str | None:
    from analytics.core.stretches import NS_PER_DAY

    return None if days is None else iso(row.trend.last + round(days * NS_PER_DAY))


def _forecast(row: Watched) -> dict[str, object]:
    reached = row.reached
    return {
        "days": reached.days,
        "earliest_days": reached.earliest,
        "latest_days": reached.latest,
        "on": _on(row, reached.days),
        "earliest_on": _on(row, reached.earliest),
        "latest_on": _on(row, reached.latest),
    }


def fields(query: Query) -> Fields[Watched]:
    """Return the keys of a stretch in JSON."""
    return {
        "station": attrgetter("station"),
        "kind": lambda row: str(row.trend.kind),
        "latest": attrgetter("is_latest"),
        "within_90_days": attrgetter("is_due"),
        "from": lambda row: iso(row.trend.start),
        "to": lambda row: iso(row.trend.end),
        "hookups": attrgetter("trend.hookups"),
        "failed_since": attrgetter("failed_since"),
        "level_ohm": attrgetter("trend.level_ohm"),
        "limit_ohm": attrgetter("limit_ohm"),
        "slope_ohm_per_day": _slope,
        "p_value": lambda row: None if row.trend.test is None else row.trend.test.p_value,
        "change_point": _step,
        "reaches_limit": _forecast,
        "limit_date_is_past": lambda row: _is_past(row, query.now),
        "words": lambda row: _words(row, query),
    }


_PARTS = {
    "slope_ohm_per_day": ("value", "low", "high"),
    "change_point": ("at", "p_value", "from_ohm", "to_ohm"),
    "reaches_limit": ("days", "earliest_days", "latest_days", "on", "earliest_on", "latest_on"),
}


def flat_fields(query: Query) -> Fields[Watched]:
    """Return the columns of a stretch in CSV: the parts of its objects under joined names."""
    found: dict[str, Callable[[Watched], object]] = {}
    for name, read in fields(query).items():
        parts = _PARTS.get(name)
        if parts is None:
            found[name] = read
        else:
            found |= {f"{name}.{part}": figures.part(read, part) for part in parts}
    return found


def _is_past(row: Watched, now: int) -> bool | None:
    """Return whether the day on which the line meets the limit is over; None without one."""
    from analytics.core.stretches import NS_PER_DAY

    days = row.reached.days
    return None if days is None else row.trend.last + round(days * NS_PER_DAY) <= now


def _words(row: Watched, query: Query) -> str:
    from analytics.core.drift_words import trend_words

    limit_ohm = row.limit_ohm if row.is_latest else None
    return trend_words(row.trend, limit_ohm, query.zone, query.now)


def columns(query: Query) -> list[Column[Watched]]:
    """Return the columns of a table for people."""
    zone = query.zone
    return [
        Column("Station", lambda row: row.station, wraps=True),
        Column(
            "Hookups",
            lambda row: (
                f"{row.trend.hookups:,}\n{local_day(row.trend.start, zone)}"
                f"\n{local_day(row.trend.end, zone)}"
            ),
            right=True,
        ),
        Column(
            "Level, limit\nohm",
            lambda row: f"{ohms(row.trend.level_ohm)}\n{ohms(row.limit_ohm)}",
            right=True,
        ),
        Column("Slope, ohm\na day", _slope_cell, right=True),
        Column("Bonded resistance", lambda row: _told(row, query), wraps=True),
    ]


def _slope_cell(row: Watched) -> str:
    line = row.trend.line
    if line is None:
        return "-"
    return f"{line.slope:+.2g}\n({line.low:+.2g} to\n{line.high:+.2g})"


def _told(row: Watched, query: Query) -> str:
    watch = "WATCH: " if row.is_due and row.is_latest else ""
    past = "" if row.is_latest else "earlier: "
    failed = (
        f"; since then {counted(row.failed_since, 'hookup')} failed" if row.failed_since else ""
    )
    return f"{past}{watch}{_words(row, query)}{failed}"


def remarks(_: Query, __: Sequence[Watched]) -> list[str]:
    """Return what is said below the table: by which tests, and what a forecast is."""
    from analytics.core.drift_words import BY_CHANCE

    told = (
        "A stretch is of verified hookups, by their median resistance; it begins anew where work "
        "brought it down. Mann-Kendall test at 1 %, Theil-Sen slope with its 95 % interval, "
        "Pettitt's test for a step. WATCH: reaches the limit within 90 days of its last hookup, "
        "where the line of past hookups leads; the range is that of the slope alone, and hookups "
        "scatter about the line. A day that is past is no forecast. It is no promise: a clamp may "
        "fail sooner."
    )
    return [output.wrapped(line) for line in (told, BY_CHANCE)]


VIEW: View[Any] = View(
    read,
    fields,
    columns,
    frozenset({"station"}),
    flat=flat_fields,
    notes=(output.CAUTION,),
    remarks=remarks,
    title="Bonded resistance, what to watch first",
)
