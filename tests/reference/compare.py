"""Say in words where two analyses of a station differ."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping, Sequence
from typing import Protocol

from bondtrail.results import Alarm, DaySums, Finding, Hookup, Transfer, Trip

TOLERANCE = 1e-5
"""Absolute, in s and in L or kg: a hundredth of a millilitre. Volumes may be kept as whole
millionths of their unit, so that they add up the same in any order.
"""
UNCOMPARED = {"summary", "evidence", "limits", "rules", "time_to_bond", "time_to_stop"}

Row = Transfer | Hookup | Trip | Finding | Alarm | DaySums


class Results(Protocol):
    """What both evaluators return."""

    @property
    def transfers(self) -> Sequence[Transfer]: ...
    @property
    def hookups(self) -> Sequence[Hookup]: ...
    @property
    def trips(self) -> Sequence[Trip]: ...
    @property
    def findings(self) -> Sequence[Finding]: ...
    @property
    def alarms(self) -> Sequence[Alarm]: ...
    @property
    def days(self) -> Sequence[DaySums]: ...
    @property
    def shifts(self) -> Sequence[DaySums]: ...


def differences(fast: Results, slow: Results) -> list[str]:
    """Return one line a difference in episodes, findings and alarms; none where they agree."""
    return [
        line
        for part in ("transfers", "hookups", "trips", "findings", "alarms")
        for line in compared(part, getattr(fast, part), getattr(slow, part))
    ]


def day_differences(fast: Results, slow: Results) -> list[str]:
    """Return one line a difference in the sums of days and shifts."""
    return [
        *compared("days", fast.days, slow.days),
        *compared("shifts", fast.shifts, slow.shifts),
    ]


def compared(part: str, fast: Sequence[Row], slow: Sequence[Row]) -> Iterator[str]:
    said, meant = by_name(fast), by_name(slow)
    if len(said) < len(fast):
        yield f"{part}: the fast rules give two rows of one name"
    for name in sorted(said.keys() | meant.keys()):
        if name not in said:
            yield f"{part}: missing {name}: {readable(meant[name])}"
        elif name not in meant:
            yield f"{part}: not expected {name}: {readable(said[name])}"
        else:
            yield from unlike(f"{part}: {name}", said[name], meant[name])
    if said.keys() == meant.keys() and list(said) != list(meant):
        yield f"{part}: order {list(said)}, expected {list(meant)}"


def by_name(rows: Sequence[Row]) -> dict[str, Row]:
    return {name_of(row): row for row in rows}


def name_of(row: Row) -> str:
    if isinstance(row, Transfer | Finding):
        return row.id
    if isinstance(row, DaySums):
        return str(row.day) if row.shift is None else f"{row.day} {row.shift!r}"
    if isinstance(row, Alarm):
        return f"{row.kind} at {row.start}"
    return f"{type(row).__name__.lower()} at {row.time if isinstance(row, Trip) else row.start}"


def unlike(name: str, fast: Row, slow: Row) -> Iterator[str]:
    for field in dataclasses.fields(slow):
        if field.name in UNCOMPARED:
            continue
        said, meant = getattr(fast, field.name), getattr(slow, field.name)
        if not same(said, meant):
            yield f"{name}: {field.name} is {said!r}, expected {meant!r}"
    if isinstance(fast, Finding) and isinstance(slow, Finding):
        said, meant = (row.evidence.get("after_work") for row in (fast, slow))
        if said != meant:
            yield f"{name}: after_work is {said!r}, expected {meant!r}"


def same(said: object, meant: object) -> bool:
    if isinstance(meant, float) and isinstance(said, float):
        return abs(said - meant) <= TOLERANCE
    if isinstance(meant, Mapping) and isinstance(said, Mapping):
        return counted(said) == counted(meant)
    return bool(said == meant)


def counted(counts: Mapping[str, int]) -> dict[str, int]:
    return {str(key): count for key, count in counts.items() if count}


def readable(row: Row) -> str:
    fields = dataclasses.asdict(row)
    return ", ".join(f"{key}={value}" for key, value in fields.items() if key not in UNCOMPARED)
