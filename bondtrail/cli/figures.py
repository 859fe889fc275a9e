"""How a figure with its interval is told: as an object, as flat columns and in a cell.

A figure is anything with ``value``, ``low``, ``high``, ``count``, ``of`` and ``is_few``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from operator import attrgetter
from typing import Any, TypeVar

from bondtrail.endings import parted

Row = TypeVar("Row")

PARTS = ("value", "low", "high", "count", "of")

TOO_FEW = "too few to rank"


def as_parts(figure: Any) -> dict[str, object]:
    """Return a figure as JSON has it."""
    return {name: getattr(figure, name) for name in PARTS}


def flat(name: str, read: Callable[[Row], Any]) -> Mapping[str, Callable[[Row], object]]:
    """Return the columns of a figure in CSV: its value under its name, the rest behind it."""

    def part(of: str) -> Callable[[Row], object]:
        get = attrgetter(of)
        return lambda row: get(read(row))

    return {name if of == "value" else f"{name}_{of}": part(of) for of in PARTS}


def part(read: Callable[[Row], Any], path: str) -> Callable[[Row], object]:
    """Read a part of an object by its path, such as ``a.b``; None where there is no object."""

    def found(row: Row) -> object:
        told = read(row)
        for name in path.split("."):
            told = None if told is None else told[name]
        return told

    return found


def percent(share: float) -> str:
    """Return a share as per cent, such as ``92.3``; what is not all of it never reads ``100``."""
    text = f"{100 * share:.1f}"
    if text == "100.0":
        return "100" if share == 1 else ">99.9"
    if text == "0.0":
        return "0" if share == 0 else "<0.1"
    return text


def rate(value: float) -> str:
    """Return a rate with three digits, such as ``0.123``, ``4.50`` or ``1,230``."""
    if not value:
        return "0"
    return f"{value:,.0f}" if abs(value) >= 99.95 else f"{value:#.3g}"


def share_cell(figure: Any) -> str:
    """Return a share in lines: count, value, interval, and a word where it is of too few."""
    if figure.value is None:
        return "-"
    lines = [
        f"{figure.count:,}/{figure.of:,}",
        f"{percent(figure.value)} %",
        f"({percent(figure.low)}-{percent(figure.high)})",
    ]
    return "\n".join([*lines, *([TOO_FEW] if figure.is_few else [])])


def rate_cell(figure: Any, unit: str) -> str:
    """Return a rate in a line, such as ``23.1 (4.77-67.4) /100``."""
    if figure.value is None:
        return ""
    return f"{rate(figure.value)} ({rate(figure.low)}-{rate(figure.high)}) {unit}"


def named(name: str, unit: str = "") -> str:
    """Return the name of a figure in words, its unit behind it.

    ``bond_lead_s`` is ``bond lead, s``; a ``unit`` is that of a name which does not tell it.
    """
    bare, told = parted(name)
    words, unit = bare.replace("_", " "), told or unit
    return f"{words}, {unit}" if unit else words
