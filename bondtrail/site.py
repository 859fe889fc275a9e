"""The site file: what is bonded where, by which limits, and what its signals are called."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cached_property
from pathlib import Path
from typing import Literal
from zoneinfo import ZoneInfo

from pydantic import BaseModel, ConfigDict

from bondtrail.roster import Shift
from bondtrail.site_calendar import shift_of
from bondtrail.site_checks import SiteParts, StationParts, sound_parts
from bondtrail.site_problems import Problem, Problems, SiteError
from bondtrail.site_quantities import OF_STATION, rate
from bondtrail.site_tables import (
    AlarmRules,
    HazardRules,
    Header,
    Limits,
    Operation,
    PointTable,
    Product,
    ReportPlan,
    RetentionRules,
    Role,
    SparkplugRules,
    StationKind,
    StationTable,
)
from bondtrail.site_text import read_text, read_toml
from bondtrail.site_units import Phase, flow_scale, scale_of

__all__ = [
    "AlarmRules",
    "HazardRules",
    "Limits",
    "Operation",
    "Point",
    "Problem",
    "Product",
    "ReportPlan",
    "RetentionRules",
    "Role",
    "Shift",
    "Site",
    "SiteError",
    "SparkplugRules",
    "Station",
    "StationKind",
    "load_site",
    "parse_site",
    "same_judgement",
]


class _Resolved(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class Point(_Resolved):
    """One recorded signal: ``<station>.<role>`` inside, its aliases outside.

    A reading times ``scale`` is in the unit that Bondtrail keeps: ohm, L/min or kg/min.
    """

    station: str
    role: Role
    aliases: tuple[str, ...] = ()
    scale: float = 1.0
    stale_after_s: float
    interval_s: float | None = None
    """How often the signal is looked at; None where only its readings tell."""

    @property
    def name(self) -> str:
        """The point's own name, such as ``rail-1.flow``."""
        return f"{self.station}.{self.role}"


class Station(_Resolved):
    """A place where something is bonded, with the limits that hold there."""

    id: str
    name: str
    kind: StationKind
    unit: str | None = None
    channel: int | None = None
    area: str | None = None
    """The group of stations it belongs to."""
    position: str | None = None
    """The operator position that its alarms call."""
    product: str | None = None
    pipe_diameter_m: float | None = None
    pipe_length_m: float | None = None
    """From where the liquid is charged, the filter say, to the vessel."""
    filter_charge_uC_m3: float | None = None
    """What a cubic metre of liquid carries as it leaves the filter; None where there is none."""
    capacitance_pF: float | None = None
    """Of the vessel when isolated; None where its kind alone tells."""
    operation: Operation | None = None
    """What is done to a powder on its way into the vessel."""
    rated_flow: float | None = None
    """What flows while it runs, where flow is not measured. [L/min or kg/min, by rated_unit]"""
    rated_unit: Literal["L", "kg"] | None = None
    """What its rated flow adds up to; None where there is none."""
    limits: Limits = Limits()
    points: Mapping[Role, Point] = {}
    volume_unit: Literal["L", "kg"] | None = None
    """What its flow adds up to; None where flow is not measured."""

    @property
    def is_fixed(self) -> bool:
        """Whether it is plant that must stay bonded all the time."""
        return self.kind is StationKind.FIXED_ITEM

    @property
    def tells_flow(self) -> bool:
        """Whether its transfers can be seen: by flow, or by what makes it run."""
        return Role.FLOW in self.points or Role.RUNNING in self.points

    @property
    def bond_role(self) -> Role | None:
        """The point that tells the bond state: resistance, else status, else permissive."""
        told = (Role.RESISTANCE, Role.STATUS, Role.PERMISSIVE)
        return next((role for role in told if role in self.points), None)


class Site(_Resolved):
    """A whole site file, checked and with every unit, zone and override resolved."""

    id: str
    name: str
    timezone: str
    clock_error_s: float = 0.0
    """How far the clocks of two devices may differ; no finding looks at it."""
    stations: tuple[Station, ...]
    products: Mapping[str, Product]
    shifts: tuple[Shift, ...] = ()
    alarms: AlarmRules = AlarmRules()
    hazard: HazardRules = HazardRules()
    retention: RetentionRules = RetentionRules()
    sparkplug: SparkplugRules = SparkplugRules()
    reports: tuple[ReportPlan, ...] = ()
    text: str
    """The file as written: what the store keeps."""

    @property
    def zone(self) -> ZoneInfo:
        """The site's own clock."""
        return ZoneInfo(self.timezone)

    def station(self, station_id: str) -> Station:
        """Return a station by its id.

        Raises
        ------
        KeyError
            If there is none of that id.
        """
        return self._by_id[station_id]

    def points(self) -> Iterator[Point]:
        """Yield every point of every station, in the file's order."""
        for station in self.stations:
            yield from station.points.values()

    def point(self, tag: str) -> Point | None:
        """Return the point that an alias or a point's own name stands for, or None."""
        return self._by_tag.get(tag)

    @cached_property
    def _by_id(self) -> dict[str, Station]:
        return {station.id: station for station in self.stations}

    @cached_property
    def _by_tag(self) -> dict[str, Point]:
        return {tag: point for point in self.points() for tag in (point.name, *point.aliases)}


def same_judgement(a: Station, b: Station) -> bool:
    """Return whether the rules say the same of both, given the same samples.

    Names, aliases and units do not matter to them: a unit is converted on the way in. Nor do area
    and position, which only group what was found.
    """
    return _judged_by(a) == _judged_by(b)


def _judged_by(station: Station) -> tuple[object, ...]:
    stale = {role: point.stale_after_s for role, point in station.points.items()}
    return station.id, station.is_fixed, station.product, station.volume_unit, station.limits, stale


def load_site(path: Path) -> Site:
    """Read and check a site file.

    Raises
    ------
    SiteError
        With every problem of the file at once.
    """
    return parse_site(read_text(path), str(path))


def parse_site(text: str, source: str = "site file") -> Site:
    """Check the text of a site file; ``source`` names it in errors.

    Raises
    ------
    SiteError
        With every problem of the file at once.
    """
    text = text.removeprefix("\ufeff")
    problems = Problems()
    parts = sound_parts(read_toml(text, source), problems)
    if problems.listed():
        raise SiteError(source, problems.listed())
    return _resolved(parts, text)


def _resolved(parts: SiteParts, text: str) -> Site:
    header = Header.model_validate(parts.header)
    products = {name: Product.model_validate(raw) for name, raw in parts.products.items()}
    return Site(
        id=header.id,
        name=header.name,
        timezone=header.timezone,
        clock_error_s=header.clock_error_s,
        stations=tuple(_station(station, parts.limits, products) for station in parts.stations),
        products=products,
        shifts=tuple(map(shift_of, parts.shifts)),
        alarms=AlarmRules.model_validate(parts.alarms),
        hazard=HazardRules.model_validate(parts.hazard),
        retention=RetentionRules.model_validate(parts.retention),
        sparkplug=SparkplugRules.model_validate(parts.sparkplug),
        reports=tuple(map(ReportPlan.model_validate, parts.reports)),
        text=text,
    )


def _station(
    parts: StationParts, site_limits: Mapping[str, object], products: Mapping[str, Product]
) -> Station:
    own = StationTable.model_validate(parts.own)
    limits = Limits.model_validate({**site_limits, **parts.overrides})
    phase = products[own.product].phase if own.product else None
    rated = rate(own.rated_flow, phase) if own.rated_flow is not None else None
    tables = {role: PointTable.model_validate(raw) for role, raw in parts.points.items()}
    points = {role: _point(own.id, role, table, limits, phase) for role, table in tables.items()}
    flow = tables.get(Role.FLOW)
    return Station(
        **own.model_dump(exclude={"rated_flow", *OF_STATION}),
        rated_flow=rated[0] if rated else None,
        rated_unit=rated[1] if rated else None,
        limits=limits,
        points=points,
        volume_unit=flow_scale(flow.unit, phase)[1] if flow else None,
    )


def _point(
    station: str, role: Role, table: PointTable, limits: Limits, phase: Phase | None
) -> Point:
    return Point(
        station=station,
        role=role,
        aliases=tuple(dict.fromkeys(table.alias)),
        scale=scale_of(role, table.unit, phase),
        stale_after_s=table.stale_after_s or limits.stale_after_s,
        interval_s=table.interval_s,
    )
