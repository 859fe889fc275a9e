"""What is wrong with a site file, in words that say what would be right."""

from __future__ import annotations

import datetime as dt
import difflib
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Any

from annotated_types import Ge, Gt, Le
from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from bondtrail.site_tables import keys_of

MOST = 500
"""More problems than anyone mends in one go are counted, not listed."""

LONGEST_SHOWN = 60


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
        expected = "" if self.right.startswith("did you mean") else "expected "
        said = f"{self.wrong}: {expected}{self.right}"
        return f"{place}: {said}" if place else said


class SiteError(Exception):
    """A site file that cannot be used; ``problems`` holds everything that is wrong with it."""

    def __init__(self, source: str, problems: Sequence[Problem]) -> None:
        super().__init__(source, tuple(problems))
        self.source = source
        self.problems = tuple(problems)

    def __str__(self) -> str:
        return "\n".join(
            f"{self.source} {problem}"
            if problem.table or problem.key or problem.line
            else f"{self.source}: {problem}"
            for problem in self.problems
        )


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


def meant(word: object, known: Iterable[str]) -> str | None:
    """Return the known word that ``word`` is most like, or None."""
    if not isinstance(word, str) or len(word) > LONGEST_SHOWN:
        return None  # comparing takes time that grows with the square of the length
    by_lower = {name.lower(): name for name in islice(known, 1000)}
    close = difflib.get_close_matches(word.lower(), by_lower, n=1, cutoff=0.7)
    return by_lower[close[0]] if close else None


def one_of(word: object, known: Collection[str]) -> str:
    """Return what would be right for a word that is not among the known ones."""
    close = meant(word, known)
    choice = "one of " + ", ".join(known)
    return f"{choice} (did you mean {close}?)" if close else choice


def shown(value: object) -> str:
    """Return a value of a TOML file as an error quotes it: short, and on one line."""
    match value:
        case bool():
            return "true" if value else "false"
        case str():
            short = len(value) <= LONGEST_SHOWN
            return repr(value if short else f"{value[: LONGEST_SHOWN - 3]}...")
        case int() if value.bit_length() > 64:
            return "a number of very many digits"
        case int() | float():
            return repr(value)
        case dt.date() | dt.time():
            return f"the date or time {value}"
        case Mapping():
            return "a table"
        case _:
            return "a list"


def shown_key(key: str) -> str:
    """Return a key of a TOML file as an error names it."""
    return key if len(key) <= LONGEST_SHOWN and key.isprintable() else shown(key)


def note_invalid(
    problems: Problems, table: str, prefix: str, model: type[BaseModel], error: ValidationError
) -> set[tuple[int | str, ...]]:
    """Note what is wrong with one table and return the places concerned: key, or key and index.

    Parameters
    ----------
    problems : Problems
        Where to note it.
    table, prefix : str
        The table, and what comes before its keys where it lies inside another.
    model : type of BaseModel
        What the table should have been; its fields say what would be right.
    error : ValidationError
        What pydantic found, in its own terms, which are not shown.
    """
    places = set()
    for detail in error.errors(include_url=False, include_context=False):
        place, kind, value = detail["loc"], detail["type"], detail.get("input")
        key = str(place[0])
        field = keys_of(model)[key]
        problems.add(table, prefix + key, _wrong(kind, value), _right(kind, value, field))
        places.add(place)
    return places


_WRONG = {
    "missing": "missing",
    "finite_number": "{} is not a finite number",
    "less_than_equal": "{} is too large",
    "string_too_long": "{} is too long",
    "string_too_short": "{} is empty",
    "too_long": "the list is too long",
    "too_short": "the list is empty",
    "repeated": "the list says a thing twice",
    "list_type": "{} is no list",
    "enum": "{} is not known",
    "literal_error": "{} is not known",
}


def _wrong(kind: str, value: object) -> str:
    words = _WRONG.get(kind)
    if words is None:
        number = isinstance(value, int | float) and not isinstance(value, bool)
        words = _wrong_number(kind, value) if number else _wrong_other(kind)
    return words.format(shown(value))


def _wrong_number(kind: str, value: Any) -> str:
    if kind == "string_type":
        return "{} is not in quotes"
    if kind == "int_type":
        return "{} is not a whole number"
    if kind == "float_type":  # an integer beyond any float
        return "{} is too large"
    return "{} is negative" if value < 0 else "{} is too small"


def _wrong_other(kind: str) -> str:
    return "{} is no number" if kind in ("float_type", "int_type") else "{} does not fit"


def _right(kind: str, value: object, field: FieldInfo) -> str:
    if field.description:
        return field.description
    choices = [example for example in field.examples or () if isinstance(example, str)]
    if choices:
        return one_of(value, choices)
    noun = "a whole number" if kind.startswith("int") else "a number"
    return noun + _bounds(field, upper=_wrong(kind, value).endswith("too large"))


def _bounds(field: FieldInfo, *, upper: bool) -> str:
    words = ""
    for bound in field.metadata:
        match bound:
            case Gt():
                words += f" above {bound.gt:g}"
            case Ge():
                words += f" of {bound.ge:g} or more"
            case Le() if upper:
                words += f", up to {bound.le:g}"
    example = field.examples[0] if field.examples else field.default
    return f"{words}, e.g. {example}"
