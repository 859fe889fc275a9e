"""How rows are printed: a table for people, CSV and JSON for programs.

A row for programs is a mapping of plain values; a column for people is a heading and a function
that makes a cell. Nothing here knows what a row is about.
"""

from __future__ import annotations

import csv
import json
import math
import shutil
import sys
import textwrap
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Generic, TypeVar

from bondtrail.cli.faults import printable
from bondtrail.formulas import harmless
from bondtrail.objects import finite
from bondtrail.times import local

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from rich.console import Console
    from rich.table import Table

WIDTH = 100
"""Columns of a table where the terminal does not say: what a report or a ticket holds."""

CAUTION = (
    "Bondtrail reads and reports; it is not a safety function and calls nothing safe.\n"
    "Local codes and licensed practice govern."
)

Row = TypeVar("Row")
Object = Mapping[str, object]


@dataclass(frozen=True)
class Column(Generic[Row]):
    """One column of a table: its heading and how a row fills it."""

    head: str
    cell: Callable[[Row], str]
    right: bool = False
    wraps: bool = False


def console(*, to_stderr: bool = False) -> Console:
    """Return where tables go: as wide as the terminal, `WIDTH` columns where there is none."""
    from rich.console import Console

    stream = sys.stderr if to_stderr else sys.stdout
    width = min(shutil.get_terminal_size().columns, WIDTH) if stream.isatty() else WIDTH
    return Console(
        file=stream, width=width, no_color=True, highlight=False, markup=False, emoji=False
    )


def print_table(
    title: str, columns: Sequence[Column[Row]], rows: Iterable[Row], notes: Iterable[str] = ()
) -> None:
    """Print rows under headings, with notes below; cells are taken literally."""
    from rich.text import Text

    screen = console()
    table = _empty_table(title, columns, plain=not screen.is_terminal)
    for row in rows:
        table.add_row(*(Text(printable(column.cell(row))) for column in columns))
    with screen.capture() as drawn:
        screen.print(table)
    print("\n".join(line.rstrip() for line in drawn.get().splitlines()))
    say(*notes)


def _empty_table(title: str, columns: Sequence[Column[Row]], *, plain: bool) -> Table:
    from rich import box
    from rich.table import Table

    lines = box.Box("\n".join(["    ", "    ", " -- ", *["    "] * 5]) + "\n", ascii=True)
    table = Table(
        title=title,
        title_justify="left",
        title_style="bold",
        box=lines if plain else box.SIMPLE_HEAD,
        show_edge=False,
        pad_edge=False,
        padding=(0, 1, 0, 0),
    )
    for column in columns:
        table.add_column(
            column.head,
            justify="right" if column.right else "left",
            overflow="fold" if column.wraps else "ellipsis",
            no_wrap=not column.wraps,
        )
    return table


def say(*lines: str) -> None:
    """Print lines of text, control characters replaced."""
    for line in lines:
        print(printable(line))


def wrapped(note: str, hanging: int = 0) -> str:
    """Return a note in lines of at most `WIDTH` columns, all but the first indented."""
    return textwrap.fill(note, WIDTH, subsequent_indent=" " * hanging, break_on_hyphens=False)


def bullets(lines: Iterable[str]) -> list[str]:
    """Return sentences as the lines of a list."""
    return [wrapped(f"- {line}", hanging=2) for line in lines]


def print_json(objects: Iterable[Object]) -> None:
    """Print an array of objects, one a line; an infinite value is null."""
    between = "["
    for item in objects:
        print(f"{between}\n{_as_json(item)}", end="")
        between = ","
    print("[]" if between == "[" else "\n]")


def print_object(item: Object) -> None:
    """Print one object, a key a line, and each item of a list of objects on its own."""
    lines = (f"{_as_json(name)}: {_laid_out(held)}" for name, held in item.items())
    print("{", ",\n".join(lines), "}", sep="\n")


def _laid_out(value: object) -> str:
    if isinstance(value, list) and value and isinstance(value[0], Mapping):
        return "[\n" + ",\n".join(map(_as_json, value)) + "\n]"
    return _as_json(value)


def _as_json(value: object) -> str:
    return json.dumps(finite(value), ensure_ascii=False, allow_nan=False)


def print_csv(names: Sequence[str], objects: Iterable[Object]) -> None:
    """Print rows under the given names: flat, so that a spreadsheet can take them.

    A list becomes its items with blanks between, a mapping ``name=value`` with semicolons; an
    infinite resistance is ``open``, as it is in files that come in. Text that a spreadsheet would
    take for a formula gets an apostrophe in front: what tickets say comes from outside.
    """
    writer = csv.writer(sys.stdout, lineterminator="\n")
    writer.writerow(names)
    for item in objects:
        writer.writerow([_flat(item.get(name)) for name in names])


def _flat(value: object) -> object:
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float) and math.isinf(value):
        return "open"
    if isinstance(value, Mapping):
        return "; ".join(f"{key}={_flat(held)}" for key, held in value.items())
    if isinstance(value, list | tuple):
        return " ".join(str(_flat(held)) for held in value)
    return harmless(value) if isinstance(value, str) else value


def site_time(moment_ns: int | None, zone: ZoneInfo, *, millis: bool = False) -> str:
    """Return the moment on the site's clock, cut to the second or the millisecond.

    In the hour that an autumn change of clocks repeats, the offset tells which of the two.
    """
    if moment_ns is None:
        return "-"
    here = local(moment_ns, zone)
    text = f"{here:%Y-%m-%d %H:%M:%S}"
    if millis:
        text += f".{here.microsecond // 1000:03d}"
    twin = here.replace(fold=1 - here.fold)
    return text if twin.utcoffset() == here.utcoffset() else f"{text}{here:%z}"


def site_clock(moment_ns: int | None, beside_ns: int, zone: ZoneInfo) -> str:
    """Return the moment on the site's clock with milliseconds, beside one that tells the day.

    The day stands only where it is another one.
    """
    told = site_time(moment_ns, zone, millis=True)
    day, _, clock = told.partition(" ")
    return clock if site_time(beside_ns, zone).startswith(day) and clock else told


def length(seconds: float | None) -> str:
    """Return a span of time, such as ``3.2 s``, ``12:05`` (minutes), ``2:03:09`` or ``3 d 7 h``."""
    if seconds is None:
        return "-"
    if round(seconds, 1) < 60:
        return f"{seconds:.1f} s"
    minutes, rest = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    if hours >= 72:
        return f"{hours // 24} d {hours % 24} h"
    return f"{hours}:{minutes:02}:{rest:02}" if hours else f"{minutes}:{rest:02}"


def ohms(value: float | None) -> str:
    """Return a resistance, such as ``3.42``, ``15.3 k`` or ``open``."""
    if value is None:
        return "-"
    if math.isinf(value):
        return "open"
    for size, letter in ((1.0, ""), (1e3, " k"), (1e6, " M")):
        text = f"{value / size:.3g}"
        if "e" not in text:
            return f"{text}{letter}"
    return f"{value:.3g}"


def amount(value: float | None, unit: str | None = None) -> str:
    """Return a count or volume with thousands apart, such as ``12,345 L``."""
    if value is None:
        return "-"
    return f"{value:,.0f} {unit}" if unit else f"{value:,.0f}"


def counted(number: int, noun: str) -> str:
    """Return a number of things, such as ``1 station`` or ``12 stations``."""
    return f"{number:,} {noun}" if number == 1 else f"{number:,} {noun}s"
