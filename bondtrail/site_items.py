"""The items of a site file's tables: what fits is returned, what does not is noted."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

from pydantic import BaseModel, ValidationError

from bondtrail.site_problems import Problems, meant, note_invalid, shown, shown_key
from bondtrail.site_tables import Limits, Role, keys_of

ROLES = tuple(role.value for role in Role)
LIMITS = tuple(Limits.model_fields)

Raw = dict[str, Any]


def check_single(
    model: type[BaseModel], raw: Raw, name: str, problems: Problems, *, required: bool = False
) -> Raw:
    """Return the sound items of a table that stands once in the file."""
    title = f"[{name}]"
    table = single(raw, name, problems)
    if table is None:
        if required and name not in raw:
            problems.add(title, "", "missing", f"a table {title}")
        return {}
    note_unknown(table, keys_of(model), title, "", problems)
    return check(model, table, title, problems)


def single(raw: Raw, name: str, problems: Problems) -> Raw | None:
    """Return the table ``[name]``, still as written; None where it is not there, or is none."""
    table = raw.get(name)
    if isinstance(table, dict):
        return table
    if table is not None:
        wrong = "double brackets" if isinstance(table, list) else f"{shown(table)} is no table"
        problems.add(f"[{name}]", "", wrong, f"one table [{name}]")
    return None


def listed(raw: Raw, name: str, problems: Problems) -> list[Any]:
    """Return what stands under ``[[name]]``, still as written; nothing where it is not there."""
    tables = raw.get(name)
    if tables is None or isinstance(tables, list):
        return tables or []
    if isinstance(tables, dict):
        problems.add(f"[{name}]", "", "single brackets", f"[[{name}]], once for each {name}")
        return [tables]
    problems.add(f"[[{name}]]", "", f"{shown(tables)} is no table", f"tables [[{name}]]")
    return []


def check(
    model: type[BaseModel], raw: Raw, table: str, problems: Problems, prefix: str = ""
) -> Raw:
    """Return the items of ``raw`` that fit the model, noting the ones that do not."""
    keys = keys_of(model)
    known = {key: value for key, value in raw.items() if key in keys}
    try:
        model.model_validate(known)
    except ValidationError as exc:
        invalid = note_invalid(problems, table, prefix, model, exc)
        return {key: _fitting(key, known[key], invalid) for key in known if (key,) not in invalid}
    return known


def _fitting(key: str, value: Any, invalid: set[tuple[int | str, ...]]) -> Any:
    """Return the value without those of its items that do not fit."""
    if not isinstance(value, list):
        return value
    return [item for number, item in enumerate(value) if (key, number) not in invalid]


def note_unknown(
    raw: Mapping[str, Any], known: Collection[str], table: str, prefix: str, problems: Problems
) -> None:
    """Note every key of a table that is not among the known ones."""
    for key in raw:
        if key not in known:
            right = "" if problems.is_full else _right_key(key, known)
            problems.add(table, prefix + shown_key(key), "unknown key", right)


def _right_key(key: str, known: Collection[str]) -> str:
    if close := meant(key, known):
        return f"did you mean {close}?"
    if key in LIMITS:
        return "it under [limits] or in a [[station]]"
    if key in ROLES:
        return "it under [station.points]"
    if set(LIMITS) < set(known):
        known = [word for word in known if word not in LIMITS]
        return f"one of {', '.join(known)} or a limit such as limit_ohm"
    return "one of " + ", ".join(known)
