"""The first line of a file: what the file holds, and which column is which."""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from ingest.faults import shown
from ingest.report import FileKind

MOST_COLUMNS = 16_384
"""Columns of the widest table that is read."""

_DELIMITERS = ",;\t"
_LONG = ("time", "tag", "value")
_NEEDED = {  # a file is of the first kind whose columns it has
    FileKind.LONG: frozenset(_LONG),
    FileKind.BATCH: frozenset(("start", "end", "station", "batch")),
    FileKind.WORK: frozenset(("start", "end", "station", "what")),
    FileKind.WIDE: frozenset(("time",)),
}
_KNOWN = {
    FileKind.LONG: (*_LONG, "quality"),
    FileKind.BATCH: ("start", "end", "station", "batch", "product", "operator"),
    FileKind.WORK: ("start", "end", "station", "what"),
    FileKind.WIDE: ("time",),
}
_FORMS = (
    "`time,tag,value`, `time,<tag>,<tag>,...`, `start,end,station,what` or "
    "`start,end,station,batch,product,operator`"
)


class HeaderError(Exception):
    """A first line that does not tell how to read the file."""


@dataclass(frozen=True, slots=True)
class Layout:
    """How the rows of a file are read.

    ``columns`` gives the place of each column that has a name of ours; ``others`` those that
    do not: the tags of a wide file, and what nobody reads in another.
    """

    kind: FileKind
    names: tuple[str, ...]
    columns: dict[str, int]
    others: tuple[int, ...]
    delimiter: str = ","

    @property
    def width(self) -> int:
        """How many columns a row has."""
        return len(self.names)


def layout_of_line(line: bytes) -> Layout:
    """Return the layout that a first line of text tells.

    Raises
    ------
    HeaderError
        If it tells none.
    """
    try:
        text = line.decode("utf-8-sig")
    except UnicodeDecodeError as exc:
        raise HeaderError("the first line is not UTF-8 text: save the file as UTF-8") from exc
    for delimiter in _DELIMITERS:
        names = _fields(text, delimiter)
        kind = _kind(names)
        if kind and (len(names) > 1 or kind is not FileKind.WIDE):
            return layout_of_names(names, delimiter)
    if text.strip().lower().strip('"') == "time":
        raise HeaderError("the header names a time and nothing else: no tag to read")
    raise HeaderError(f"no header: the first line must name the columns, as {_FORMS}")


def layout_of_names(names: Sequence[str], delimiter: str = ",") -> Layout:
    """Return the layout of columns with these names.

    Raises
    ------
    HeaderError
        If it is not clear what they hold.
    """
    kind = _kind(names)
    if kind is None:
        raise HeaderError(f"the columns are none that can be read: expected {_FORMS}")
    if len(names) > MOST_COLUMNS:
        raise HeaderError(f"{len(names)} columns: at most {MOST_COLUMNS} are read")
    lower = [name.strip().lower() for name in names]
    counts = Counter(lower)
    twice = [name for name in _KNOWN[kind] if counts[name] > 1]
    if twice:
        raise HeaderError(f"column {shown(twice[0])} is there {counts[twice[0]]} times")
    columns = {name: lower.index(name) for name in _KNOWN[kind] if name in counts}
    places = set(columns.values())
    others = tuple(place for place in range(len(names)) if place not in places)
    return Layout(kind, tuple(name.strip() for name in names), columns, others, delimiter)


def _fields(text: str, delimiter: str) -> list[str]:
    try:
        return next(csv.reader([text], delimiter=delimiter), [])
    except csv.Error:  # a field beyond what the reader allows is no column name
        return []


def _kind(names: Sequence[str]) -> FileKind | None:
    lower = {name.strip().lower() for name in names}
    return next((kind for kind, needed in _NEEDED.items() if needed <= lower), None)
