"""From the bytes of a site file to TOML tables, refusing what no site file is."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from bondtrail.site_problems import Problem, SiteError

MOST_BYTES = 4 * 2**20
MOST_LINE = 16 * 2**10
"""tomllib takes time that grows with the square of a dotted key's length."""

_PLACE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)\Z")
_TWICE = re.compile(r"Cannot (?:declare|mutate|overwrite|define|redefine).*", re.DOTALL)
_RIGHT = 'TOML, such as id = "rail-1" or limit_ohm = 10.0'


def read_text(path: Path) -> str:
    """Return the text of a site file; a byte order mark is dropped.

    Raises
    ------
    SiteError
        If it cannot be read, is not UTF-8 or is larger than any site file.
    """
    try:
        with path.open("rb") as file:
            raw = file.read(MOST_BYTES + 1)
    except (OSError, ValueError) as exc:  # ValueError: a NUL in the path
        why = getattr(exc, "strerror", None) or str(exc)
        raise _error(str(path), f"cannot be read ({why})", "a site file in TOML") from exc
    if len(raw) > MOST_BYTES:
        raise _error(str(path), "larger than 4 MiB", "a site file")
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise _error(str(path), "UTF-16 text", "the file saved as UTF-8")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as exc:
        line = raw.count(b"\n", 0, exc.start) + 1
        raise _error(str(path), "not UTF-8 text", "the file saved as UTF-8", line) from exc


def read_toml(text: str, source: str) -> dict[str, Any]:
    """Return the tables of a TOML text; ``source`` names it in errors.

    Raises
    ------
    SiteError
        If it is not TOML, or larger or deeper than any site file.
    """
    if len(text) > MOST_BYTES:
        raise _error(source, "larger than 4 MiB", "a site file")
    for number, line in enumerate(text.split("\n"), 1):
        if len(line) > MOST_LINE:
            raise _error(source, "a very long line", f"at most {MOST_LINE} characters", number)
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as exc:
        raise SiteError(source, [_syntax_problem(str(exc), text)]) from exc
    except RecursionError as exc:
        raise _error(source, "brackets nested too deep", "a few levels at most") from exc
    except ValueError as exc:  # from int(): more digits than Python reads
        raise _error(source, "a number of very many digits", "numbers of a few digits") from exc


def _error(source: str, wrong: str, right: str, line: int | None = None) -> SiteError:
    return SiteError(source, [Problem("", "", wrong, right, line)])


def _syntax_problem(message: str, text: str) -> Problem:
    place = _PLACE.search(message)
    said = _TWICE.sub("a key or table stands twice", _PLACE.sub("", message))[:200]
    if place and place[1]:
        return Problem("", "", f"not TOML at column {place[2]}: {said}", _RIGHT, int(place[1]))
    last = text.rstrip().count("\n") + 1
    return Problem("", "", f"not TOML at the end of the file: {said}", _RIGHT, last)
