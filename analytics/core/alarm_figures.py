"""Alarm-system figures of one operator position, as ISA-18.2 and IEC 62682 describe them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analytics.core.alarm_floods import (
    HOUR_NS,
    TEN_MINUTES_NS,
    Flood,
    Peak,
    floods,
    peak_of,
    stream,
)
from analytics.core.alarm_table import AlarmTable, alarm_table
from analytics.core.chattering import clusters
from analytics.core.spans import Moments
from bondtrail.results import Alarm, AlarmKind
from bondtrail.site import AlarmRules
from bondtrail.times import nanoseconds, seconds

DAY_NS = 24 * HOUR_NS
TOP = 10

FULL_HOUR, FULL_TEN_MINUTES = 30, 10
"""More alarms than this in an hour, or in ten minutes, are too many: ISA-18.2 and IEC 62682."""


@dataclass(frozen=True, slots=True)
class Part:
    """So many of so many; an interval would claim that they are independent, and they are not."""

    count: int
    of: int

    @property
    def value(self) -> float | None:
        """The share; None of nothing. [-]"""
        return self.count / self.of if self.of else None


@dataclass(frozen=True, slots=True)
class OneAlarm:
    """One kind of alarm at one station.

    Attributes
    ----------
    station : str
    kind : AlarmKind
    count : int
        How many times it began.
    share : float
        Of all that began. [-]
    chattering, episodes : int
        How many of them chattered, in how many episodes.
    fleeting, stale : int
        How many of them cleared at once, and how many times it was stale.
    """

    station: str
    kind: AlarmKind
    count: int
    share: float
    chattering: int
    episodes: int
    fleeting: int
    stale: int


@dataclass(frozen=True, slots=True)
class Nuisance:
    """Alarms that wear an operator out.

    Attributes
    ----------
    tags : int
        How many stations and kinds it is about.
    alarms : int
        How many alarms.
    episodes : int
        How many times that happened.
    """

    tags: int
    alarms: int
    episodes: int


@dataclass(frozen=True, slots=True)
class Stale:
    """Alarms that stayed active for long: how many, and the most present on any one day."""

    alarms: int
    most_on_a_day: int


@dataclass(frozen=True, slots=True)
class AlarmFigures:
    """The figures of ``[start, end)``. [ns]

    An alarm counts in the period in which it began; stale and standing ones may be older.

    Attributes
    ----------
    rules : AlarmRules
        By which they were made.
    count, tags : int
        Alarms that began, and how many stations and kinds they are of.
    peak : Peak
        Most alarms in ten minutes.
    hours_over_30, periods_over_10 : Part
        Hours with more than 30 alarms, and ten minutes with more than 10, of all that follow
        each other from ``start`` on. A shorter rest at the end counts as one more.
    floods : tuple of Flood
    flood_ns : int
        Time in flood. [ns]
    each : tuple of OneAlarm
        Every station and kind that began or was stale, those with most alarms first.
    chattering : Nuisance
        Began ``chattering_count`` times or more within ``chattering_s``; an episode goes on for
        as long as such stretches share an alarm.
    fleeting : Nuisance
        Cleared within ``fleeting_s``.
    stale : Stale
        Active for longer than ``stale_h``.
    standing : tuple of Alarm
        Active at ``standing_at``, the oldest first.
    standing_at : int
        The end of the period or, where that is earlier, of what is known. [ns]
    standing_mean : float
        How many were active on average.
    """

    start: int
    end: int
    rules: AlarmRules
    count: int
    tags: int
    peak: Peak
    hours_over_30: Part
    periods_over_10: Part
    floods: tuple[Flood, ...]
    flood_ns: int
    each: tuple[OneAlarm, ...]
    chattering: Nuisance
    fleeting: Nuisance
    stale: Stale
    standing: tuple[Alarm, ...]
    standing_at: int
    standing_mean: float

    @property
    def hours(self) -> float:
        """Length of the period. [h]"""
        return seconds(self.end - self.start) / 3600

    @property
    def per_hour(self) -> float:
        """Average number of alarms. [1/h]"""
        return self.count / self.hours

    @property
    def per_day(self) -> float:
        """Average number of alarms in 24 hours. [1/d]"""
        return self.per_hour * 24

    @property
    def per_10_min(self) -> float:
        """Average number of alarms in ten minutes. [1/(10 min)]"""
        return self.per_hour / 6

    @property
    def flood_share(self) -> float:
        """Share of the time in flood. [-]"""
        return self.flood_ns / (self.end - self.start)

    @property
    def top(self) -> tuple[OneAlarm, ...]:
        """The ten stations and kinds with most alarms, most first."""
        return tuple(row for row in self.each[:TOP] if row.count)

    @property
    def top_share(self) -> float | None:
        """Share of all alarms that the ten most frequent made; None without any. [-]"""
        return sum(row.count for row in self.top) / self.count if self.count else None


def alarm_figures(
    alarms: Sequence[Alarm] | AlarmTable,
    start: int,
    end: int,
    rules: AlarmRules,
    *,
    day_edges: Sequence[int] = (),
    known_until: int | None = None,
) -> AlarmFigures:
    """Return the figures of the alarms that call one operator position.

    Parameters
    ----------
    alarms : sequence of Alarm, or AlarmTable
        All that touch the period, in any order; others do not matter.
    start, end : int
        The period ``[start, end)``. [ns]
    rules : AlarmRules
        How alarms are counted, where editions and texts differ.
    day_edges : sequence of int, optional
        The starts of the site's days in the period, and the end of the last, to count stale
        alarms by; 24 hours each from ``start`` on, unless given. [ns]
    known_until : int, optional
        Where the history ends, if it does so within the period: what is active there has an end
        there. [ns]

    Raises
    ------
    ValueError
        If the period is empty.

    References
    ----------
    .. [1] ANSI/ISA-18.2-2016, Management of Alarm Systems for the Process Industries.
    .. [2] IEC 62682, Management of alarm systems for the process industries.
    .. [3] EEMUA Publication 191, Alarm systems: a guide to design, management and procurement.
    """
    if end <= start:
        raise ValueError(f"a period must end after its start, got {start} to {end} ns")
    table = alarms if isinstance(alarms, AlarmTable) else alarm_table(alarms)
    begun = table.begun(start, end)
    came = stream(begun.start, start, end)
    found = floods(came, rules)
    stale = _stale(table, start, end, round(rules.stale_h * HOUR_NS))
    each = _each(begun, _per_tag(stale), rules)
    at = end if known_until is None else max(start, min(end, known_until))
    return AlarmFigures(
        start=start,
        end=end,
        rules=rules,
        count=len(begun),
        tags=int(np.count_nonzero(_per_tag(begun))),
        peak=peak_of(came, rules),
        hours_over_30=Part(came.hours_over(FULL_HOUR), came.periods(HOUR_NS)),
        periods_over_10=Part(came.over(FULL_TEN_MINUTES), came.periods(TEN_MINUTES_NS)),
        floods=tuple(found),
        flood_ns=sum(flood.end - flood.start for flood in found),
        each=each,
        chattering=_nuisance((row.chattering, row.episodes) for row in each),
        fleeting=_nuisance((row.fleeting, row.fleeting) for row in each),
        stale=Stale(stale.tag.size, _most_on_a_day(stale, start, end, day_edges)),
        standing=tuple(table.take((table.start < at) & (table.end >= at)).rows()),
        standing_at=at,
        standing_mean=_mean_active(table, start, end),
    )


def _per_tag(table: AlarmTable) -> npt.NDArray[np.int64]:
    return np.bincount(table.tag, minlength=len(table.tags))


def _each(
    begun: AlarmTable, stale: npt.NDArray[np.int64], rules: AlarmRules
) -> tuple[OneAlarm, ...]:
    count = _per_tag(begun)
    brief = begun.end - begun.start <= nanoseconds(rules.fleeting_s)
    fleeting = _per_tag(begun.take(brief)).tolist()
    starts, edges = _by_tag(begun)
    crowded = frozenset(_crowded(starts, edges, rules).tolist())
    # Tags are sorted, so those with equal counts stay so.
    order = np.argsort(-count, kind="stable")
    found = []
    for n in order[(count + stale)[order] > 0].tolist():
        tag = begun.tags[n]
        many = _episodes(starts[edges[n] : edges[n + 1]], rules) if n in crowded else []
        found.append(
            OneAlarm(
                station=tag.station,
                kind=tag.kind,
                count=int(count[n]),
                share=int(count[n]) / max(len(begun), 1),
                chattering=sum(size for _, _, size in many),
                episodes=len(many),
                fleeting=fleeting[n],
                stale=int(stale[n]),
            )
        )
    return tuple(found)


def _nuisance(rows: Iterable[tuple[int, int]]) -> Nuisance:
    """Return how many rows have any, and the sums of their alarms and episodes."""
    told = [(alarms, episodes) for alarms, episodes in rows if alarms]
    return Nuisance(len(told), sum(n for n, _ in told), sum(n for _, n in told))


def _by_tag(begun: AlarmTable) -> tuple[Moments, npt.NDArray[np.int64]]:
    """Return when alarms began, tag by tag, and where each tag begins and the last ends."""
    # Sixteen bits are sorted by counting, which is many times faster; more tags take longer.
    narrow = begun.tag.astype(np.uint16) if len(begun.tags) < 2**16 else begun.tag
    order = np.argsort(narrow, kind="stable")
    return begun.start[order], np.concatenate(([0], np.cumsum(_per_tag(begun))))


def _crowded(
    starts: Moments, edges: npt.NDArray[np.int64], rules: AlarmRules
) -> npt.NDArray[np.int64]:
    """Return the tags that chatter, so that the others need not be looked at one by one."""
    back = rules.chattering_count - 1
    close = starts[back:] - starts[: max(starts.size - back, 0)]
    first = np.flatnonzero(close <= nanoseconds(rules.chattering_s))
    tag = np.searchsorted(edges, first, side="right") - 1
    chatter: npt.NDArray[np.int64] = np.unique(tag[first + back < edges[tag + 1]])
    return chatter


def _episodes(starts: Moments, rules: AlarmRules) -> list[tuple[int, int, int]]:
    return clusters(starts, rules.chattering_count, nanoseconds(rules.chattering_s))


def _stale(table: AlarmTable, start: int, end: int, after: int) -> AlarmTable:
    """Return when within the period alarms were stale."""
    since, until = np.maximum(table.start + after, start), np.minimum(table.end, end)
    return AlarmTable(table.tags, table.tag, since, until).take(since < until)


def _most_on_a_day(stale: AlarmTable, start: int, end: int, edges: Sequence[int]) -> int:
    days = np.array(edges, np.int64) if len(edges) else np.arange(start, end + DAY_NS, DAY_NS)
    first = np.searchsorted(days, stale.start, side="right")
    last = np.searchsorted(days, stale.end - 1, side="right")
    steps = np.bincount(first, minlength=days.size + 2)
    steps -= np.bincount(last + 1, minlength=days.size + 2)
    return int(np.cumsum(steps).max())


def _mean_active(table: AlarmTable, start: int, end: int) -> float:
    active = np.clip(table.end, start, end) - np.clip(table.start, start, end)
    return float(active.sum(dtype=np.float64)) / (end - start)
