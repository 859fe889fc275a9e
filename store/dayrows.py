"""A day's sums as a row of wide columns, and back: `DaySums` in, `DaySums` out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from bondtrail.results import DAY_COUNTERS, DAY_HISTOGRAMS, DAY_SUMS, DaySums
from store import schema
from store.texts import plain

PARTS = (*schema.SUMMED, *DAY_HISTOGRAMS)
"""The columns of a row of sums that are not its key, numbers first."""


def row_of(sums: DaySums) -> dict[str, Any]:
    """Return the columns of a day, or of a shift's part of it, by name.

    Raises
    ------
    ValueError
        If it counts something that has no column: it would be lost without a word.
    """
    row: dict[str, Any] = {"station": plain(sums.station), "day": sums.day}
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


def sums_of(key: Iterable[Any], values: Sequence[Any]) -> DaySums:
    """Return a row's sums. A counter leaves out what it counts zero of.

    Parameters
    ----------
    key : iterable
        The station, the day, and the shift if it is of one.
    values : sequence
        Those of `PARTS`.
    """
    told: dict[str, Any] = dict(zip(("station", "day", "shift"), key, strict=False))
    told |= zip(DAY_SUMS, values, strict=False)
    for counter, places in _PLACES.items():
        told[counter] = {name: values[place] for name, place in places if values[place]}
    for name, text in zip(DAY_HISTOGRAMS, values[len(schema.SUMMED) :], strict=True):
        told[name] = bins_of_text(text)
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


def bins_of_text(text: str) -> dict[int, int]:
    """Return the histogram of a text; one that tells a bin more than once adds it up."""
    if not text or text.isspace():
        return {}
    told = np.fromstring(text.replace(":", " "), np.int64, sep=" ")
    counts = np.bincount(told[::2], told[1::2])  # as float64: exact up to 2**53
    bins = np.flatnonzero(counts)
    return dict(zip(bins.tolist(), counts[bins].astype(np.int64).tolist(), strict=True))
