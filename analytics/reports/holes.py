"""Data holes as a report tells them: on its first page, and as a table."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from operator import attrgetter

from analytics.holes import LEAST_S, Hole, ranges
from analytics.holes import holes as found_holes
from analytics.reports import words
from analytics.reports.report import Caveat
from analytics.reports.source import Source
from analytics.reports.tables import Column, Place, Sort, Table, frame

MOST_NAMED, MOST_CASES = 8, 5


def holes(source: Source) -> list[Hole]:
    """Return the stations of which something is not known, the largest hole first."""
    days = source.period.first, source.period.last
    return found_holes(source.store, source.site.zone, days, source.now, source.covered)


def without_bypass(source: Source) -> tuple[list[str], int]:
    """Return the stations with flow that record no bypass, and how many have flow."""
    flowing = [
        row.id for row in source.site.stations if source.is_wanted(row.id) and row.tells_flow
    ]
    return [name for name in flowing if not source.records_bypass(name)], len(flowing)


def caveats(found: Sequence[Hole]) -> Iterator[Caveat]:
    """Yield what the first page says of the holes; stations that miss the same days together."""
    missing = [row for row in found if row.coverage.missing_s >= LEAST_S]
    if missing:
        yield Caveat(
            f"The records have holes at {words.plural(len(missing), 'station')}. Nothing is "
            "claimed of these times, neither good nor bad.",
            _cases(missing),
        )
    blind = [row for row in found if row.coverage.flow_unknown_s >= LEAST_S]
    if blind:
        length = words.span(sum(row.coverage.flow_unknown_s for row in blind))
        names = words.listed([row.station for row in blind], MOST_NAMED)
        yield Caveat(
            f"Whether product flowed is unknown for {length} in all at "
            f"{words.plural(len(blind), 'station')} ({names}): no transfer can be seen then, "
            "neither good nor bad."
        )


def _cases(found: Sequence[Hole]) -> list[str]:
    groups: dict[str, list[Hole]] = defaultdict(list)
    for row in found:
        groups[ranges(row.days)].append(row)
    order = sorted(groups.values(), key=lambda rows: -sum(row.coverage.missing_s for row in rows))
    cases = [_case(rows) for rows in order[:MOST_CASES]]
    if len(order) > MOST_CASES:
        rest = [row for rows in order[MOST_CASES:] for row in rows]
        cases.append(_case(rest, f"{words.plural(len(rest), 'more station')}, on other days"))
    return cases


def _case(rows: Sequence[Hole], named: str = "") -> str:
    """Return how much several stations miss; on which days, unless they are ``named`` otherwise."""
    parts = [
        f"{what} for {words.span(length)}"
        for what, length in (
            ("bond unknown", sum(row.coverage.unknown_s for row in rows)),
            ("no record", sum(row.coverage.no_record_s for row in rows)),
            ("not analysed", sum(row.coverage.not_analysed_s for row in rows)),
        )
        if length >= LEAST_S
    ]
    together = " in all" if len(rows) > 1 else ""
    when = f", mostly {ranges(rows[0].days)}" if rows[0].days and not named else ""
    who = named or words.listed([row.station for row in rows], MOST_NAMED)
    return f"{who}: {', '.join(parts)}{together}{when}"


def _columns(source: Source) -> Sequence[Column[Hole]]:
    waiting = Place.EVERYWHERE if source.waiting else Place.DATA
    return (
        Column("station", "Station", attrgetter("station")),
        Column("known_share", "Bond state known", attrgetter("coverage.share"), Sort.SHARE),
        _seconds("unknown_s", "Bond state unknown"),
        _seconds("no_record_s", "No record"),
        _seconds("not_analysed_s", "Not analysed", waiting),
        _seconds("flow_unknown_s", "Flow unknown"),
        Column("days", "Days of which much is missing", lambda row: ranges(row.days)),
    )


def _seconds(name: str, head: str, place: Place = Place.EVERYWHERE) -> Column[Hole]:
    return Column(name, head, attrgetter(f"coverage.{name}"), Sort.SECONDS, place=place)


def table(source: Source, found: Sequence[Hole]) -> Table:
    """Return the holes as a table."""
    columns = _columns(source)
    blind, _ = without_bypass(source)
    unseen = f" No bypass is recorded at {words.listed(blind)}." if blind else ""
    return Table(
        "holes",
        "Holes in the records",
        columns,
        frame(columns, found, source.site.zone),
        note=(
            "Unknown: readings that came too late, or of bad quality. No record: before the first "
            "reading of a station or after its last. Flow unknown: nobody knows whether product "
            "flows, so no transfer can be seen; where flow is not recorded at all, none ever is. "
            "Much is missing of a day when the bond state is not known for more than a tenth of "
            f"it.{unseen}"
        ),
        empty="None: the bond state of every station is known at all times, and so is its flow.",
    )
