"""The tables of a site file as they are written: names, bounds, defaults and what is right.

A field's bounds, default, examples and description are also what an error about it offers, so
that each is written once.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping
from enum import StrEnum
from functools import lru_cache
from typing import Annotated, Any, Literal, get_args

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    PlainValidator,
    StringConstraints,
)
from pydantic.fields import FieldInfo
from pydantic_core import PydanticCustomError, PydanticKnownError

from bondtrail.quantities import (
    CAPACITANCE,
    CHARGE_DENSITY,
    CHARGE_PER_MASS,
    CONDUCTIVITY,
    ENERGY,
    LENGTH,
)
from bondtrail.roster import WEEKDAYS, Weekday

LONGEST_S = 1e9
"""Over 31 years; keeps every sum of a moment and a limit inside 64-bit nanoseconds."""


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


class Table(BaseModel):
    """A table of the file: no unknown key, no text where a number belongs, never changed."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, strict=True)


@lru_cache(maxsize=32)
def keys_of(model: type[BaseModel]) -> Mapping[str, FieldInfo]:
    """Return the keys of a table as the file writes them, with what is known of each."""
    return {field.alias or name: field for name, field in model.model_fields.items()}


ID_PATTERN = r"^[A-Za-z0-9][A-Za-z0-9_-]{0,62}$"
NAME = "1 to 60 printable characters in quotes, without blanks at the ends"
TEXT = "text in quotes, of 1 to 200 characters on one line"
RATE = 'a rate of flow with its unit in quotes, such as "800 L/min" or "2 t/h"'
MOST_RATE = 1e9
"""In L/min or kg/min."""

Seconds = Annotated[float, Field(ge=0, le=LONGEST_S)]
Id = Annotated[
    str,
    StringConstraints(pattern=ID_PATTERN),
    Field(description="1 to 63 letters, digits, - or _ in quotes, such as rail-1"),
]
"""Ids are part of file names, topics and URLs: no dot, slash or blank."""

Text = Annotated[
    str,
    StringConstraints(pattern=r"^[^\p{Cc}\p{Zl}\p{Zp}]+$", min_length=1, max_length=200),
    Field(description=TEXT),
]
Name = Annotated[
    str,
    StringConstraints(
        pattern=r"^[^\p{C}\p{Z}]([^\p{C}\p{Zl}\p{Zp}]*[^\p{C}\p{Z}])?$",
        min_length=1,
        max_length=60,
    ),
    Field(description=NAME),
]
"""What rows are grouped by: two names that differ by a blank would be two groups."""

LONGEST_ALIAS = 256
Alias = Annotated[
    str,
    StringConstraints(
        pattern=r"^[^\p{Cc}\p{Z}]([^\p{Cc}\p{Zl}\p{Zp}]*[^\p{Cc}\p{Z}])?$",
        min_length=1,
        max_length=LONGEST_ALIAS,
    ),
]
"""A tag, column, ``topic#field`` or metric: adapters cut blanks off, so it has none at its ends."""


Group = Annotated[
    str, StringConstraints(pattern=r"^[^/+#\p{Cc}\p{Zl}\p{Zp}]+$", min_length=1, max_length=200)
]
"""A group of edge nodes, as it stands in topics."""


class Limits(Table):
    """The limits that the rules judge by; docs/rules.md says how each is read."""

    limit_ohm: float = Field(default=10.0, gt=0, le=1e12)
    open_ohm: float = Field(default=100_000.0, gt=0, le=1e15)
    hold_s: Seconds = 1.0
    stale_after_s: float = Field(default=5.0, ge=0.001, le=LONGEST_S)
    flow_min: float = Field(default=5.0, gt=0, le=1e12)
    transfer_min_s: Seconds = 10.0
    resume_within_s: Seconds = 600.0
    start_allowance_s: Seconds = 2.0
    stop_allowance_s: Seconds = 5.0
    nodata_allowance_s: Seconds = 10.0
    trip_window_s: Seconds = 10.0
    brief_s: Seconds = 2.0
    marginal_factor: float = Field(default=1.5, ge=1, le=1e6)
    hookup_min_s: Seconds = 3.0
    detach_s: Seconds = 3.0
    mismatch_s: Seconds = 3.0
    isolated_s: Seconds = 60.0
    release_wait_s: Seconds = 0.0
    bypass_allowance_s: Seconds = 1.0
    cluster_count: int = Field(default=3, ge=2, le=1_000_000)
    cluster_s: float = Field(default=60.0, gt=0, le=LONGEST_S)


class Product(Table):
    """Electrostatic properties of a product, for the hazard estimate."""

    phase: Literal["liquid", "powder"] = Field(examples=["liquid", "powder"])
    substance: Text | None = Field(default=None, description=TEXT)
    """What it is called in the table of substances; its own name where this is left out."""
    conductivity_pS_m: float | None = Field(default=None, gt=0, le=1e21, examples=[1.0])
    relative_permittivity: float | None = Field(default=None, ge=1, le=1e6, examples=[2.4])
    mie_mJ: float | None = Field(default=None, gt=0, le=1e9, examples=[0.24])
    charge_uC_kg: float | None = Field(default=None, gt=0, le=1e6, examples=[1.0])
    """What a powder carries away from the operation at hand; that of the operation else."""
    source: Text | None = Field(default=None, description=TEXT)


class ProductTable(Product):
    """A ``[product.NAME]`` as it is written: a quantity may also be text with its unit."""

    conductivity: str | None = Field(default=None, description=CONDUCTIVITY.right)
    mie: str | None = Field(default=None, description=ENERGY.right)
    charge: str | None = Field(default=None, description=CHARGE_PER_MASS.right)


class HazardRules(Table):
    """What the hazard estimate assumes where published forms differ and nothing is recorded."""

    streaming_form: Literal["spread", "schon", "iec_60079_32_1", "crowl_louvar", "nfpa_77"] = Field(
        default="spread",
        examples=["spread", "schon", "iec_60079_32_1", "crowl_louvar", "nfpa_77"],
    )
    """The form of the streaming current; ``spread`` takes the least and the greatest of all."""
    leakage_typical_ohm: float = Field(default=1e9, gt=0, le=1e18)
    """How a vessel leaks whose bond is open."""
    leakage_high_ohm: float | None = Field(default=None, gt=0, le=1e18, examples=[1e12])
    """The same, at its worst; None is no leak at all."""


class RetentionRules(Table):
    """How long readings are kept; docs/retention.md says what stays whatever its age."""

    readings_days: int | None = Field(default=None, ge=1, le=36_500, examples=[1_100])
    """Readings older than so many days are removed; None is never."""


Operation = Literal[
    "sieving",
    "pouring",
    "scroll_feed",
    "grinding",
    "micronising",
    "pneumatic_conveying",
    "sliding",
]
"""What is done to a powder on its way into the vessel."""


class AlarmRules(Table):
    """How alarms are counted, where the editions of the standards and common practice differ."""

    flood_begins: Literal["above_10", "10_or_more"] = Field(
        default="above_10", examples=["above_10", "10_or_more"]
    )
    """How many alarms in 10 minutes make a flood."""
    flood_ends_below: int = Field(default=5, ge=1, le=10)
    flood_windows: Literal["fixed", "sliding"] = Field(
        default="fixed", examples=["fixed", "sliding"]
    )
    """Whether 10-minute periods follow each other from the start, or end at each alarm."""
    chattering_count: int = Field(default=3, ge=2, le=1_000)
    chattering_s: float = Field(default=60.0, gt=0, le=LONGEST_S)
    fleeting_s: float = Field(default=10.0, gt=0, le=LONGEST_S)
    """An alarm that clears within this is fleeting."""
    stale_h: float = Field(default=24.0, gt=0, le=LONGEST_S / 3600)
    """An alarm active for longer than this is stale."""


MINUTES_A_DAY = 24 * 60
_CLOCK = re.compile(r"([01][0-9]|2[0-3]):([0-5][0-9])\Z")


def _minutes(value: Any) -> int:
    """Return a clock time as minutes after midnight; TOML's own times are taken as well."""
    if isinstance(value, dt.time) and value == value.replace(second=0, microsecond=0):
        return value.hour * 60 + value.minute
    if not isinstance(value, str | dt.time):
        raise PydanticKnownError("string_type")
    if value == "24:00":
        return MINUTES_A_DAY
    read = _CLOCK.match(value) if isinstance(value, str) else None
    if read is None:
        raise PydanticCustomError("clock", "no time of day")
    return int(read[1]) * 60 + int(read[2])


def _begin(minutes: int) -> int:
    if minutes == MINUTES_A_DAY:
        raise PydanticCustomError("clock", "an end, no beginning")
    return minutes


def _without_repeats(words: list[str]) -> list[str]:
    if len(set(words)) < len(words):
        raise PydanticCustomError("repeated", "a word twice")
    return words


Clock = Annotated[int, PlainValidator(_minutes)]
"""``HH:MM`` on the site's clock, as minutes after midnight; ``24:00`` is the day's end."""


class ShiftTable(Table):
    """A ``[[shift]]``; one that ends at or before its beginning ends on the next day."""

    name: Name
    begin: Annotated[Clock, AfterValidator(_begin)] = Field(
        alias="from", description='a time in quotes from "00:00" to "23:59", such as "06:00"'
    )
    end: Clock = Field(
        alias="to", description='a time in quotes from "00:00" to "24:00", such as "14:00"'
    )
    days: Annotated[list[Weekday], AfterValidator(_without_repeats)] = Field(
        default=list(WEEKDAYS),
        min_length=1,
        max_length=7,
        description=f"a list of days, each once, of {', '.join(WEEKDAYS)}",
    )


class SparkplugRules(Table):
    """What is listened to of the edge nodes of a broker."""

    groups: Annotated[list[Group], AfterValidator(_without_repeats)] | None = Field(
        default=None,
        max_length=100,
        description=(
            "a list of at most 100 groups of edge nodes, each once and named without / + #, "
            'such as ["plant"]'
        ),
    )
    """The groups that are the site's own; None is all that are there."""


class ReportPlan(Table):
    """A report that is written by the calendar: the week or month that is over, to a folder."""

    every: Literal["weekly", "monthly"] = Field(examples=["weekly", "monthly"])
    folder: Text = Field(description='a path of a folder in quotes, such as "reports"')
    format: Literal["html", "xlsx", "csv", "json"] = Field(
        default="html", examples=["html", "xlsx", "csv", "json"]
    )
    by: Literal["day", "week", "month"] | None = Field(
        default=None, examples=["day", "week", "month"]
    )


class Header(Table):
    """The ``[site]`` table."""

    id: Id
    name: Text
    timezone: Text = Field(description="an IANA zone in quotes, such as Europe/Lisbon")
    clock_error_s: float = Field(default=0.0, ge=0, le=86_400.0, examples=[0.5])
    """How far the clocks of two devices may differ."""


class PointTable(Table):
    """One signal of a station."""

    alias: list[Alias] = Field(
        default=[],
        max_length=100,
        description='a list of at most 100 names without blanks at their ends, such as ["FT-101"]',
    )
    unit: str | None = Field(default=None, description='a unit in quotes, such as "ohm" or "L/min"')
    stale_after_s: float | None = Field(default=None, ge=0.001, le=LONGEST_S, examples=[7200])
    interval_s: float | None = Field(default=None, gt=0, le=LONGEST_S, examples=[1.0])
    """How often the signal is looked at, which on-change readings do not show."""


class StationTable(Table):
    """A ``[[station]]`` without its points and its overrides of limits."""

    id: Id
    name: Text
    kind: StationKind = Field(strict=False, examples=[kind.value for kind in StationKind])
    unit: Text | None = Field(default=None, description=TEXT)
    channel: int | None = Field(default=None, ge=0, le=1_000_000, examples=[1])
    area: Name | None = Field(default=None, description=NAME)
    position: Name | None = Field(default=None, description=NAME)
    product: Text | None = Field(
        default=None, description="the name of a [product.NAME] table, in quotes"
    )
    pipe_diameter_m: float | None = Field(default=None, gt=0, le=10, examples=[0.1])
    pipe_length_m: float | None = Field(default=None, gt=0, le=1e6, examples=[6.0])
    filter_charge_uC_m3: float | None = Field(default=None, ge=0, le=1e6, examples=[100.0])
    capacitance_pF: float | None = Field(default=None, gt=0, le=1e12, examples=[1000.0])
    operation: Operation | None = Field(default=None, examples=list(get_args(Operation)))
    rated_flow: str | None = Field(default=None, description=RATE)
    pipe_diameter: str | None = Field(default=None, description=LENGTH.right)
    pipe_length: str | None = Field(default=None, description=LENGTH.right)
    filter_charge: str | None = Field(default=None, description=CHARGE_DENSITY.right)
    capacitance: str | None = Field(default=None, description=CAPACITANCE.right)
