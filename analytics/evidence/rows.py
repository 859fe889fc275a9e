"""Rows of results as plain values that lose nothing, and how two of the same row differ."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import fields
from enum import Enum
from typing import Any, TypeVar

from pydantic import TypeAdapter, ValidationError

from analytics.evidence.faults import UnreadableError
from bondtrail.results import (
    Finding,
    Hookup,
    Reject,
    Review,
    Ticket,
    Transfer,
    Trip,
    WorkWindow,
)
from bondtrail.times import format_time

Plain = dict[str, Any]

MOMENTS = frozenset({"start", "end", "time", "at", "last_time", "last_at"})
"""Fields that are a moment: told as ISO 8601 to the millisecond, and beside it in whole ns."""

IF_ANY = frozenset({"last_time", "last_at"})
"""Fields that are told only where they say something: packages from before have none of them."""

SAME = 1e-9
"""Relative: another processor or library may differ in the last digits of a float."""

_INFINITE = "infinite"
"""An open circuit, which JSON has no number for."""

Row = TypeVar("Row")


def plain(row: object) -> Plain:
    """Return a row of `bondtrail.results` as plain values, its id first if it has one."""
    told: Plain = {"id": row.id} if hasattr(row, "id") else {}
    for field in fields(row):  # type: ignore[arg-type]
        value = getattr(row, field.name)
        if value is None and field.name in IF_ANY:
            continue
        if field.name in MOMENTS:
            told[field.name] = None if value is None else format_time(value)
            told[f"{field.name}_ns"] = None if value is None else int(value)
        else:
            told[field.name] = _value(value)
    return told


def _value(value: Any) -> Any:
    if isinstance(value, Enum):
        return str(value)
    if isinstance(value, Mapping):
        return {str(key): _value(value[key]) for key in sorted(value)}
    if isinstance(value, list | tuple):
        return [_value(item) for item in value]
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else _INFINITE
    return value.item() if hasattr(value, "item") else value


def row_of(kind: type[Row], told: object, name: str) -> Row:
    """Return the row that plain values tell, all of them checked; ``name`` stands in errors.

    Raises
    ------
    UnreadableError
        If they tell no such row.
    """
    if not isinstance(told, dict):
        raise UnreadableError(f"{name}: expected rows of {kind.__name__}")
    given = {key: value for key, value in told.items() if key not in MOMENTS and key != "id"}
    wanted = {
        key.removesuffix("_ns") if key.endswith("_ns") else key: v for key, v in given.items()
    }
    try:
        row: Row = _ADAPTERS[kind].validate_python(_opened(wanted))
    except ValidationError as exc:
        first = exc.errors(include_url=False, include_input=False)[0]
        place = ".".join(map(str, first["loc"]))
        raise UnreadableError(f"{name}: {place}: {first['msg']}") from exc
    return row


_ADAPTERS: dict[type[Any], TypeAdapter[Any]] = {
    kind: TypeAdapter(kind)
    for kind in (Finding, Hookup, Reject, Review, Ticket, Transfer, Trip, WorkWindow)
}


def _opened(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _opened(held) for key, held in value.items()}
    return math.inf if value == _INFINITE else value


def differing(a: Mapping[str, Any], b: Mapping[str, Any]) -> list[str]:
    """Return the keys under which two rows say something else."""
    names = [*a, *(key for key in b if key not in a)]
    return [key for key in names if key not in a or key not in b or not same(a[key], b[key])]


def same(a: Any, b: Any) -> bool:
    """Tell whether two plain values are the same, floats to within `SAME`."""
    if isinstance(a, dict) and isinstance(b, dict):
        return a.keys() == b.keys() and all(same(a[key], b[key]) for key in a)
    if isinstance(a, list) and isinstance(b, list):
        return len(a) == len(b) and all(map(same, a, b))
    if isinstance(a, bool) or isinstance(b, bool):
        return a is b
    if isinstance(a, int | float) and isinstance(b, int | float):
        return a == b or (
            isinstance(a, float) | isinstance(b, float)
            and math.isclose(a, b, rel_tol=SAME, abs_tol=1e-12)
        )
    return type(a) is type(b) and bool(a == b)


def json_bytes(value: object) -> bytes:
    """Return plain values as JSON: the same ones give the same bytes, in ASCII."""
    return (json.dumps(value, indent=1, allow_nan=False) + "\n").encode("ascii")


def parse_json(content: bytes, name: str) -> Any:
    """Return what a JSON file of a package says.

    Raises
    ------
    UnreadableError
        If it is not written as `json_bytes` writes it.
    """
    try:
        value = json.loads(content.decode("ascii"), parse_constant=_refuse)
        again = json_bytes(value)
    except (ValueError, RecursionError, OverflowError) as exc:
        raise UnreadableError(f"{name}: no JSON that can be read") from exc
    if again != content:
        raise UnreadableError(f"{name}: not written as a package writes JSON")
    return value


def _refuse(constant: str) -> None:
    raise ValueError(f"{constant} is no number of JSON")


def plain_rows(rows: Iterable[object]) -> list[Plain]:
    """Return rows as plain values."""
    return [plain(row) for row in rows]
