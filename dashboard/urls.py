"""Every address of the board. Each view is one that can be sent to a colleague."""

from __future__ import annotations

from collections.abc import Collection
from enum import StrEnum
from urllib.parse import quote, urlencode

from dashboard.period import Period

NO_SHIFT = "(outside)"
"""The time outside any shift, in an address."""


class Url(StrEnum):
    """The paths; ids go into the path or the query."""

    STATIONS = "/"
    STATION = "/station/<station_id>"
    TRANSFER = "/transfer"
    COMPLIANCE = "/compliance"
    ALARMS = "/alarms"
    DATA = "/data"


def stations_url(period: Period | None = None) -> str:
    """Return the address of the stations page."""
    return f"{Url.STATIONS}{_query(_of_period(period))}"


def station_url(
    station_id: str,
    period: Period | None = None,
    kinds: Collection[str] = (),
    severities: Collection[str] = (),
) -> str:
    """Return the address of one station, its findings narrowed to kinds and severities."""
    query = _of_period(period)
    query |= {"kind": ",".join(sorted(kinds)), "severity": ",".join(sorted(severities))}
    path = Url.STATION.replace("<station_id>", quote(station_id, safe=""))
    return f"{path}{_query(query)}"


def transfer_url(transfer_id: str) -> str:
    """Return the address of one transfer."""
    return f"{Url.TRANSFER}{_query({'id': transfer_id})}"


def compliance_url(
    period: Period | None = None, area: str | None = None, shift: str | None = None
) -> str:
    """Return the address of the compliance page, narrowed to an area and a shift.

    The empty shift is the time outside any, and so has a word of its own in an address.
    """
    chosen = {"area": area or "", "shift": NO_SHIFT if shift == "" else shift or ""}
    return f"{Url.COMPLIANCE}{_query(_of_period(period) | chosen)}"


def alarms_url(period: Period | None = None, position: str | None = None) -> str:
    """Return the address of the alarms page, for one operator position."""
    return f"{Url.ALARMS}{_query(_of_period(period) | {'position': position or ''})}"


def data_url(period: Period | None = None, show: str | None = None) -> str:
    """Return the address of the data page, its points narrowed to those of one state."""
    return f"{Url.DATA}{_query(_of_period(period) | {'show': show or ''})}"


def _of_period(period: Period | None) -> dict[str, str]:
    return {} if period is None else {"from": str(period.first), "to": str(period.last)}


def _query(values: dict[str, str]) -> str:
    told = {key: value for key, value in values.items() if value}
    return f"?{urlencode(told, safe='/,')}" if told else ""
