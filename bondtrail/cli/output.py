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
from typing import TYPE_CHECKING, Generic, TextIO, TypeVar

import click

from bondtrail.cli.faults import CONTROL, printable
from bondtrail.cli.text_table import Heading, laid_out
from bondtrail.formulas import harmless
from bondtrail.objects import finite
from bondtrail.times import local, offset_if_repeated

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from rich.console import Console

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


def console() -> Console:
    """Return standard error, where progress is shown: `WIDTH` columns wide at most."""
    from rich.console import Console

    width = _width(sys.stderr)
    return Console(
        file=sys.stderr, width=width, no_color=True, highlight=False, markup=False, emoji=False
    )


def _width(stream: TextIO) -> int:
    """Return how wide lines may be: as the terminal, `WIDTH` where there is none or it is wider."""
    return min(shutil.get_terminal_size().columns, WIDTH) if stream.isatty() else WIDTH


def print_table(
    title: str, columns: Sequence[Column[Row]], rows: Iterable[Row], notes: Iterable[str] = ()
) -> None:
    """Print rows under headings, with notes below; cells are taken literally."""
    width = _width(sys.stdout)
    headings = [Heading(column.head, column.right, column.wraps) for column in columns]
    cells = [[printable(column.cell(row)) for column in columns] for row in rows]
    head, rule, lines = laid_out(headings, cells, width)
    for line in (*textwrap.wrap(printable(title), width), *head):
        print(_bold(line))
    print(rule, *lines, sep="\n")
    say(*notes)


def _bold(line: str) -> str:
    return click.style(line, bold=True) if sys.stdout.isatty() else line


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
    """Return JSON in which control characters are escaped: it says them, a terminal does not."""
    text = json.dumps(finite(value), ensure_ascii=False, allow_nan=False)
    return CONTROL.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def print_csv(names: Sequence[str], objects: Iterable[Object]) -> None:
    """Print rows under the given names: flat, so that a spreadsheet can take them.

    A list becomes its items with blanks between, a mapping ``name=value`` with semicolons; an
    infinite resistance is ``open``, as it is in files that come in. What tickets say comes from
    outside: text that a spreadsheet would take for a formula gets an apostrophe in front, and
    control characters are replaced, as in a table.
    """
    writer = csv.writer(sys.stdout, lineterminator="\n")
    writer.writerow(names)
    for item in objects:
        writer.writerow([_csv_cell(item.get(name)) for name in names])


def _csv_cell(value: object) -> object:
    flat = _flat(value)
    return printable(flat) if isinstance(flat, str) else flat


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
    return f"{text}{offset_if_repeated(here)}"


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
