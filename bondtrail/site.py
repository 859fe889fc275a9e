"""The site file: what is bonded where, by which limits, and what its signals are called."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from enum import StrEnum
from functools import cached_property
from pathlib import Path
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo

import pint
from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError

from bondtrail import site_problems as problems
from bondtrail.site_problems import Problem, SiteError

__all__ = ["Limits", "Point", "Problem", "Product", "Role", "Site", "SiteError", "Station"]


class Role(StrEnum):
    """What a point says of its station."""

    RESISTANCE = "resistance"
    STATUS = "status"
    PERMISSIVE = "permissive"
    FLOW = "flow"
    RUNNING = "running"
    BYPASS = "bypass"


class StationKind(StrEnum):
    """What is bonded at a station."""

    RAIL_TANK_CAR = "rail_tank_car"
    ROAD_TANKER = "road_tanker"
    DRUM = "drum"
    IBC = "ibc"
    MOBILE_VESSEL = "mobile_vessel"
    FLEXIBLE_BULK_BAG = "flexible_bulk_bag"
    FIXED_ITEM = "fixed_item"


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


Seconds = Annotated[float, Field(ge=0)]
Id = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9_-]{0,62}$")]
"""Ids are part of file names, topics and URLs: no dot, slash or blank."""


class Limits(_Table):
    """The limits that the rules judge by; the defaults are those of the design."""

    limit_ohm: float = Field(10.0, gt=0)
    open_ohm: float = Field(100_000.0, gt=0)
    hold_s: Seconds = 1.0
    stale_after_s: float = Field(5.0, gt=0)
    flow_min: float = Field(5.0, gt=0)
    transfer_min_s: Seconds = 10.0
    resume_within_s: Seconds = 600.0
    start_allowance_s: Seconds = 2.0
    stop_allowance_s: Seconds = 5.0
    nodata_allowance_s: Seconds = 10.0
    trip_window_s: Seconds = 10.0
    brief_s: Seconds = 2.0
    marginal_factor: float = Field(1.5, ge=1)
    hookup_min_s: Seconds = 3.0
    detach_s: Seconds = 3.0
    mismatch_s: Seconds = 3.0
    isolated_s: Seconds = 60.0
    release_wait_s: Seconds = 0.0
    bypass_allowance_s: Seconds = 1.0
    cluster_count: int = Field(3, ge=2)
    cluster_s: float = Field(60.0, gt=0)


class Product(_Table):
    """Electrostatic properties of a product, for the hazard estimate."""

    phase: Literal["liquid", "powder"]
    conductivity_pS_m: float | None = Field(None, gt=0)
    relative_permittivity: float | None = Field(None, ge=1)
    mie_mJ: float | None = Field(None, gt=0)
    source: str | None = None


class PointTable(_Table):
    """One signal of a station, as the site file writes it."""

    alias: list[Annotated[str, StringConstraints(min_length=1)]] = []
    unit: str | None = None
    stale_after_s: float | None = Field(None, gt=0)


class StationTable(_Table):
    """A ``[[station]]`` without its overrides of limits."""

    id: Id
    name: str
    kind: StationKind
    unit: str | None = None
    channel: int | None = Field(None, ge=0)
    product: str | None = None
    pipe_diameter_m: float | None = Field(None, gt=0)
    capacitance_pF: float | None = Field(None, gt=0)
    points: dict[Role, PointTable] = {}


class Header(_Table):
    """The ``[site]`` table."""

    id: Id
    name: str
    timezone: str


class Point(_Table):
    """One recorded signal: ``<station>.<role>`` inside, its aliases outside.

    A reading times ``scale`` is in the unit that Bondtrail keeps: ohm, L/min or kg/min.
    """

    station: str
    role: Role
    aliases: tuple[str, ...]
    scale: float
    stale_after_s: float

    @property
    def name(self) -> str:
        """The point's own name, such as ``rail-1.flow``."""
        return f"{self.station}.{self.role}"


class Station(_Table):
    """A place where something is bonded, with the limits that hold there."""

    id: str
    name: str
    kind: StationKind
    unit: str | None
    channel: int | None
    product: str | None
    pipe_diameter_m: float | None
    capacitance_pF: float | None
    limits: Limits
    points: Mapping[Role, Point]
    volume_unit: Literal["L", "kg"] | None
    """What its flow adds up to; None where flow is not measured."""

    @property
    def is_fixed(self) -> bool:
        """Whether it is plant that must stay bonded all the time."""
        return self.kind is StationKind.FIXED_ITEM

    @property
    def bond_role(self) -> Role | None:
        """The point that tells the bond state: resistance, else status, else permissive."""
        told = (Role.RESISTANCE, Role.STATUS, Role.PERMISSIVE)
        return next((role for role in told if role in self.points), None)


class Site(_Table):
    """A whole site file, checked and with every unit, zone and override resolved."""

    id: str
    name: str
    timezone: str
    stations: tuple[Station, ...]
    products: Mapping[str, Product]
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


def load_site(path: Path) -> Site:
    """Read and check a site file.

    Raises
    ------
    SiteError
        With every problem of the file at once.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as exc:
        raise SiteError(str(path), [Problem("", "", f"cannot be read: {exc}", "a TOML file")]) from exc
    return parse_site(text, str(path))


def parse_site(text: str, source: str = "site file") -> Site:
    """Check the text of a site file; ``source`` names it in errors.

    Raises
    ------
    SiteError
        With every problem of the file at once.
    """
    raise NotImplementedError
