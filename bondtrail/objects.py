"""What programs get of a result: the keys of each kind of row, in a settled order.

Each table maps a key to the function that reads it from a row. Moments leave as ISO 8601.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from operator import attrgetter
from typing import TypeVar

from bondtrail.results import Finding, Hookup, Ticket, Transfer, Trip, WorkWindow
from bondtrail.times import format_time

Row = TypeVar("Row")
Fields = Mapping[str, Callable[[Row], object]]


def as_object(fields: Fields[Row], row: Row) -> dict[str, object]:
    """Return the row as programs get it."""
    return {name: read(row) for name, read in fields.items()}


def iso(moment_ns: int | None) -> str | None:
    """Return the moment as programs get it: ISO 8601 in UTC with milliseconds."""
    return None if moment_ns is None else format_time(moment_ns)


_HELD = frozenset({str, int, bool, type(None)})
"""Classes of which JSON can hold any value."""


def finite(value: object) -> object:
    """Return plain values with every number that JSON cannot hold as None."""
    if type(value) in _HELD:  # most are: to ask whether each is a mapping took longest
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(key): finite(held) for key, held in value.items()}
    if isinstance(value, list | tuple):
        return [finite(held) for held in value]
    return value


def as_is(*names: str) -> dict[str, Callable[[object], object]]:
    """Read each field of a row under its own name."""
    return {name: attrgetter(name) for name in names}


def moment(name: str) -> Callable[[object], object]:
    """Read a moment as ISO 8601."""
    read = attrgetter(name)
    return lambda row: iso(read(row))


def word(name: str) -> Callable[[object], object]:
    """Read a member of an enumeration as its plain text."""
    read = attrgetter(name)
    return lambda row: None if read(row) is None else str(read(row))


def sorted_keys(name: str) -> Callable[[object], object]:
    """Read a mapping with its keys in order."""
    read = attrgetter(name)
    return lambda row: {key: read(row)[key] for key in sorted(read(row))}


FINDING: Fields[Finding] = {
    "id": attrgetter("id"),
    "kind": word("kind"),
    "severity": word("severity"),
    **as_is("station", "transfer"),
    "start": moment("start"),
    "end": moment("end"),
    **as_is("seconds", "summary"),
    "evidence": sorted_keys("evidence"),
    "limits": sorted_keys("limits"),
    "rules": attrgetter("rules"),
}

TRANSFER: Fields[Transfer] = {
    **as_is("id", "station"),
    "start": moment("start"),
    "end": moment("end"),
    **as_is("flow_s", "volume", "unit", "batch", "product", "operator", "compliant"),
    **as_is("not_bonded_s", "no_data_s", "bypassed_s", "trips", "time_to_bond_s", "bond_lead_s"),
    "findings": attrgetter("findings"),
}

HOOKUP: Fields[Hookup] = {
    "station": attrgetter("station"),
    "start": moment("start"),
    "end": moment("end"),
    "outcome": word("outcome"),
    **as_is("time_to_bond_s", "lowest_ohm", "median_ohm"),
    "cause": word("cause"),
}

TRIP: Fields[Trip] = {
    "station": attrgetter("station"),
    "time": moment("time"),
    "transfer": attrgetter("transfer"),
    "class": word("trip_class"),
    "cause": word("cause"),
    **as_is("marginal", "loss_s", "stop_s"),
}

WORK: Fields[WorkWindow] = {
    "station": attrgetter("station"),
    "start": moment("start"),
    "end": moment("end"),
    "what": attrgetter("what"),
}

TICKET: Fields[Ticket] = {
    "station": attrgetter("station"),
    "start": moment("start"),
    "end": moment("end"),
    **as_is("batch", "product", "operator"),
}
