"""The page of a package: what happened, in order, what is missing, and what was not as usual."""

from __future__ import annotations

from collections.abc import Iterator

from analytics.core.typical import FEW, NONE_DIFFERS, by_chance
from analytics.evidence.layout import Column, Row, Section, Table, Width, by_day
from analytics.evidence.page_facts import Source
from analytics.evidence.rows import Plain
from analytics.evidence.words import amount, at_least, name_of, ohms, told
from analytics.reports.words import NOTHING, plain

UNRESOLVED = "="
"""Behind the time of an event whose place in the order cannot be told."""


def events(source: Source) -> Section:
    """Return the sequence of events."""
    rows = [(row["time"], _event(source, row)) for row in source.replay["events"]]
    text = [
        "Each event stands at the moment it was seen. Known: a reading or a person says so. "
        "Inferred: a rule says so, from readings. Missing: from here on nothing is known.",
        "Bond: its resistance, or whether it was open or unknown. At least: not all that flowed "
        f"was measured. {UNRESOLVED} behind a time: whether this came before or after the one "
        "above cannot be told, they lie closer than their points report or their clocks agree. "
        "events.csv has since when each may have been so.",
        source.replay["clocks"],
    ]
    columns = (
        Column("Seen at", Width.TIME),
        Column("What", Width.NAME),
        Column("Basis", Width.WORD),
        Column("Detail"),
        Column("Bond", Width.SHORT),
        Column("Flow", Width.SHORT),
        Column("So far", Width.SHORT),
    )
    return Section(
        "The sequence of events", text, tables=[Table(columns, list(by_day(source.clock, rows)))]
    )


def _event(source: Source, row: Plain) -> Row:
    order = "" if row["order_certain"] else f" {UNRESOLVED}"
    return Row(
        (
            source.clock.time(row["time"]) + order,
            plain(row["what"]),
            row["basis"],
            row["detail"],
            row["bond"] if row["ohm"] is None else ohms(row["ohm"]),
            NOTHING if row["flow"] is None else amount(row["flow"], source.rate_unit),
            _so_far(row, source.volume_unit),
        )
    )


def _so_far(row: Plain, unit: str) -> str:
    if row["volume"] is None:
        return NOTHING
    return (at_least if row["volume_is_least"] else amount)(row["volume"], unit)


def missing(source: Source) -> Section:
    """Return what is not known, and why."""
    clock = source.clock
    rows = [
        Row((plain(row["about"]), clock.moment(row["start"]), clock.moment(row["end"]), row["why"]))
        for row in source.replay["missing"]
    ]
    columns = (
        Column("What", Width.NAME),
        Column("From", Width.MOMENT),
        Column("To", Width.MOMENT),
        Column("Why"),
    )
    text = [] if rows else ["Nothing of what the site file names."]
    tables = [Table(columns, rows)] if rows else []
    return Section(
        "What is missing", text, tables=[*tables, *_replaced(source), *_rejected(source)]
    )


def _replaced(source: Source) -> Iterator[Table]:
    """Yield which readings are not the first ones, if any."""
    clock = source.clock
    columns = (
        Column("Point", Width.NAME),
        Column("From", Width.MOMENT),
        Column("To", Width.MOMENT),
        Column("Earlier values", Width.SHORT),
        Column("They said"),
        Column("The later ones arrived"),
    )
    rows = [
        Row(
            (
                row["role"],
                clock.moment(row["first"]),
                clock.moment(row["last"]),
                f"{row['count']:,}",
                _said(source, row),
                clock.moment(row["at"]) if row["at"] else "not known when",
            )
        )
        for row in source.replay["replaced"]
    ]
    if rows:
        yield Table(columns, rows, "Readings that others took the place of")


def _said(source: Source, row: Plain) -> str:
    """Return what the earlier values were: of one point, the lowest and the highest."""
    unit = {"resistance": "ohm", "flow": source.rate_unit}.get(row["role"], "")
    low, high = ("open" if row[n] is None else amount(row[n], unit) for n in ("lowest", "highest"))
    return low if low == high else f"{low} to {high}"


MOST_REJECTED = 50
"""So many rows that could not be taken are told one by one."""


def _rejected(source: Source) -> Iterator[Table]:
    """Yield which rows would have been readings and could not be taken, if any."""
    of = source.replay["rejected"]
    columns = (
        Column("Point", Width.NAME),
        Column("Of", Width.MOMENT),
        Column("Where it stood"),
        Column("Why it was not taken"),
    )
    rows = [
        Row(
            (
                row["role"],
                source.clock.moment(row["time"]),
                f"{row['source']}, {row['where']}",
                _reason(source, row),
            )
        )
        for row in of[:MOST_REJECTED]
    ]
    further = f", the first {MOST_REJECTED} of {len(of):,}" if len(of) > MOST_REJECTED else ""
    if rows:
        yield Table(columns, rows, f"Rows that could not be taken{further}")


def _reason(source: Source, row: Plain) -> str:
    """Return why rows were not taken, and how many and until when where several are one."""
    if "last_time" not in row:
        return str(row["reason"])
    last = source.clock.moment(row["last_time"])
    return f"{row['reason']} ({row['count']:,} such rows, the latest of {last})"


_TYPICAL = "Beside the typical transfer"


def typical(source: Source) -> Section:
    """Return how the transfer compares with the good ones before it."""
    told_of = source.replay["typical"]
    if told_of is None or not told_of["transfers"]:
        return Section(_TYPICAL, ["There is none to compare with."])
    first = told_of["first_difference"]
    text = [
        f"The range of {len(told_of['transfers'])} good transfers before it, of the same station "
        "and product, in the order in which the figures were settled. Their readings are not "
        "enclosed.",
        NONE_DIFFERS if first is None else f"First to differ: {_name(first)}.",
        by_chance(len(told_of["transfers"]) if first is None else first["of"]),
    ]
    columns = (
        Column("Figure"),
        Column("Here", Width.SHORT),
        Column("Least", Width.SHORT),
        Column("Median", Width.SHORT),
        Column("Greatest", Width.SHORT),
        Column("Of", Width.COUNT),
        Column("", Width.SHORT),
    )
    rows = [_comparison(row) for row in told_of["comparisons"]]
    return Section(_TYPICAL, text, tables=[Table(columns, rows)])


def _name(row: Plain) -> str:
    return name_of(row["name"])


def _comparison(row: Plain) -> Row:
    def figure(value: float | None, without: str) -> str:
        return without if value is None else told(row["name"], value)

    never = "never" if row["differs"] else "not known"
    here = figure(row["value"], "open" if row["open"] else never)
    # JSON has no number for an open circuit: where some have the figure, that is what is left.
    without = "open" if row["of"] else NOTHING
    theirs = (figure(row[name], without) for name in ("low", "median", "high"))
    mark = "differs" if row["differs"] else ""
    return Row((_name(row), here, *theirs, str(row["of"]), _differs(row)), mark)


def _differs(row: Plain) -> str:
    if row["differs"] is None:
        return "too few to tell" if row["of"] < FEW else "not known"
    return "▲ differs" if row["differs"] else "within"
