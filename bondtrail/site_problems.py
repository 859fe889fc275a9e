"""What is wrong with a site file, in words that say what would be right."""

from __future__ import annotations

import datetime as dt
import difflib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

MOST = 500
"""More problems than anyone mends in one go are counted, not listed."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong: in which table, at which key, what, and what would be right."""

    table: str
    key: str
    wrong: str
    right: str
    line: int | None = None
    """Only where the text is not TOML at all."""

    def __str__(self) -> str:
        line = f"line {self.line}" if self.line else ""
        place = " ".join(part for part in (line, self.table, self.key) if part)
        return f"{place}: {self.wrong}: expected {self.right}".removeprefix(": ")


class SiteError(Exception):
    """A site file that cannot be used; ``problems`` holds everything that is wrong with it."""

    def __init__(self, source: str, problems: Sequence[Problem]) -> None:
        super().__init__(source, tuple(problems))
        self.source = source
        self.problems = tuple(problems)

    def __str__(self) -> str:
        return "\n".join(f"{self.source} {problem}" for problem in self.problems)


class Problems:
    """Collects what is wrong with one file."""

    def __init__(self) -> None:
        self._found: list[Problem] = []
        self._more = 0

    def add(self, table: str, key: str, wrong: str, right: str) -> None:
        """Note one problem."""
        if self.is_full:
            self._more += 1
        else:
            self._found.append(Problem(table, key, wrong, right))

    @property
    def is_full(self) -> bool:
        """Whether further problems are only counted."""
        return len(self._found) >= MOST

    def listed(self) -> list[Problem]:
        """Return the problems in the order of the file."""
        if not self._more:
            return self._found
        rest = Problem("", "", f"and {self._more} more problems", "these mended first")
        return [*self._found, rest]


def meant(word: str, known: Iterable[str]) -> str | None:
    """Return the known word that ``word`` is most like, or None."""
    if len(word) > 64:  # likeness takes time that grows with the square of the length
        return None
    by_lower = {name.lower(): name for name in known}
    close = difflib.get_close_matches(word.lower(), by_lower, n=1, cutoff=0.7)
    return by_lower[close[0]] if close else None


def one_of(word: str, known: Iterable[str]) -> str:
    """Return what would be right for a word that is not among the known ones."""
    words = list(known)
    close = meant(word, words)
    choice = "one of " + ", ".join(words)
    return f"{choice}; did you mean {close}?" if close else choice


def shown(value: object) -> str:
    """Return a value of a TOML file as an error quotes it: short, and on one line."""
    match value:
        case bool():
            return "true" if value else "false"
        case str():
            return repr(value if len(value) <= 60 else f"{value[:57]}...")
        case int() if value.bit_length() > 64:
            return "a number of very many digits"
        case int() | float():
            return repr(value)
        case dt.date() | dt.time():
            return str(value)
        case Mapping():
            return "a table"
        case _:
            return "a list"


def note_invalid(
    problems: Problems, table: str, prefix: str, model: type[BaseModel], error: ValidationError
) -> set[str]:
    """Note what pydantic found wrong with one table and return the keys concerned.

    ``prefix`` comes before the keys, where the table lies inside another.
    """
    keys = set()
    for detail in error.errors(include_url=False, include_context=False):
        key = str(detail["loc"][0])
        keys.add(key)
        field = model.model_fields[key]
        wrong = _wrong(detail["type"], detail.get("input"), field)
        problems.add(table, prefix + key, wrong, _right(detail, field))
    return keys


def _wrong(kind: str, value: object, field: FieldInfo) -> str:
    if kind == "missing":
        return "missing"
    if kind in ("greater_than", "greater_than_equal") and isinstance(value, int | float):
        return f"{shown(value)} is {'negative' if value < 0 else 'too small'}"
    if kind in ("less_than_equal", "int_parsing_size"):
        return f"{shown(value)} is too large"
    if kind == "finite_number":
        return f"{shown(value)} is not a finite number"
    if kind == "too_long":
        return "the list is too long"
    if kind == "string_too_long":
        return f"{shown(value)} is too long"
    if kind == "string_too_short":
        return "the text is empty"
    return f"{shown(value)} does not fit"


def _right(detail: Mapping[str, Any], field: FieldInfo) -> str:
    return field.description or "a fitting value"
