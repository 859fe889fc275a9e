"""``bondtrail compare``: did a change help, is one station worse than another?"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import click

from bondtrail.cli import figures, opening, output
from bondtrail.cli.faults import print_warning
from bondtrail.cli.options import db_option, example, format_option
from bondtrail.cli.output import Column, amount, counted, site_time
from bondtrail.objects import iso
from bondtrail.times import nanoseconds

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from analytics.comparisons import Compared, Side
    from bondtrail.site import Site
    from store import Store

DAY_S = 86_400.0
KNOWN_MIN = 0.9
"""A side of which less is known is warned of."""

NEEDED = (
    "name a moment (--at), two stations (--station twice), or two periods "
    "(--from, --to, --and-from, --and-to)"
)


@dataclass(frozen=True, slots=True)
class Half:
    """One side of what was asked for; moments in ns."""

    name: str
    station: str | None
    start: int | None
    end: int | None


@click.command(
    "compare",
    epilog=example(
        "bondtrail compare --station bay-1 --at 2026-03-09T12:00 --days 28",
        "bondtrail compare --station bay-1 --station bay-2 --from 2026-01-01",
        "bondtrail compare --from 2025-01-01 --to 2025-04-01 --and-from 2026-01-01 "
        "--and-to 2026-04-01",
    ),
)
@click.option(
    "--station", "stations", metavar="ID", multiple=True, help="This station; two: the two of them."
)
@click.option("--at", metavar="TIME", help="Before this moment against from it on.")
@click.option(
    "--days",
    type=click.FloatRange(0, min_open=True),
    metavar="N",
    help="With --at: so many days on either side, not all there are.",
)
@click.option("--from", "start", metavar="TIME", help="From here on.")
@click.option("--to", "end", metavar="TIME", help="Up to here, not included.")
@click.option("--and-from", "other_start", metavar="TIME", help="The second period: from here on.")
@click.option("--and-to", "other_end", metavar="TIME", help="The second period: up to here.")
@click.option(
    "--two-sided",
    type=click.Choice(["minlike", "doubled"]),
    default="minlike",
    show_default=True,
    help="How p of a ratio takes the other side in: whatever is no likelier, or the smaller tail "
    "twice.",
)
@format_option()
@db_option
def command(form: str, db: str, two_sided: str, **asked: Any) -> None:
    """Compare before and after, two stations, or two periods.

    Compliance and failed hookups by the difference of their shares, nuisance trips by the ratio
    of their rates, each with its interval, and whether there is any sign of a difference.

    Transfers, hookups and trips count by the moment at which they began. A TIME without an offset
    is on the site's clock. Without --station it is about the whole site.
    """
    with opening.existing_store(db) as store:
        site = opening.needed_site(store)
        halves = _halves(store, site, asked)
        sides, found = _compared(store, halves, site.zone, two_sided)
        _warn_beyond(sides, asked["at"], site.zone)
        opening.warn_of_waiting(store)
    _print(found, sides, site.zone, form)


def _halves(store: Store, site: Site, asked: Mapping[str, Any]) -> tuple[Half, Half]:
    """Return what to compare with what.

    Raises
    ------
    UsageError
        If that is not clear, or the periods overlap.
    """
    stations = [_station(store, site, name) for name in asked["stations"]]
    times = {
        name: opening.moment(asked[name], site.zone, option) for name, option in _TIMES.items()
    }
    given = {name for name, moment in times.items() if moment is not None}
    if asked["days"] is not None and "at" not in given:
        raise click.UsageError("--days goes with --at")
    if len(stations) == 2:
        return _two_stations(stations, times, given)
    if len(stations) > 2:
        raise click.UsageError("--station can be given twice at most")
    station = stations[0] if stations else None
    if given == {"at"}:
        return _before_and_after(station, times["at"], asked["days"])
    if given == {"start", "end", "other_start", "other_end"}:
        return _two_periods(station, times)
    raise click.UsageError(NEEDED)


_TIMES = {
    "at": "--at",
    "start": "--from",
    "end": "--to",
    "other_start": "--and-from",
    "other_end": "--and-to",
}


def _station(store: Store, site: Site, name: str) -> str:
    known = {station.id for station in site.stations}
    if name not in known:
        known |= store.readings().keys()
        opening.known_station(name, known)
    return name


def _two_stations(
    stations: Sequence[str], times: Mapping[str, int | None], given: set[str]
) -> tuple[Half, Half]:
    if given - {"start", "end"}:
        raise click.UsageError("two stations are compared over one period: --from and --to")
    start, end = times["start"], times["end"]
    _check_span(start, end, "--to", "--from")
    if stations[0] == stations[1]:
        raise click.UsageError("the two stations are the same")
    first, second = (Half(name, name, start, end) for name in stations)
    return first, second


def _before_and_after(station: str | None, at: int | None, days: float | None) -> tuple[Half, Half]:
    assert at is not None
    reach = None if days is None else nanoseconds(days * DAY_S)
    start, end = (None, None) if reach is None else (at - reach, at + reach)
    return Half("before", station, start, at), Half("after", station, at, end)


def _two_periods(station: str | None, times: Mapping[str, int | None]) -> tuple[Half, Half]:
    first = Half("first period", station, times["start"], times["end"])
    second = Half("second period", station, times["other_start"], times["other_end"])
    _check_span(first.start, first.end, "--to", "--from")
    _check_span(second.start, second.end, "--and-to", "--and-from")
    begin, end = times["start"] or 0, times["end"] or 0
    if begin < (second.end or 0) and (second.start or 0) < end:
        raise click.UsageError("the two periods overlap: what is in both cannot tell them apart")
    return first, second


def _check_span(start: int | None, end: int | None, to: str, since: str) -> None:
    if start is not None and end is not None and end <= start:
        raise click.UsageError(f"{to} must be later than {since}")


def _compared(
    store: Store, halves: tuple[Half, Half], zone: ZoneInfo, two_sided: str
) -> tuple[list[Side], list[Compared]]:
    from analytics.comparisons import compared, side
    from analytics.core.comparison import TwoSided

    sides = [
        side(
            store,
            half.name,
            None if half.station is None else [half.station],
            half.start,
            half.end,
            zone=zone,
        )
        for half in halves
    ]
    first, second = sides
    return sides, compared(first, second, TwoSided[two_sided.upper()])


def _warn_beyond(sides: Sequence[Side], at: str | None, zone: ZoneInfo) -> None:
    """Say where a moment has no reading on one side of it: there is nothing to compare."""
    before, after = (side.record for side in sides)
    if at is None or before.readings is None:
        return
    first, last = (site_time(moment, zone) for moment in before.readings)
    if after.span is None:
        print_warning(
            f"--at {at} is after the last reading ({last}): nothing is on record after it"
        )
    if before.span is None:
        print_warning(
            f"--at {at} is not after the first reading ({first}): nothing is on record before it"
        )


def _print(found: list[Compared], sides: list[Side], zone: ZoneInfo, form: str) -> None:
    if form == "json":
        output.print_json(as_object(row, sides) for row in found)
    elif form == "csv":
        flat = [_flat(as_object(row, sides)) for row in found]
        output.print_csv(list(flat[0]), flat)
    else:
        output.print_table(_title(sides), _columns(sides), found, _notes(found, sides, zone))


def as_object(row: Compared, sides: Sequence[Side]) -> dict[str, object]:
    """Return a figure of both sides as JSON has it."""
    return {
        "figure": row.figure,
        "first": {**_side(sides[0]), **figures.as_parts(row.first)},
        "second": {**_side(sides[1]), **figures.as_parts(row.second)},
        "compared_by": "difference" if row.figure in _SHARES else "ratio",
        "value": row.change.value,
        "low": row.change.low,
        "high": row.change.high,
        "p_value": getattr(row.change, "p_value", None),
        "method": row.change.method,
        "verdict": str(row.change.verdict),
        "words": row.change.words,
    }


_SHARES = ("compliance", "failed_hookup_share")


def _side(side: Side) -> dict[str, object]:
    return {
        "name": side.name,
        "stations": None if side.stations is None else list(side.stations),
        "from": iso(side.start),
        "to": iso(side.end),
        "known": side.record.known,
        "on_record_from": None if side.record.span is None else iso(side.record.span[0]),
        "on_record_to": None if side.record.span is None else iso(side.record.span[1]),
    }


def _flat(found: Mapping[str, object]) -> dict[str, object]:
    flat: dict[str, object] = {}
    for name, held in found.items():
        if isinstance(held, Mapping):
            flat |= {f"{name}_{part}": value for part, value in held.items()}
        else:
            flat[name] = held
    return flat


_LABELS = {
    "compliance": "Compliant transfers",
    "nuisance_per_100_transfers": "Nuisance trips\nper 100 transfers",
    "nuisance_per_1000_flow_h": "Nuisance trips\nper 1000 h of flow",
    "failed_hookup_share": "Failed hookups",
}


def _title(sides: Sequence[Side]) -> str:
    names = [" and ".join(side.stations) if side.stations else "The whole site" for side in sides]
    told = f"{sides[0].name} and {sides[1].name}"
    return told if names[0] != names[1] else f"{names[0]}: {told}"


def _columns(sides: Sequence[Side]) -> list[Column[Compared]]:
    first, second = (side.name for side in sides)
    return [
        Column("Figure", lambda row: _LABELS[row.figure]),
        Column(first.capitalize(), lambda row: _cell(row.figure, row.first), right=True),
        Column(second.capitalize(), lambda row: _cell(row.figure, row.second), right=True),
        Column("Difference, ratio", _change, right=True),
        Column(f"{second.capitalize()} is", _verdict, wraps=True),
    ]


def _cell(figure: str, told: Any) -> str:
    if figure in _SHARES:
        return figures.share_cell(told)
    whole = f"{told.of:,.1f} h" if figure.endswith("_h") else amount(told.of, "transfers")
    lines = [f"{told.count:,} in {whole}"]
    if told.value is not None:
        lines.append(f"{figures.rate(told.value)}")
        lines.append(f"({figures.rate(told.low)}-{figures.rate(told.high)})")
    return "\n".join([*lines, *([figures.TOO_FEW] if told.is_few else [])])


def _change(row: Compared) -> str:
    change = row.change
    if change.low is None or change.high is None:
        return "-"
    if row.figure in _SHARES:
        value, low, high = (f"{100 * part:+.1f}" for part in _ends(change))
        return f"{value} points\n({low} to {high})"
    value = "-" if change.value is None else f"{_times(change.value)} times"
    return f"{value}\n({_times(change.low)} to {_times(change.high)})"


def _ends(change: Any) -> tuple[float, float, float]:
    return change.value, change.low, change.high


def _times(value: float) -> str:
    return "infinite" if math.isinf(value) else figures.rate(value)


def _verdict(row: Compared) -> str:
    p_value = getattr(row.change, "p_value", None)
    if p_value is None:
        return str(row.change.verdict)
    return f"{row.change.verdict}\n(p {'< 0.001' if p_value < 0.001 else f'= {p_value:.3f}'})"


def _notes(found: Sequence[Compared], sides: Sequence[Side], zone: ZoneInfo) -> list[str]:
    methods = {row.change.method for row in found if row.figure not in _SHARES}
    told = [
        f"{side.name}: {_period(side, zone)}; {counted(side.transfers, 'transfer')}, "
        f"{side.flow_s / 3600:,.1f} h of flow, {counted(side.hookups, 'hookup')}, "
        f"{counted(side.nuisance_trips, 'nuisance trip')}; {_on_record(side, zone)}"
        for side in sides
    ]
    notes = [
        f"Times are {zone.key}. What began in a period counts in it; the flow of a transfer "
        "across its edge is split evenly over the time of the transfer.",
        *told,
        *(_gap(side) for side in sides if side.record.known < KNOWN_MIN),
        "Shares with Wilson 95 % intervals; their difference, in points, with Newcombe's "
        "hybrid score interval. Rates with exact Poisson 95 % intervals; their ratio by the "
        f"{' and the '.join(sorted(methods))}.",
        "A difference is no proof of its cause: what else changed at that time?",
    ]
    return [*(output.wrapped(note) for note in notes), output.CAUTION]


def _on_record(side: Side, zone: ZoneInfo) -> str:
    record = side.record
    if record.span is None:
        return "nothing of it is on record"
    known = f"bond state known for {figures.percent(record.known)} % of its time"
    if record.is_whole and side.start is not None and side.end is not None:
        return f"all on record, {known}"
    first, last = record.span[0], record.span[1] - 1
    return f"on record from {site_time(first, zone)} to {site_time(last, zone)}, {known}"


def _gap(side: Side) -> str:
    return (
        f"CAUTION, {side.name}: the bond state is known for less than 90 % of its time. What was "
        "not recorded counts on neither side, so the two may differ for want of a record alone."
    )


def _period(side: Side, zone: ZoneInfo) -> str:
    if side.start is None and side.end is None:
        return "all there is"
    since = "" if side.start is None else f"from {site_time(side.start, zone)}"
    until = "" if side.end is None else f"to {site_time(side.end, zone)}"
    return " ".join(part for part in (since, until) if part)
