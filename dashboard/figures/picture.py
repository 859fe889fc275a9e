"""What the figure of one transfer shows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from analytics.core.electrostatics.hazard import Hazard, NoEstimate
from analytics.core.runs import Timeline
from analytics.core.spans import NOWHERE, Spans
from analytics.core.typical import Typical
from bondtrail.results import Finding, Trip
from bondtrail.samples import Samples
from bondtrail.site import Limits
from dashboard.figures import palette
from dashboard.figures.steps import Clock


@dataclass(frozen=True, slots=True, eq=False)
class Signal:
    """One point's samples, and how long each holds without a successor. [ns]"""

    samples: Samples
    stale_ns: int


@dataclass(frozen=True, slots=True, eq=False)
class Lane:
    """A state drawn as a bar: ``on`` is its code in ``states``, ``unknown`` another."""

    name: str
    states: Timeline
    on: int
    unknown: int
    on_word: str
    colour: str = palette.LINE


@dataclass(frozen=True, slots=True, eq=False)
class Picture:
    """All that the figure shows, over ``[start, end)``; the transfer lies inside. [ns]"""

    start: int
    end: int
    transfer: tuple[int, int]
    clock: Clock
    limits: Limits
    bond: Timeline
    exposed: Spans = field(default_factory=NOWHERE.copy)
    """Flow with the bond known and not verified."""
    resistance: Signal | None = None
    flow: Signal | None = None
    flow_unit: str = ""
    lanes: Sequence[Lane] = ()
    findings: Sequence[Finding] = ()
    trips: Sequence[Trip] = ()
    hazard: Hazard | NoEstimate = field(default_factory=lambda: NoEstimate(()))
    typical: Typical | None = None
    """Laid over resistance and flow, at the start of the transfer, when it is asked for."""
