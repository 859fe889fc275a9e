"""A table as plain lines of text: how wide its columns are, where cells wrap or are cut."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import chain, zip_longest

GAP, NARROW_GAP = 2, 1
"""Blanks between columns: the narrow one where else a cell would be cut."""

LONGEST_WORD = 12
"""A column that wraps keeps room for its words, if they are no longer than this."""
NARROWEST = 5
"""What such a column keeps where else a cell beside it would be cut."""


@dataclass(frozen=True, slots=True)
class Heading:
    """What stands above a column; ``wraps``: too long a line goes on below, else it is cut."""

    text: str
    right: bool = False
    wraps: bool = False


def laid_out(
    headings: Sequence[Heading], rows: Sequence[Sequence[str]], widest: int
) -> tuple[list[str], str, list[str]]:
    """Return the lines of the headings, the rule below them, and the lines of the rows.

    Parameters
    ----------
    headings : sequence of Heading
        One a column; a line feed begins another line.
    rows : sequence of sequence of str
        A cell for each heading; a line feed begins another line.
    widest : int
        The most columns of the terminal that a line takes.
    """
    head = _standing([heading.text.split("\n") for heading in headings])
    cells = [[cell.expandtabs().split("\n") for cell in row] for row in rows]
    columns = zip(head, *cells, strict=True)
    widths, gap = _fitted(headings, [[*chain(*column)] for column in columns], widest)
    rule = "-" * (sum(widths) + gap * (len(widths) - 1))
    lines = [line for row in cells for line in _lines(headings, row, widths, gap)]
    return list(_lines(headings, head, widths, gap)), rule, lines


def _standing(titles: Sequence[Sequence[str]]) -> list[list[str]]:
    """Return the lines of the headings so that the last ones stand beside each other."""
    tallest = max(len(lines) for lines in titles)
    return [[""] * (tallest - len(lines)) + list(lines) for lines in titles]


def _fitted(
    headings: Sequence[Heading], columns: Sequence[Sequence[str]], widest: int
) -> tuple[list[int], int]:
    """Return how wide each column of lines is, and the gap between them.

    What wraps gives first, then the gap, then the words of what wraps, and at last every cell.
    """
    widths = [max(map(width_of, lines)) for lines in columns]
    whole, broken = list(widths), list(widths)
    for at, heading in enumerate(headings):
        if heading.wraps:
            whole[at] = min(_longest_word(columns[at]), LONGEST_WORD)
            broken[at] = min(whole[at], NARROWEST)
    gaps = len(widths) - 1
    gap = GAP if sum(whole) + GAP * gaps <= widest else NARROW_GAP
    for least in (whole, broken, [1] * len(widths)):
        widths = _narrowed(widths, least, widest - gap * gaps)
    return widths, gap


def _narrowed(widths: Sequence[int], least: Sequence[int], space: int) -> list[int]:
    """Return widths that fit into a space as far as the least ones let them; the widest give."""
    narrowed = [min(width, max(space, floor)) for width, floor in zip(widths, least, strict=True)]
    while sum(narrowed) > space:
        spare = [width * (width > floor) for width, floor in zip(narrowed, least, strict=True)]
        if not any(spare):
            break
        narrowed[spare.index(max(spare))] -= 1
    return narrowed


def _longest_word(lines: Sequence[str]) -> int:
    return max((width_of(word) for line in lines for word in line.split()), default=1)


def _lines(
    headings: Sequence[Heading], row: Sequence[Sequence[str]], widths: Sequence[int], gap: int
) -> Iterator[str]:
    """Yield the lines of one row."""
    columns = [
        [part for line in cell for part in _parts(line, width, heading.wraps)]
        for heading, cell, width in zip(headings, row, widths, strict=True)
    ]
    for parts in zip_longest(*columns, fillvalue=""):
        padded = (
            _padded(part, width, heading.right)
            for heading, part, width in zip(headings, parts, widths, strict=True)
        )
        yield (" " * gap).join(padded).rstrip()


def _parts(line: str, width: int, wraps: bool) -> list[str]:
    if width_of(line) <= width:
        return [line]
    return list(_wrapped(line, width)) if wraps else [f"{line[: _fitting(line, width - 1)]}…"]


def _wrapped(line: str, width: int) -> Iterator[str]:
    """Yield a line in parts no wider than ``width``; a word that is too long is broken."""
    held = ""
    for word in line.rstrip().split(" "):
        longer = f"{held} {word}" if held else word
        if width_of(longer) <= width:
            held = longer
            continue
        if held:
            yield held
        *parts, held = [word] if width_of(word) <= width else _broken(word, width)
        yield from parts
    yield held


def _broken(word: str, width: int) -> Iterator[str]:
    """Yield a word in parts of one character at least."""
    at = 0
    while at < len(word):
        fits = max(_fitting(word[at : at + width], width), 1)
        yield word[at : at + fits]
        at += fits


def _fitting(text: str, width: int) -> int:
    """Return how many characters fit into ``width``."""
    count = min(width, len(text))
    while width_of(text[:count]) > width:
        count -= 1
    return count


def _padded(text: str, width: int, right: bool) -> str:
    blanks = " " * (width - width_of(text))
    return f"{blanks}{text}" if right else f"{text}{blanks}"


def width_of(text: str) -> int:
    """Return how many columns of a terminal a text takes: some characters take two, or none."""
    if text.isascii():
        return len(text)
    from rich.cells import cell_len

    return cell_len(text)
