"""The capacitance of a vessel to earth, by its kind."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from analytics.core.electrostatics.spread import Spread
from bondtrail.site import StationKind

_TABLES = "tables of IEC TS 60079-32-1 and of Crowl and Louvar, from memory"
_OURS = "our assumption: no published value is recalled with confidence"

CAPACITANCES: Mapping[StationKind, Spread] = MappingProxyType(
    {
        StationKind.DRUM: Spread(
            10, 100, 300, "pF", f"10 to 100 for 50 L, 50 to 300 for 200 to 500 L; {_TABLES}"
        ),
        StationKind.ROAD_TANKER: Spread(
            1000, 2000, 5000, "pF", f"1000 to 5000; {_TABLES}; typical is our choice"
        ),
        StationKind.RAIL_TANK_CAR: Spread(1000, 2500, 5000, "pF", f"{_OURS}; as a road tanker"),
        StationKind.IBC: Spread(50, 200, 500, "pF", f"{_OURS}; as a medium container or larger"),
        StationKind.MOBILE_VESSEL: Spread(
            50, 200, 1000, "pF", f"{_OURS}; from a medium container to a large item of plant"
        ),
        StationKind.FLEXIBLE_BULK_BAG: Spread(
            50, 150, 500, "pF", f"{_OURS}; a conductive bag, as a medium container or larger"
        ),
        StationKind.FIXED_ITEM: Spread(
            100, 300, 1000, "pF", f"a large item of plant, 100 to 1000; {_TABLES}; typical is ours"
        ),
    }
)
"""Of the vessel while nothing earths it, by kind. [pF]"""
