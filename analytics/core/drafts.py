"""Events in the making: what a change says, before its place in the sequence is known."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from analytics.core.events import Basis, What
from analytics.core.resolution import NEVER, Resolution
from analytics.core.runs import Timeline
from analytics.core.silences import Told, told
from analytics.core.situation import Signals, Situation
from analytics.core.wording import duration
from bondtrail.results import Finding
from bondtrail.samples import Samples
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

    def since(self, role: Role | None) -> Callable[[int], int | None]:
        """Return what tells of a point's changes since when each may have been so. [ns]"""
        if role is None:
            return lambda _: None
        resolution = self.resolutions[role]

        def at(moment: int) -> int | None:
            bound = int(resolution.since(np.array([moment]))[0])
            return None if bound == NEVER else bound

        return at

    def since_each(self, role: Role | None, line: Timeline) -> list[int | None]:
        """Return since when each run of a timeline may have been so. [ns]"""
        if role is None:
            return [None] * line.state.size
        bounds = self.resolutions[role].since(line.edges[:-1]).tolist()
        return [None if bound == NEVER else bound for bound in bounds]

    def lasting(self, start: int, end: int) -> str:
        """Return how long a state lasts, in words: at least so long if the span ends in it."""
        least = "at least " if end >= self.span[1] else ""
        return f"for {least}{duration(seconds(end - start))}"

    def why_unknown(self, role: Role, moment: int) -> str:
        """Return why a point tells nothing at a moment (ns), in words."""
        code = int(self.told[role].sample(np.array([moment]))[0])
        if code == Told.BAD:
            return f"{role}: bad quality"
        if code == Told.KNOWN:
            return "the monitor says fault or off"
        time = self.resolutions[role].samples.time
        at = int(time.searchsorted(moment, side="right"))
        if not at:
            return f"{role}: no reading yet"
        return (
            f"{role}: silent, last reading {duration(seconds(moment - int(time[at - 1])))} before"
        )
