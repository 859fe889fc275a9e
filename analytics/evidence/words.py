"""Figures and names as the page of a package has them: in words, each with its unit.

Programs get names with the unit in them, such as ``conductivity_pS_m``; people do not.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from analytics.core.electrostatics.inputs import CALLED
from analytics.reports.words import NOTHING, plain, span
from bondtrail.endings import parted
from bondtrail.times import local, offset_if_repeated, parse_time

LEAST = 1e-6
"""What is less is told as less than this, in any unit."""

NAMES: Mapping[str, str] = {
    **CALLED,
    # of the estimate
    "peak_potential_V": "peak potential",
    "peak_charge_uC": "peak charge",
    "peak_energy_mJ": "peak energy",
    "mie_ratio": "peak energy over the minimum ignition energy",
    "first_over_mie": "first at the minimum ignition energy",
    "seconds_over_mie": "time at or over it, in all",
    "velocity_m_s": "greatest velocity in the pipe",
    "velocity_limit_m_s": "published limit of velocity",
    # of the typical transfer
    "bond_lead_s": "verified before flow by",
    "contact_lead_s": "clamp on before flow by",
    "lowest_ohm": "lowest resistance",
    "highest_ohm": "highest resistance",
    "median_ohm": "median resistance",
    "resistance_ohm": "resistance as it ran",
    "flow_L_min": "flow as it ran",
    "flow_kg_min": "flow as it ran",
    "flow_s": "time in flow",
    "clamp_off_after_s": "clamp off after flow by",
    "no_data_s": "bond unknown in flow for",
    "not_bonded_s": "not bonded in flow for",
    "bypassed_s": "bypassed in flow for",
    # of findings
    "seconds": "in all",
    # limits
    "limit_ohm": "bond is low up to",
    "open_ohm": "bond is open from",
    "hold_s": "low for so long is verified",
    "stale_after_s": "a reading holds at most for",
    "flow_min": "flow counts from",
    "transfer_min_s": "a transfer flows at least for",
    "resume_within_s": "a pause in a transfer lasts at most",
    "start_allowance_s": "allowed without bond as flow begins",
    "stop_allowance_s": "allowed from loss of bond to flow off",
    "nodata_allowance_s": "allowed in flow with the bond unknown",
    "trip_window_s": "a trip stops flow within",
    "brief_s": "a brief loss is shorter than",
    "marginal_factor": "marginal is over the limit by at most",
    "hookup_min_s": "a hookup lasts at least",
    "detach_s": "open for so long is clamp off",
    "mismatch_s": "permissive and bond may disagree for",
    "isolated_s": "a fixed item is isolated from",
    "release_wait_s": "clamp to stay on after flow for",
    "bypass_allowance_s": "allowed in flow with bypass on",
    "cluster_count": "a cluster of losses of bond has at least",
    "cluster_s": "a cluster of losses of bond lies within",
}
"""Names that would not be understood by themselves; any other is told without its unit."""

_IN: Mapping[str, str] = {
    "mie_ratio": "times",
    "marginal_factor": "times",
    "cluster_count": "losses",
    "seconds_over_mie": "s",
    "seconds": "s",
}
"""Units that no end of a name tells."""


def name_of(code: str) -> str:
    """Return what a figure is called: ``capacitance_pF``, capacitance of the vessel."""
    return NAMES.get(code) or plain(parted(code)[0])


def unit_of(code: str) -> str:
    """Return the unit that a name tells, such as pF; nothing where there is none."""
    return _IN.get(code) or parted(code)[1]


def told(code: str, value: Any) -> str:
    """Return a figure with the unit of its name."""
    if value is None:
        return NOTHING
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return "open" if value == "infinite" else value
    return amount(value, unit_of(code))


def amount(value: float, unit: str) -> str:
    """Return a number with its unit, such as ``2.26 ohm``, ``1,093 L/min`` or ``2 min 35 s``."""
    if unit == "ohm":
        return ohms(value)
    if unit == "s":
        return f"-{span(-value)}" if value < 0 else span(value)
    if 0 < value < LEAST and unit in ("V", "uC", "mJ", "times"):
        return f"below {digits(LEAST)} {unit}"
    return f"{digits(value)} {unit}".rstrip()


def at_least(value: float, unit: str) -> str:
    """Return an amount of which this much is known: rounded down, never up."""
    places = 0 if value >= 100 or value <= 0 else 2 - math.floor(math.log10(value))
    return f"at least {amount(math.floor(value * 10**places) / 10**places, unit)}"


def ohms(value: float | None) -> str:
    """Return a resistance; without end it is open."""
    if value is None:
        return NOTHING
    if math.isinf(value):
        return "open"
    value = float(f"{value:.3g}")
    unit, size = next((each for each in _SIZES if value >= each[1]), ("ohm", 1.0))
    return f"{digits(value / size)} {unit}"


_SIZES = (("Mohm", 1e6), ("kohm", 1e3))


def exact(code: str, value: float, unit: str | None = None) -> str:
    """Return a limit with its unit and all its digits, as the site file has it."""
    whole, _, part = f"{Decimal(repr(value)):f}".partition(".")
    part = part.rstrip("0")
    number = f"{int(whole):,}" + (f".{part}" if part else "")
    return f"{number} {unit_of(code) if unit is None else unit}".rstrip()


def digits(value: float) -> str:
    """Return a number to three figures, or to the whole, and never with an exponent."""
    if not math.isfinite(value):
        return "without end"
    if value == 0 or abs(value) >= 999.5:
        return f"{value:,.0f}"
    return f"{Decimal(f'{value:.3g}'):f}"


class Clock:
    """The site's clock."""

    def __init__(self, zone: ZoneInfo) -> None:
        self.zone = zone

    def _here(self, utc: str) -> datetime:
        return local(parse_time(utc), self.zone)

    def day(self, utc: str) -> str:
        """Return the date of a moment."""
        return f"{self._here(utc):%Y-%m-%d}"

    def time(self, utc: str | None) -> str:
        """Return the time of day to the millisecond; its offset too where an hour comes twice."""
        if utc is None:
            return NOTHING
        here = self._here(utc)
        return f"{here:%H:%M:%S}.{here.microsecond // 1000:03}{offset_if_repeated(here)}"

    def moment(self, utc: str | None) -> str:
        """Return date and time."""
        return NOTHING if utc is None else f"{self.day(utc)} {self.time(utc)}"

    def between(self, start: str, end: str) -> str:
        """Return a stretch of time; the date only once where it is one."""
        until = self.time(end) if self.day(start) == self.day(end) else self.moment(end)
        return f"{self.moment(start)} to {until}"
