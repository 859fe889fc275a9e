"""From the text of a site file to tables that fit together, with every problem noted.

Each table is checked by itself, and then what its sound parts say about each other, so that one
mistake does not hide the next.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Set
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any
from zoneinfo import available_timezones

from bondtrail.site_aliases import resolve_aliases
from bondtrail.site_calendar import check_reports, check_shifts
from bondtrail.site_items import (
    LIMITS,
    ROLES,
    Raw,
    check,
    check_single,
    listed,
    note_unknown,
    single,
)
from bondtrail.site_problems import Problems, meant, one_of, shown, shown_key
from bondtrail.site_quantities import OF_PRODUCT, OF_STATION, numbers, rate
from bondtrail.site_tables import (
    ID_PATTERN,
    AlarmRules,
    HazardRules,
    Header,
    Limits,
    PointTable,
    ProductTable,
    RetentionRules,
    Role,
    SparkplugRules,
    StationTable,
    keys_of,
)
from bondtrail.site_units import Phase, UnitError, flow_scale, scale_of

SCHEMA = 1
TABLES = (
    *("schema", "site", "limits", "alarms", "hazard", "retention", "sparkplug"),
    *("shift", "report", "product", "station"),
)
STATION_KEYS = (*keys_of(StationTable), "points", *LIMITS)


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
    alarms: Raw
    hazard: Raw
    retention: Raw
    sparkplug: Raw
    shifts: list[Raw]
    reports: list[Raw]
    products: dict[str, Raw]
    stations: list[StationParts]


def sound_parts(raw: Raw, problems: Problems) -> SiteParts:
    """Return the sound parts of a file's tables; what is wrong with the rest is noted."""
    _check_schema(raw, problems)
    note_unknown(raw, TABLES, "", "", problems)
    header = check_single(Header, raw, "site", problems, required=True)
    _check_zone(header, problems)
    limits = check_single(Limits, raw, "limits", problems)
    written = raw.get("limits")
    faulty = written.keys() - limits.keys() if isinstance(written, dict) else set()
    _check_order(limits, {}, faulty, "[limits]", problems)
    alarms = check_single(AlarmRules, raw, "alarms", problems)
    hazard = check_single(HazardRules, raw, "hazard", problems)
    _check_leakage(raw.get("hazard"), hazard, problems)
    retention = check_single(RetentionRules, raw, "retention", problems)
    sparkplug = check_single(SparkplugRules, raw, "sparkplug", problems)
    shifts = check_shifts(raw, problems)
    reports = check_reports(raw, problems)
    products = _check_products(raw, problems)
    stations = [
        _check_station(number, table, limits, faulty, products, problems)
        for number, table in enumerate(_listed_stations(raw, problems), 1)
    ]
    _check_ids(stations, problems)
    _check_channels(stations, problems)
    _check_aliases(stations, problems)
    return SiteParts(
        header=header,
        limits=limits,
        alarms=alarms,
        hazard=hazard,
        retention=retention,
        sparkplug=sparkplug,
        shifts=shifts,
        reports=reports,
        products=products,
        stations=stations,
    )


def _check_schema(raw: Raw, problems: Problems) -> None:
    schema = raw.get("schema")
    if schema is None:
        problems.add("", "schema", "missing", "schema = 1 on the first line")
    elif schema != SCHEMA or not isinstance(schema, int) or isinstance(schema, bool):
        problems.add("", "schema", f"{shown(schema)} is not known to this version", "1")


def _listed_stations(raw: Raw, problems: Problems) -> list[Any]:
    stations = listed(raw, "station", problems)
    if not stations and isinstance(raw.get("station", []), list):
        problems.add("[[station]]", "", "there is no station", "at least one [[station]]")
    return stations


def _check_zone(header: Raw, problems: Problems) -> None:
    key = header.get("timezone")
    if key is None or key in _zones():
        return
    close = meant(key, _zones())
    right = f"an IANA zone, such as {close or 'Europe/Lisbon'}"
    problems.add("[site]", "timezone", f"{shown(key)} is no known zone", right)


@lru_cache(maxsize=1)
def _zones() -> frozenset[str]:
    """Return the zones by key: looked up in a list, so that no text becomes a path."""
    return frozenset(available_timezones() - {"localtime", "Factory"})


def _check_order(
    base: Raw, overrides: Raw, faulty: Collection[str], table: str, problems: Problems
) -> None:
    """Note an open circuit that begins at or below the limit, unless one of the two is faulty.

    A default in its place would be compared with what nobody wrote.
    """
    if {"limit_ohm", "open_ohm"} & set(faulty):
        return
    limits = Limits.model_validate({**base, **overrides})
    if limits.open_ohm <= limits.limit_ohm:
        key = "open_ohm" if "open_ohm" in (overrides or base) else "limit_ohm"
        wrong = f"open_ohm {limits.open_ohm} is not above limit_ohm {limits.limit_ohm}"
        problems.add(table, key, wrong, "open_ohm well above limit_ohm, e.g. 100000.0 and 10.0")


def _check_leakage(written: Any, sound: Raw, problems: Problems) -> None:
    """Note a worst leakage below the typical one, unless one of the two is faulty."""
    if not isinstance(written, dict) or written.keys() - sound.keys():
        return
    rules = HazardRules.model_validate(sound)
    typical, high = rules.leakage_typical_ohm, rules.leakage_high_ohm
    if high is not None and high < typical:
        wrong = f"leakage_high_ohm {high} is below leakage_typical_ohm {typical}"
        problems.add("[hazard]", "leakage_high_ohm", wrong, "at least as much, or left out")


def _check_products(raw: Raw, problems: Problems) -> dict[str, Raw]:
    products = {}
    for name, table in (single(raw, "product", problems) or {}).items():
        title = f"[product.{shown_key(name)}]"
        if not isinstance(table, dict):
            wrong = f"{shown(table)} is no table"
            problems.add("[product]", shown_key(name), wrong, "it in a table [product.NAME]")
            continue
        if not name or shown_key(name) != name:
            problems.add(title, "", "this name does not fit", "1 to 60 printable characters")
        note_unknown(table, keys_of(ProductTable), title, "", problems)
        sound = check(ProductTable, table, title, problems)
        products[name] = numbers(OF_PRODUCT, table, sound, ProductTable, title, problems)
        _check_charge(products[name], table, title, problems)
    return products


def _check_charge(product: Raw, written: Raw, title: str, problems: Problems) -> None:
    if product.get("phase") == "liquid" and "charge_uC_kg" in product:
        key = "charge_uC_kg" if "charge_uC_kg" in written else "charge"
        wrong = "a liquid is charged by its streaming, not by the kilogram"
        problems.add(title, key, wrong, 'this key left out, or phase = "powder"')


def _check_station(
    number: int,
    raw: Any,
    limits: Raw,
    faulty: Set[str],
    products: Mapping[str, Raw],
    problems: Problems,
) -> StationParts:
    title = f"[[station]] number {number}"
    if not isinstance(raw, dict):
        problems.add(title, "", f"{shown(raw)} is no table", "a [[station]] table")
        return StationParts(title, {}, {})
    name = raw.get("id")
    if isinstance(name, str) and re.fullmatch(ID_PATTERN, name):
        title = f"[[station]] {name}"
    note_unknown(raw, STATION_KEYS, title, "", problems)
    sound = check(StationTable, raw, title, problems)
    own = numbers(OF_STATION, raw, sound, StationTable, title, problems)
    overrides = check(Limits, raw, title, problems)
    if {"limit_ohm", "open_ohm"} & overrides.keys():
        faulty = (faulty | raw.keys()) - overrides.keys()
        _check_order(limits, overrides, faulty, title, problems)
    phase = _phase(own.get("product"), products, title, problems)
    points = _check_points(raw.get("points", {}), title, phase, problems)
    resolve_aliases(raw, own, points, title, problems)
    _check_rated_flow(own, phase, points.get(Role.FLOW), title, problems)
    return StationParts(title, own, overrides, points)


def _phase(
    product: str | None, products: Mapping[str, Raw], title: str, problems: Problems
) -> Phase | None:
    """Return the phase of a station's product, noting a product that the file does not have."""
    if product is None:
        return None
    if product not in products:
        close = meant(product, products)
        right = f"did you mean {close}?" if close else "such a table, or no product"
        problems.add(title, "product", f"there is no [product.{shown_key(product)}]", right)
        return None
    phase: Phase | None = products[product].get("phase")
    return phase


def _check_rated_flow(
    own: Raw, phase: Phase | None, flow: Raw | None, title: str, problems: Problems
) -> None:
    """Note a rated flow that is none, or is measured by another kind of rate than the flow is."""
    if "rated_flow" not in own:
        return
    try:
        measured = None if flow is None else flow_scale(flow.get("unit"), phase)[1]
    except UnitError:
        measured = None  # noted with the point
    try:
        rated = rate(own["rated_flow"], phase)[1]
    except UnitError as exc:
        problems.add(title, "rated_flow", exc.wrong, exc.right)
        return
    if measured and rated != measured:
        kinds = {"L": "volume", "kg": "mass"}
        wrong = f"{shown(own['rated_flow'])} is a rate of {kinds[rated]}, but the flow point is not"
        problems.add(title, "rated_flow", wrong, f"a rate of {kinds[measured]}")


def _check_points(raw: Any, title: str, phase: Phase | None, problems: Problems) -> dict[Role, Raw]:
    if not isinstance(raw, dict):
        problems.add(title, "points", f"{shown(raw)} is no table", "a table [station.points]")
        return {}
    points = {}
    for word, table in raw.items():
        key = f"points.{shown_key(word)}"
        if word not in ROLES:
            problems.add(title, key, "unknown role", _right_role(word, problems))
        elif not isinstance(table, dict):
            problems.add(title, key, f"{shown(table)} is no table", '{ alias = ["..."] }')
        else:
            role = Role(word)
            note_unknown(table, keys_of(PointTable), title, f"{key}.", problems)
            points[role] = check(PointTable, table, title, problems, f"{key}.")
            _check_unit(role, points[role], phase, title, problems)
    return points


def _right_role(word: str, problems: Problems) -> str:
    return "" if problems.is_full else one_of(word, ROLES)


def _check_unit(
    role: Role, point: Raw, phase: Phase | None, title: str, problems: Problems
) -> None:
    try:
        scale_of(role, point.get("unit"), phase)
    except UnitError as exc:
        problems.add(title, f"points.{role}.unit", exc.wrong, exc.right)


def _check_ids(stations: list[StationParts], problems: Problems) -> None:
    first: dict[str, int] = {}
    for number, station in enumerate(stations, 1):
        name = station.own.get("id")
        if name is not None and first.setdefault(name, number) != number:
            wrong = f"station number {number} has the id of station number {first[name]}"
            problems.add(station.title, "id", wrong, "an id of its own")


def _check_channels(stations: list[StationParts], problems: Problems) -> None:
    first: dict[tuple[str, int], StationParts] = {}
    for station in stations:
        unit, channel = station.own.get("unit"), station.own.get("channel")
        if unit is None or channel is None:
            continue
        watched = first.setdefault((unit, channel), station)
        if watched is not station:
            wrong = f"channel {channel} of unit {unit} already watches {watched.title}"
            problems.add(station.title, "channel", wrong, "a channel of its own")


def _check_aliases(stations: list[StationParts], problems: Problems) -> None:
    """Note every alias that is also the name or the alias of another point."""
    points = [
        (station, role, f"{station.own.get('id', station.title)}.{role}", table)
        for station in stations
        for role, table in station.points.items()
    ]
    owners = {name: (station.title, role) for station, role, name, _ in points}
    for station, role, _, table in points:
        for alias in table.get("alias", []):
            owner, owned = owners.setdefault(alias, (station.title, role))
            if (owner, owned) != (station.title, role):
                wrong = f"{shown(alias)} already belongs to {owned} of {owner}"
                problems.add(station.title, f"points.{role}.alias", wrong, "it at one point only")
