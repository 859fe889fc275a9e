"""The tables of a site file that follow the calendar: ``[[shift]]`` and ``[[report]]``."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from itertools import combinations
from typing import Any

from pydantic import BaseModel

from bondtrail.roster import WEEKDAYS, Shift, shared_days
from bondtrail.site_items import Raw, check, listed, note_unknown
from bondtrail.site_problems import Problems, shown
from bondtrail.site_tables import MINUTES_A_DAY, ReportPlan, ShiftTable, keys_of

MOST = 50
"""So many shifts, and so many reports: the sums of a day have a row for each shift."""


def check_shifts(raw: Raw, problems: Problems) -> list[Raw]:
    """Return the sound items of every ``[[shift]]``; what is wrong with the rest is noted."""
    titled = list(_titled("shift", _some("shift", raw, problems)))
    parts = [_check_table(ShiftTable, table, title, problems) for title, table in titled]
    titles = [title for title, _ in titled]
    _check_names(parts, titles, problems)
    hours = [
        (title, ShiftTable.model_validate({**part, "name": "any"}))
        for (title, table), part in zip(titled, parts, strict=True)
        if _is_whole(table, part)
    ]
    _check_overlaps([each for each in hours if not _is_empty(*each, problems)], problems)
    return parts


def shift_of(raw: Raw) -> Shift:
    """Return the shift of a sound table."""
    return _shift(ShiftTable.model_validate(raw))


def _shift(table: ShiftTable) -> Shift:
    days = frozenset(WEEKDAYS.index(day) for day in table.days)
    return Shift(table.name, _clock(table.begin), _clock(table.end), days)


def check_reports(raw: Raw, problems: Problems) -> list[Raw]:
    """Return the sound items of every ``[[report]]``; what is wrong with the rest is noted."""
    parts = []
    first: dict[tuple[object, ...], str] = {}
    for number, table in enumerate(_some("report", raw, problems), 1):
        title = f"[[report]] number {number}"
        part = _check_table(ReportPlan, table, title, problems)
        parts.append(part)
        if not {"every", "folder"} <= part.keys():
            continue
        same = first.setdefault((part["every"], part["folder"], part.get("format", "html")), title)
        if same != title:
            wrong = f"{same} already writes the same {part['every']} files there"
            problems.add(title, "folder", wrong, "a folder of its own")
    return parts


def _some(name: str, raw: Raw, problems: Problems) -> list[Any]:
    """Return the tables ``[[name]]``, or note that there are too many to look at."""
    tables = listed(raw, name, problems)
    if len(tables) <= MOST:
        return tables
    problems.add(f"[[{name}]]", "", f"there are {len(tables)} {name}s", f"at most {MOST}")
    return []


def _titled(name: str, tables: list[Any]) -> Iterator[tuple[str, Any]]:
    """Yield every table with its title: by its name, where that can be shown."""
    for number, table in enumerate(tables, 1):
        named = table.get("name") if isinstance(table, dict) else None
        fits = isinstance(named, str) and 0 < len(named) <= 60 and named.isprintable()
        yield f"[[{name}]] {named if fits else f'number {number}'}", table


def _check_table(model: type[BaseModel], table: Any, title: str, problems: Problems) -> Raw:
    if not isinstance(table, dict):
        problems.add(title, "", f"{shown(table)} is no table", f"a {title.split()[0]} table")
        return {}
    note_unknown(table, keys_of(model), title, "", problems)
    return check(model, table, title, problems)


def _check_names(parts: list[Raw], titles: list[str], problems: Problems) -> None:
    first: dict[str, int] = {}
    for number, (part, title) in enumerate(zip(parts, titles, strict=True), 1):
        name = part.get("name")
        if name is not None and first.setdefault(name, number) != number:
            wrong = f"shift number {number} has the name of shift number {first[name]}"
            problems.add(title, "name", wrong, "a name of its own")


def _is_whole(table: Any, part: Raw) -> bool:
    """Return whether the shift's hours are as written: no default stands in for a fault."""
    hours = {"from", "to"} | ({"days"} & set(table) if isinstance(table, dict) else set())
    return all(key in part and part[key] == table[key] for key in hours)


def _is_empty(title: str, table: ShiftTable, problems: Problems) -> bool:
    """Return, and note, whether a shift ends where it begins."""
    if table.begin != table.end:
        return False
    right = 'another end, or from = "00:00" and to = "24:00" for a whole day'
    problems.add(title, "to", f"from and to are both {_clock(table.begin):%H:%M}", right)
    return True


def _check_overlaps(hours: list[tuple[str, ShiftTable]], problems: Problems) -> None:
    shifts = [(title, table, _shift(table)) for title, table in hours]
    for (title, table, one), (later, other, another) in combinations(shifts, 2):
        if days := shared_days(one, another):
            on = ", ".join(WEEKDAYS[day] for day in days)
            wrong = f"{_span(other)} overlaps {title} ({_span(table)}) on {on}"
            problems.add(later, "from", wrong, "shifts of which one ends before the next begins")


def _span(table: ShiftTable) -> str:
    end = "24:00" if table.end == MINUTES_A_DAY else f"{_clock(table.end):%H:%M}"
    return f"{_clock(table.begin):%H:%M} to {end}"


def _clock(minutes: int) -> dt.time:
    hour, minute = divmod(minutes % MINUTES_A_DAY, 60)
    return dt.time(hour, minute)
