"""Where flow was measured, and where its meter told nothing: what is not measured is not none."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analytics.core.runs import Contact
from analytics.core.silences import Told, told
from analytics.core.situation import Signals, Situation
from analytics.core.spans import Mask, Moments, Spans, elapsed, intersection, total, within
from analytics.core.wording import duration
from bondtrail.samples import Samples
from bondtrail.site import Point, Role, Station
from bondtrail.times import nanoseconds, seconds


@dataclass(frozen=True, slots=True, eq=False)
class Metering:
    """What the flow meter of a station told of a stretch. Spans are in ns.

    Attributes
    ----------
    measured : ndarray of int64, shape (n, 2)
        Flow on, and a reading of the meter in force.
    missed : ndarray of int64, shape (m, 2)
        Flow on by the run contact, and none in force: more flowed than was measured.
    unsure : ndarray of int64, shape (k, 2)
        Nothing tells whether it flowed: more may have.
    """

    measured: Spans
    missed: Spans
    unsure: Spans

    @classmethod
    def of(
        cls, station: Station, signals: Signals, now: Situation, span: tuple[int, int]
    ) -> Metering | None:
        """Return the metering of a span (ns) within a situation; None without a meter."""
        point = station.points.get(Role.FLOW)
        if point is None:
            return None
        line = told(signals.get(Role.FLOW, Samples.empty()), nanoseconds(point.stale_after_s), span)
        flow = within(now.flow.where(Contact.ON), *span)
        return cls(
            measured=intersection(flow, line.where(Told.KNOWN)),
            missed=intersection(flow, line.where(Told.SILENT, Told.BAD)),
            unsure=within(now.flow.where(Contact.UNKNOWN), *span),
        )

    @property
    def is_whole(self) -> bool:
        """Whether all that flowed was measured."""
        return not len(self.missed) and not len(self.unsure)

    @property
    def is_none(self) -> bool:
        """Whether something flowed, or may have, and nothing of it was measured."""
        return not self.is_whole and not len(self.measured)

    @property
    def words(self) -> str:
        """What was not measured, in words; empty where all of it was."""
        if self.is_whole:
            return ""
        if self.is_none and len(self.missed):
            return "the meter told nothing of the flow"
        return _words(total(self.missed), total(self.unsure))

    def part(self, start: int, end: int) -> Metering:
        """Return the metering of ``[start, end)``. [ns]"""
        spans = (self.measured, self.missed, self.unsure)
        return Metering(*(within(each, start, end) for each in spans))

    def so_far(self, start: int, moments: Moments) -> tuple[Mask, Mask]:
        """Return at which moments not all, and at which nothing, was measured since a start. [ns]

        Nothing: of what flowed, or may have, by then.
        """
        measured, missed, unsure = (
            elapsed(spans, np.maximum(moments, start)) - elapsed(spans, np.array([start]))
            for spans in (self.measured, self.missed, self.unsure)
        )
        not_all: Mask = missed + unsure > 0
        nothing: Mask = not_all & (measured == 0)
        return not_all, nothing


def _words(missed: int, unsure: int) -> str:
    parts = []
    if missed:
        parts.append(f"for {duration(seconds(missed))} of the flow")
    if unsure:
        parts.append(f"for {duration(seconds(unsure))} in which it may have flowed")
    return f"the meter told nothing {' and '.join(parts)}"


def told_throughout(point: Point, samples: Samples, span: tuple[int, int]) -> bool:
    """Return whether a point told something, good and fresh, all through a span. [ns]"""
    line = told(samples, nanoseconds(point.stale_after_s), span)
    return bool((line.state == Told.KNOWN).all())
