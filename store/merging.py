"""What a batch changes: pure comparisons of samples with what is stored already."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from bondtrail.samples import QualityArray, Samples, TimeArray, ValueArray, concatenate, later_wins

BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Written:
    """How many samples or rows were new, were stored already, or took the place of another."""

    new: int = 0
    repeated: int = 0
    replaced: int = 0

    def __add__(self, other: Written) -> Written:
        return Written(
            self.new + other.new,
            self.repeated + other.repeated,
            self.replaced + other.replaced,
        )


@dataclass(frozen=True, slots=True, eq=False)
class Stored:
    """What is stored at some times: each array has one entry a time."""

    found: BoolArray
    value: ValueArray
    quality: QualityArray

    @classmethod
    def nothing(cls, size: int) -> Stored:
        """Return the answer of an empty store for ``size`` times."""
        return cls(np.zeros(size, bool), np.full(size, np.nan), np.zeros(size, np.uint8))

    def take(self, times: TimeArray, part: Samples) -> None:
        """Note what ``part`` holds at ``times``, over what was noted before.

        ``times`` are sorted, and as many as there are entries; ``part`` is sorted, without
        repeats.
        """
        low = int(np.searchsorted(times, part.time[0]))
        high = np.searchsorted(times, part.time[-1], "right")
        wanted = times[low:high]
        place = np.searchsorted(part.time, wanted)
        hit = np.flatnonzero(part.time[place] == wanted)
        self.found[low + hit] = True
        self.value[low + hit] = part.value[place[hit]]
        self.quality[low + hit] = part.quality[place[hit]]


_NONE = Samples.empty()


@dataclass(frozen=True, slots=True, eq=False)
class Change:
    """What is left of a batch once the repeats are gone."""

    samples: Samples
    """Sorted and without repeats; each differs from what is stored."""
    written: Written
    since: int | None
    """Earliest time at which something new or different came. [ns]"""
    replaced: Samples = field(default_factory=lambda: _NONE)
    """What others took the place of, as many as ``written`` counts: sorted by time, those of one
    time in the order in which they held."""


def piece(samples: Samples, low: int, high: int) -> Samples:
    """Return samples number ``low`` up to ``high``, without copying them."""
    return Samples(samples.time[low:high], samples.value[low:high], samples.quality[low:high])


def within(samples: Samples, first: int, last: int) -> Samples:
    """Return the samples at ``first`` to ``last``, both included. [ns]"""
    low = int(np.searchsorted(samples.time, first))
    return piece(samples, low, int(np.searchsorted(samples.time, last, "right")))


def in_order(samples: Samples) -> Samples:
    """Return the samples sorted by time; those of one time stay in the order they came in."""
    if is_rising(samples.time, strictly=False):
        return samples
    order = np.argsort(samples.time, kind="stable")
    return Samples(samples.time[order], samples.value[order], samples.quality[order])


def is_rising(time: TimeArray, *, strictly: bool = True) -> bool:
    """Tell whether times rise, each above (or, not strictly, at) the one before."""
    earlier, later = time[:-1], time[1:]
    return bool((earlier < later if strictly else earlier <= later).all())


def compare(batch: Samples, stored: Stored | None) -> Change:
    """Return what a batch changes, as if its samples came one by one.

    So of several of one time that differ, each but the last is replaced, though none of these was
    ever committed: someone sent it, and what a sender said first is not lost.

    Parameters
    ----------
    batch : Samples
        Sorted by time; several of one time in the order they came in.
    stored : Stored or None
        What is stored at each of the batch's times; None if nothing is.
    """
    if not len(batch):
        return Change(batch, Written(), None)
    if (stored is None or not stored.found.any()) and is_rising(batch.time):
        return Change(batch, Written(new=len(batch)), int(batch.time[0]))
    if stored is None:
        stored = Stored.nothing(len(batch))
    first = np.ones(len(batch), bool)
    np.not_equal(batch.time[1:], batch.time[:-1], out=first[1:])
    known = stored.found | ~first
    value = np.where(first, stored.value, np.roll(batch.value, 1))
    quality = np.where(first, stored.quality, np.roll(batch.quality, 1))
    same = known & (batch.value == value) & (batch.quality == quality)
    gone = known & ~same
    replaced = Samples(batch.time[gone], value[gone], quality[gone])
    new, repeated = int(np.count_nonzero(~known)), int(np.count_nonzero(same))
    written = Written(new, repeated, len(replaced))
    changed = np.flatnonzero(~same)
    since = int(batch.time[changed[0]]) if changed.size else None
    return Change(_lasting(batch, stored, first), written, since, replaced)


def _lasting(batch: Samples, stored: Stored, first: BoolArray) -> Samples:
    """Return the last sample of each time, where it differs from what is stored."""
    last = np.ones(len(batch), bool)
    last[:-1] = first[1:]
    as_stored = stored.found & (batch.value == stored.value) & (batch.quality == stored.quality)
    kept = last & ~as_stored
    return Samples(batch.time[kept], batch.value[kept], batch.quality[kept])


def overlay(under: Samples, over: Samples) -> Samples:
    """Return two sorted series as one; where both have a sample, that of ``over`` stays."""
    if not len(under) or not len(over):
        return over if len(over) else under
    cut = int(np.searchsorted(under.time, over.time[0]))
    if cut == len(under):
        return concatenate([under, over])
    tail = piece(under, cut, len(under))
    return concatenate([piece(under, 0, cut), later_wins(concatenate([tail, over]))])
