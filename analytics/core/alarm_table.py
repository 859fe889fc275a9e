"""Alarms as columns, so that a million of them can be counted at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from analytics.core.spans import Moments
from bondtrail.results import Alarm, AlarmKind


class Tag(NamedTuple):
    """What tells one alarm of a console from another: where it is, and what it calls for."""

    station: str
    kind: AlarmKind


@dataclass(frozen=True, slots=True, eq=False)
class AlarmTable:
    """Alarms by start, each active over ``[start, end)``.

    Attributes
    ----------
    tags : sequence of Tag
        What the codes stand for, sorted.
    tag : ndarray of int64, shape (n,)
        Index into ``tags``.
    start, end : ndarray of int64, shape (n,)
        ``start`` never falls. [ns]
    """

    tags: Sequence[Tag]
    tag: npt.NDArray[np.int64]
    start: Moments
    end: Moments

    def __len__(self) -> int:
        return len(self.start)

    def take(self, chosen: npt.NDArray[np.bool_] | slice) -> AlarmTable:
        """Return some of the rows, under the same codes."""
        return AlarmTable(self.tags, self.tag[chosen], self.start[chosen], self.end[chosen])

    def begun(self, start: int, end: int) -> AlarmTable:
        """Return those that began in ``[start, end)``. [ns]"""
        low, high = np.searchsorted(self.start, [start, end])
        return self.take(slice(int(low), int(high)))

    def split(self, group: Sequence[int], groups: int) -> list[AlarmTable]:
        """Return a table of each of so many groups; ``group`` says which each tag is of."""
        of = np.array([*group, 0], np.uint16)[self.tag]  # sixteen bits are sorted by counting
        order = np.argsort(of, kind="stable")
        edges = np.searchsorted(of[order], np.arange(groups + 1))
        tag, start, end = self.tag[order], self.start[order], self.end[order]
        return [
            AlarmTable(self.tags, tag[a:b], start[a:b], end[a:b])
            for a, b in pairwise(edges.tolist())
        ]

    def rows(self) -> list[Alarm]:
        """Return the alarms one by one, by start, station and kind."""
        told = zip(self.start.tolist(), self.tag.tolist(), self.end.tolist(), strict=True)
        return [
            Alarm(self.tags[tag].station, self.tags[tag].kind, start, end)
            for start, tag, end in sorted(told)
        ]


def coded_table(
    stations: Sequence[str],
    kinds: Sequence[AlarmKind],
    station: npt.NDArray[np.integer],
    kind: npt.NDArray[np.integer],
    start: Moments,
    end: Moments,
) -> AlarmTable:
    """Return a table of alarms, in any order, that are told by codes.

    Parameters
    ----------
    stations, kinds : sequence
        What the codes stand for, each once.
    station, kind : ndarray of int, shape (n,)
        Index into them.
    start, end : ndarray of int64, shape (n,)
        Each was active over ``[start, end)``. [ns]
    """
    both = station.astype(np.int64) * len(kinds) + kind
    there = np.flatnonzero(np.bincount(both, minlength=1))
    named = {
        Tag(stations[code // len(kinds)], kinds[code % len(kinds)]): code for code in there.tolist()
    }
    tags = sorted(named)
    place = np.zeros(len(stations) * len(kinds) + 1, np.int64)
    place[[named[tag] for tag in tags]] = np.arange(len(tags))
    order = np.argsort(start)
    return AlarmTable(tags, place[both[order]], start[order], end[order])


def alarm_table(alarms: Sequence[Alarm]) -> AlarmTable:
    """Return alarms, in any order, as columns."""
    named = [Tag(alarm.station, alarm.kind) for alarm in alarms]
    tags = sorted(set(named))
    code = {tag: n for n, tag in enumerate(tags)}
    columns = (
        [code[tag] for tag in named],
        [alarm.start for alarm in alarms],
        [alarm.end for alarm in alarms],
    )
    tag, start, end = (np.array(column, np.int64) for column in columns)
    order = np.argsort(start, kind="stable")
    return AlarmTable(tags, tag[order], start[order], end[order])
