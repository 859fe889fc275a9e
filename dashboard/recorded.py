"""Figures that a station's points cannot give: told as not recorded, so that none looks good."""

from __future__ import annotations

from bondtrail.site import Role, Station
from dashboard.figures.wording import duration

NOT_RECORDED = "not recorded"


def in_flow(seconds: float, station: Station) -> str:
    """Return an exposure in flow [s] as text; one that an earlier site file could tell stays."""
    return duration(seconds) if seconds or station.tells_flow else NOT_RECORDED


def bypassed(seconds: float, station: Station) -> str:
    """Return the bypassed time in flow [s] as text; likewise."""
    seen = Role.BYPASS in station.points and station.tells_flow
    return duration(seconds) if seconds or seen else NOT_RECORDED


def among(count: int, of: int, noted: bool) -> str:
    """Return how many of how many, unless none is noted because none can be."""
    return f"{count:,} of {of:,}" if of or noted else NOT_RECORDED
