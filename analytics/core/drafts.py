"""Events in the making: what a change says, before its place in the sequence is known."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from analytics.core.bursts import Bursts
from analytics.core.events import Basis, What
from analytics.core.in_force import in_force
from analytics.core.resolution import NEVER, Resolution
from analytics.core.runs import Timeline
from analytics.core.silences import Told, told
from analytics.core.situation import Signals, Situation
from analytics.core.spans import Moments
from analytics.core.wording import duration
from bondtrail.results import Finding
from bondtrail.samples import Quality, Samples, Status, ValueArray
from bondtrail.site import Role, Station
from bondtrail.times import nanoseconds, seconds


class Draft(NamedTuple):
    """An event without the figures that are in force then. Fields are those of `Event`."""

    time: int
    what: What
    detail: str = ""
    role: Role | None = None
    since: int | None = None
    basis: Basis = Basis.KNOWN
    finding: Finding | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """A station over a span, as the makers of events look at it.

    Attributes
    ----------
    station : Station
        Its points and limits.
    signals : mapping of Role to Samples
        Samples that hold into the span.
    span : tuple of int
        Start and end. [ns]
    now : Situation
        The states over the span.
    resolutions : mapping of Role to Resolution
        Of each point.
    told : mapping of Role to Timeline
        Where each point is known, silent or bad.
    """

    station: Station
    signals: Signals
    span: tuple[int, int]
    now: Situation
    resolutions: Mapping[Role, Resolution]
    told: Mapping[Role, Timeline]

    @classmethod
    def of(cls, station: Station, signals: Signals, span: tuple[int, int], now: Situation) -> Scene:
        """Return the scene of a station's signals over a span."""
        resolutions, silences = {}, {}
        for role, point in station.points.items():
            samples = signals.get(role, Samples.empty())
            resolutions[role] = Resolution.of(point, samples)
            silences[role] = told(samples, nanoseconds(point.stale_after_s), span)
        return cls(station, signals, span, now, resolutions, silences)

    def values(self, role: Role, moments: Moments) -> ValueArray:
        """Return the value of a point in force at each moment; NaN where none is. [ns]"""
        known = self.resolutions.get(role)
        if known is None:
            return np.full(moments.size, np.nan)
        return in_force(known.samples, known.stale_ns, moments)

    def since(self, role: Role | None, moments: Moments) -> list[int | None]:
        """Return since when what a point showed at some moments may have been so. [ns]"""
        if role is None:
            return [None] * moments.size
        return _or_none(self.resolutions[role].since(moments))

    def bond_since(self, moments: Moments) -> list[int | None]:
        """Return since when what was seen of the bond at some moments may have been so. [ns]"""
        role = self.station.bond_role
        if role is not Role.STATUS:
            return self.since(role, moments)
        return _or_none(self.resolutions[role].of_bond().since(moments))

    def told_since(self, role: Role | None, moments: Moments) -> list[int | None]:
        """Return the same of a point: of the bond, where that is what the point tells. [ns]"""
        if role is self.station.bond_role:
            return self.bond_since(moments)
        return self.since(role, moments)

    def uncertain(self, role: Role, start: int, end: int) -> bool:
        """Return whether a reading in force in ``[start, end]`` is uncertain. [ns]"""
        samples = self.resolutions[role].samples
        first = max(int(samples.time.searchsorted(start, side="right")) - 1, 0)
        last = int(samples.time.searchsorted(end, side="right"))
        return bool((samples.quality[first:last] == Quality.UNCERTAIN).any())

    def burst_drafts(self, role: Role | None, found: Bursts, ranges: Sequence[str]) -> list[Draft]:
        """Return the bursts of a signal, each with what it ranged over, in words."""
        if not len(found.spans):
            return []
        since = self.told_since(role, found.spans[:, 0])
        counted = zip(found.spans.tolist(), found.changes.tolist(), ranges, since, strict=True)
        drafts = []
        for (start, end), changes, ranged, earliest in counted:
            said = f"changes {changes:,} times in {duration(seconds(end - start))}"
            detail = f"{said}, not told one by one{ranged}"
            drafts.append(Draft(start, What.UNSTEADY, detail, role, earliest))
        return drafts

    def lasting(self, start: int, end: int) -> str:
        """Return how long a state lasts, in words: at least so long if the span ends in it."""
        if end >= self.span[1]:
            return f"for {at_least(seconds(end - start))}"
        return f"for {duration(seconds(end - start))}"

    def tells(self, role: Role, moment: int) -> bool:
        """Return whether a point has a fresh and good reading at a moment. [ns]"""
        return bool(self.told[role].sample(np.array([moment]))[0] == Told.KNOWN)

    def why_unknown(self, role: Role, moment: int) -> str:
        """Return why a point tells nothing at a moment (ns), in words."""
        code = int(self.told[role].sample(np.array([moment]))[0])
        if code == Told.BAD:
            return f"{role}: bad quality"
        samples = self.resolutions[role].samples
        time = samples.time
        at = int(time.searchsorted(moment, side="right"))
        if code == Told.KNOWN:  # a status that tells nothing of the bond
            return f"the monitor says {Status(int(samples.value[at - 1])).name.lower()}"
        if not at:
            return f"{role}: no reading yet"
        return (
            f"{role}: silent, last reading {duration(seconds(moment - int(time[at - 1])))} before"
        )


def at_least(lasts_s: float) -> str:
    """Return a span in words as `duration` has it, but never longer than it was. [s]"""
    if lasts_s >= 120:
        return f"at least {duration(math.floor(lasts_s))}"
    # Three figures, and a whisker so that 0.3 s, which no float holds, stays so.
    digits = 2 - math.floor(math.log10(lasts_s)) if lasts_s > 0 else 0
    return f"at least {duration(math.floor(lasts_s * 10**digits + 1e-9) / 10**digits)}"


def _or_none(bounds: Moments) -> list[int | None]:
    return [None if bound == NEVER else bound for bound in bounds.tolist()]
