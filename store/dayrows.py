"""A day's sums as a row of wide columns, and back: `DaySums` in, `DaySums` out."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Any

import numpy as np

from bondtrail.results import DAY_COUNTERS, DAY_HISTOGRAMS, DAY_SUMS, DaySums
from store import schema
from store.texts import plain

PARTS = (*schema.SUMMED, *DAY_HISTOGRAMS)
"""The columns of a row of sums that are not its key, numbers first."""


def row_of(sums: DaySums, unit: str = "day") -> dict[str, Any]:
    """Return the columns of sums by name; ``unit`` is the column of their first day.

    Raises
    ------
    ValueError
        If it counts something that has no column: it would be lost without a word.
    """
    row: dict[str, Any] = {"station": plain(sums.station), unit: sums.day}
    if sums.shift is not None:
        row["shift"] = plain(sums.shift)
    row |= {name: plain(getattr(sums, name)) for name in DAY_SUMS}
    row |= dict.fromkeys(schema.COUNTER_COLUMNS.values(), 0)
    for counter in DAY_COUNTERS:
        for name, count in getattr(sums, counter).items():
            row[_column(sums, counter, name)] = plain(count)
    row |= {name: bins_text(getattr(sums, name)) for name in DAY_HISTOGRAMS}
    return row


def _column(sums: DaySums, counter: str, name: str) -> str:
    column = schema.COUNTER_COLUMNS.get((counter, str(name)))
    if column is None:
        known = ", ".join(DAY_COUNTERS[counter])
        raise ValueError(
            f"day {sums.day} of {sums.station!r}: {counter} {name!r}: expected one of {known}"
        )
    return column


def sums_of(rows: Iterable[tuple[Sequence[Any], Sequence[Any]]]) -> list[DaySums]:
    """Return the sums of rows. A counter leaves out what it counts zero of.

    Parameters
    ----------
    rows : iterable of (key, values)
        A key is station, day and, of a shift's part, shift; the values are those of `PARTS`.
    """
    known = [*rows]
    texts = [values[len(schema.SUMMED) :] for _, values in known]
    histograms = [bins_of_texts([row[n] for row in texts]) for n in range(len(DAY_HISTOGRAMS))]
    return [
        _sums(key, values, bins)
        for (key, values), bins in zip(known, zip(*histograms, strict=True), strict=True)
    ]


def _sums(key: Sequence[Any], values: Sequence[Any], bins: Sequence[Mapping[int, int]]) -> DaySums:
    told: dict[str, Any] = dict(zip(("station", "day", "shift"), key, strict=False))
    told |= zip(DAY_SUMS, values, strict=False)
    for counter, places in _PLACES.items():
        told[counter] = {name: values[place] for name, place in places if values[place]}
    told |= zip(DAY_HISTOGRAMS, bins, strict=True)
    return DaySums(**told)


# In the order of their names, as an analysis tells them.
_PLACES = {
    counter: [
        (name, schema.SUMMED.index(schema.COUNTER_COLUMNS[counter, name]))
        for name in sorted(map(str, names))
    ]
    for counter, names in DAY_COUNTERS.items()
}


def bins_text(histogram: Mapping[int, int]) -> str:
    """Return a histogram as ``bin:count bin:count``, lowest bin first; empty when it has none."""
    told = ((int(place), int(count)) for place, count in histogram.items())
    return " ".join(f"{place}:{count}" for place, count in sorted(told) if count)


def bins_of_texts(texts: Sequence[str]) -> list[dict[int, int]]:
    """Return the histogram of each text; one that tells a bin more than once adds it up."""
    found: list[dict[int, int]] = []
    for low in range(0, len(texts), _AT_ONCE):
        found += _bins(texts[low : low + _AT_ONCE])
    return found


_AT_ONCE = 512
"""Texts to read at once, each as a row of an array with a place for every bin."""


def _bins(texts: Sequence[str]) -> Iterator[dict[int, int]]:
    joined = " ".join(texts)
    if not joined or joined.isspace():
        yield from ({} for _ in texts)
        return
    told = np.fromstring(joined.replace(":", " "), np.int64, sep=" ")
    bins, counts = told[::2], told[1::2]
    width = int(bins.max()) + 1
    owner = np.repeat(np.arange(len(texts)), [text.count(":") for text in texts])
    summed = np.bincount(owner * width + bins, counts)  # as float64: exact up to 2**53
    places = np.flatnonzero(summed)
    cuts = np.searchsorted(places, np.arange(len(texts) + 1) * width).tolist()
    names, numbers = (places % width).tolist(), summed[places].astype(np.int64).tolist()
    for low, high in pairwise(cuts):
        yield dict(zip(names[low:high], numbers[low:high], strict=True))
