"""From the text of a site file to tables that fit together, with every problem noted.

Each table is checked by itself, and then what its sound parts say about each other, so that one
mistake does not hide the next.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any
from zoneinfo import available_timezones

from pydantic import BaseModel, ValidationError

from bondtrail.site_problems import Problem, Problems, SiteError, meant, note_invalid, one_of, shown
from bondtrail.site_tables import Header, Limits, PointTable, Product, Role, StationTable
from bondtrail.site_units import UnitError, scale_of

SCHEMA = 1
MOST_BYTES = 4 * 2**20
MOST_LINE = 16 * 2**10
"""tomllib takes time that grows with the square of a dotted key's length."""

_PLACE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)\Z")
_TABLES = ("schema", "site", "limits", "product", "station")
_ROLES = tuple(role.value for role in Role)
_LIMITS = tuple(Limits.model_fields)
_STATION_KEYS = (*StationTable.model_fields, "points", *_LIMITS)

Raw = dict[str, Any]


@dataclass(slots=True)
class StationParts:
    """The sound parts of one ``[[station]]``, still as written."""

    title: str
    own: Raw
    overrides: Raw
    points: dict[Role, Raw] = field(default_factory=dict)


@dataclass(slots=True)
class SiteParts:
    """The sound parts of a site file, still as written; whole if no problem was noted."""

    header: Raw
    limits: Raw
    products: dict[str, Raw]
    stations: list[StationParts]


def read_toml(text: str, source: str) -> Raw:
    """Return the tables of a TOML text.

    Raises
    ------
    SiteError
        If it is not TOML, or larger or deeper than any site file.
    """
    try:
        _refuse_oversize(text)
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as exc:
        raise SiteError(source, [_syntax_problem(str(exc))]) from exc
    except RecursionError as exc:
        deep = Problem("", "", "brackets are nested too deep", "a few levels at most")
        raise SiteError(source, [deep]) from exc
    except ValueError as exc:
        raise SiteError(source, [Problem("", "", str(exc), "a site file in TOML")]) from exc


def _refuse_oversize(text: str) -> None:
    if len(text) > MOST_BYTES:
        raise ValueError("larger than 4 MiB")
    for number, line in enumerate(text.split("\n"), 1):
        if len(line) > MOST_LINE:
            raise ValueError(f"line {number} is longer than {MOST_LINE} characters")


def _syntax_problem(message: str) -> Problem:
    place = _PLACE.search(message)
    line = int(place[1]) if place and place[1] else None
    said = _PLACE.sub("", message)
    return Problem("", "", f"not TOML: {said}", "TOML, such as limit_ohm = 10.0", line)


def sound_parts(raw: Raw, problems: Problems) -> SiteParts:
    """Return the sound parts of a file's tables; what is wrong with the rest is noted."""
    _check_schema(raw, problems)
    _note_unknown(raw, _TABLES, "", "", problems)
    header = _check_single(Header, raw, "site", problems, required=True)
    _check_zone(header, problems)
    limits = _check_single(Limits, raw, "limits", problems)
    _check_order(limits, {}, "[limits]", problems)
    products = _check_products(_single(raw, "product", problems), problems)
    stations = [
        _check_station(number, table, limits, products, problems)
        for number, table in enumerate(_listed_stations(raw, problems), 1)
    ]
    _check_ids(stations, problems)
    _check_channels(stations, problems)
    _check_aliases(stations, problems)
    return SiteParts(header, limits, products, stations)


def _check_schema(raw: Raw, problems: Problems) -> None:
    schema = raw.get("schema")
    if schema is None:
        problems.add("", "schema", "missing", "schema = 1 on the first line")
    elif schema != SCHEMA or not isinstance(schema, int) or isinstance(schema, bool):
        problems.add("", "schema", f"{shown(schema)} is not known to this version", "1")


def _single(raw: Raw, name: str, problems: Problems) -> Raw:
    """Return a table that stands once in the file; empty where it is absent or no table."""
    table = raw.get(name)
    if isinstance(table, dict):
        return table
    title = f"[{name}]"
    if table is not None:
        problems.add(title, "", f"{shown(table)} in its place", f"one table {title}")
    return {}


def _listed_stations(raw: Raw, problems: Problems) -> list[Any]:
    stations = raw.get("station")
    if isinstance(stations, list) and stations:
        return stations
    if isinstance(stations, dict):
        problems.add("[station]", "", "single brackets", "[[station]], once for each station")
        return [stations]
    wrong = "no station in the file" if stations in (None, []) else f"{shown(stations)}"
    problems.add("[[station]]", "", wrong, "at least one [[station]] table")
    return []


def _check(
    model: type[BaseModel], raw: Raw, table: str, problems: Problems, prefix: str = ""
) -> Raw:
    """Return the items of ``raw`` that fit the model, noting the ones that do not."""
    known = {key: value for key, value in raw.items() if key in model.model_fields}
    try:
        model.model_validate(known)
    except ValidationError as exc:
        invalid = note_invalid(problems, table, prefix, model, exc)
        return {key: value for key, value in known.items() if key not in invalid}
    return known


def _check_single(
    model: type[BaseModel], raw: Raw, name: str, problems: Problems, *, required: bool = False
) -> Raw:
    table = _single(raw, name, problems)
    if required and name not in raw:
        problems.add(f"[{name}]", "", "missing", "this table once")
        return {}
    _note_unknown(table, model.model_fields, f"[{name}]", "", problems)
    return (
        _check(model, table, f"[{name}]", problems) if isinstance(raw.get(name, {}), dict) else {}
    )


def _note_unknown(
    raw: Mapping[str, Any], known: Iterable[str], table: str, prefix: str, problems: Problems
) -> None:
    words = tuple(known)
    for key in raw:
        if key not in words and not problems.is_full:
            name = key if len(key) <= 60 and key.isprintable() else shown(key)
            problems.add(table, prefix + name, "unknown key", _right_key(key, words))
        elif key not in words:
            problems.add(table, key, "", "")


def _right_key(key: str, words: tuple[str, ...]) -> str:
    if close := meant(key, words):
        return f"did you mean {close}?"
    if key in _LIMITS:
        return "it under [limits] or in a [[station]]"
    if key in _ROLES:
        return "it under [station.points]"
    return "one of " + ", ".join(words)


def _check_zone(header: Raw, problems: Problems) -> None:
    key = header.get("timezone")
    if key is not None and key not in _zones():
        right = (
            f"an IANA zone; did you mean {close}?"
            if (close := meant(key, _zones()))
            else ("an IANA zone such as Europe/Lisbon")
        )
        problems.add("[site]", "timezone", f"{shown(key)} is no known zone", right)


@lru_cache(maxsize=1)
def _zones() -> frozenset[str]:
    """Return the zones by key: looked up in a list, so that no text becomes a path."""
    return frozenset(available_timezones() - {"localtime", "Factory"})


def _check_order(base: Raw, overrides: Raw, table: str, problems: Problems) -> None:
    """Note an open circuit that begins at or below the limit, where this table made it so."""
    if overrides and not {"limit_ohm", "open_ohm"} & overrides.keys():
        return
    limits = Limits.model_validate({**base, **overrides})
    if limits.open_ohm <= limits.limit_ohm:
        key = "open_ohm" if "open_ohm" in {**(overrides or base)} else "limit_ohm"
        wrong = f"open_ohm {limits.open_ohm:g} is not above limit_ohm {limits.limit_ohm:g}"
        problems.add(table, key, wrong, "open_ohm well above limit_ohm, e.g. 100000.0 and 10.0")


def _check_products(raw: Raw, problems: Problems) -> dict[str, Raw]:
    products = {}
    for name, table in raw.items():
        title = f"[product.{name if len(name) <= 60 and name.isprintable() else shown(name)}]"
        if isinstance(table, dict):
            _note_unknown(table, Product.model_fields, title, "", problems)
            products[name] = _check(Product, table, title, problems)
        else:
            problems.add("[product]", name, f"{shown(table)} is no table", "[product.NAME] tables")
    return products


def _check_station(
    number: int, raw: Any, limits: Raw, products: Mapping[str, Raw], problems: Problems
) -> StationParts:
    if not isinstance(raw, dict):
        problems.add(f"[[station]] number {number}", "", shown(raw), "a [[station]] table")
        return StationParts("", {}, {})
    title = _title(number, raw)
    _note_unknown(raw, _STATION_KEYS, title, "", problems)
    own = _check(StationTable, raw, title, problems)
    overrides = _check(Limits, raw, title, problems)
    if overrides:
        _check_order(limits, overrides, title, problems)
    product = own.get("product")
    if product is not None and product not in products:
        right = f"a [product.{product}] table" + (
            f", or one of {', '.join(products)}" if products else ""
        )
        problems.add(title, "product", f"there is no [product.{product}]", right)
    phase = products.get(product, {}).get("phase") if product else None
    points = _check_points(raw.get("points", {}), title, phase, problems)
    return StationParts(title, own, overrides, points)


def _title(number: int, raw: Raw) -> str:
    try:
        StationTable.__pydantic_validator__.validate_assignment(
            StationTable.model_construct(), "id", raw.get("id")
        )
    except ValidationError:
        return f"[[station]] number {number}"
    return f"[[station]] {raw['id']}"


def _check_points(raw: Any, title: str, phase: Any, problems: Problems) -> dict[Role, Raw]:
    if not isinstance(raw, dict):
        problems.add(title, "points", shown(raw), "a table [station.points]")
        return {}
    points = {}
    for word, table in raw.items():
        key = f"points.{word if len(word) <= 60 and word.isprintable() else shown(word)}"
        if word not in _ROLES:
            problems.add(title, key, "unknown role", one_of(word, _ROLES))
        elif not isinstance(table, dict):
            example = f"{{ alias = [{shown(table)}] }}" if isinstance(table, str) else "a table"
            problems.add(title, key, f"{shown(table)} is no table", example)
        else:
            role = Role(word)
            _note_unknown(table, PointTable.model_fields, title, f"{key}.", problems)
            points[role] = _check(PointTable, table, title, problems, f"{key}.")
            _check_unit(role, points[role], phase, title, problems)
    return points


def _check_unit(role: Role, point: Raw, phase: Any, title: str, problems: Problems) -> None:
    try:
        scale_of(role, point.get("unit"), phase)
    except UnitError as exc:
        problems.add(title, f"points.{role}.unit", exc.wrong, exc.right)


def _check_ids(stations: list[StationParts], problems: Problems) -> None:
    first: dict[str, int] = {}
    for number, station in enumerate(stations, 1):
        name = station.own.get("id")
        if name is None:
            continue
        if name in first:
            wrong = f"{name} is the id of station number {first[name]} and of number {number}"
            problems.add(station.title, "id", wrong, "an id of its own")
        first.setdefault(name, number)


def _check_channels(stations: list[StationParts], problems: Problems) -> None:
    first: dict[tuple[str, int], str] = {}
    for station in stations:
        unit, channel = station.own.get("unit"), station.own.get("channel")
        if unit is None or channel is None:
            continue
        watched = first.setdefault((unit, channel), station.title)
        if watched is not station.title:
            wrong = f"unit {unit} channel {channel} already watches {watched}"
            problems.add(station.title, "channel", wrong, "a channel of its own")


def _check_aliases(stations: list[StationParts], problems: Problems) -> None:
    owners = {
        f"{station.own['id']}.{role}": f"{station.own['id']}.{role}"
        for station in stations
        if "id" in station.own
        for role in station.points
    }
    for station in stations:
        for role, point in station.points.items():
            me = f"{station.own.get('id', station.title)}.{role}"
            for alias in point.get("alias", []):
                owner = owners.setdefault(alias, me)
                if owner != me:
                    wrong = f"{shown(alias)} already belongs to {owner}"
                    problems.add(station.title, f"points.{role}.alias", wrong, "one point only")
