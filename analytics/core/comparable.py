"""Which figures of a transfer its readings tell, so that they can be laid beside others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analytics.core.in_force import in_force
from analytics.core.metering import told_throughout
from analytics.core.situation import Signals
from bondtrail.results import Hookup, Transfer
from bondtrail.samples import Samples, Status
from bondtrail.site import Role, Station
from bondtrail.times import nanoseconds


@dataclass(frozen=True, slots=True)
class Comparable:
    """Which figures of a transfer mean what they say.

    Attributes
    ----------
    volume : bool
        Flow was measured from first to last: else the volume is the least that flowed.
    bypass : bool
        The bypass was known from first to last.
    clamp_off : bool
        The clamp was seen to come off: else its hookup ended because nothing told it any more.
    lead : bool
        The bond is made for the transfer; that of a fixed item may have held for months.
    """

    volume: bool = True
    bypass: bool = True
    clamp_off: bool = True
    lead: bool = True


ALL_TOLD = Comparable()
NOT_READ = Comparable(volume=False, bypass=False, clamp_off=False)
"""Of a transfer whose readings are not looked at."""


def comparable(
    station: Station,
    signals: Signals,
    transfer: Transfer,
    hookups: Sequence[Hookup],
    span: tuple[int, int],
) -> Comparable:
    """Return which figures of a transfer can be compared.

    Parameters
    ----------
    station : Station
        Its points.
    signals : mapping of Role to Samples
        Samples that hold into the span.
    transfer : Transfer
        Within the span.
    hookups : sequence of Hookup
        That overlap the transfer, by start.
    span : tuple of int
        Of what was read: nothing is told of what lies beyond it. [ns]
    """

    def throughout(role: Role) -> bool:
        point = station.points.get(role)
        samples = signals.get(role, Samples.empty())
        return point is not None and told_throughout(point, samples, (transfer.start, transfer.end))

    return Comparable(
        volume=throughout(Role.FLOW),
        bypass=throughout(Role.BYPASS),
        clamp_off=bool(hookups)
        and span[0] <= hookups[-1].end < span[1]
        and _bond_told(station, signals, hookups[-1].end),
        lead=not station.is_fixed,
    )


def _bond_told(station: Station, signals: Signals, moment: int) -> bool:
    """Return whether the bond is known at a moment. [ns]"""
    role = station.bond_role
    if role is None:
        return False
    stale = nanoseconds(station.points[role].stale_after_s)
    (value,) = in_force(signals.get(role, Samples.empty()), stale, np.array([moment])).tolist()
    told = not np.isnan(value)
    return told and (role is not Role.STATUS or value not in (Status.FAULT, Status.OFF))
