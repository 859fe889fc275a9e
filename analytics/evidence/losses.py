"""The loss of bond behind a trip: it is read to its end, which may be a day after flow stopped."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from analytics.core.station import Verdict
from analytics.evidence.rows import Plain
from bondtrail.results import CLASS_OF, Trip, TripCause
from bondtrail.times import nanoseconds, seconds


def loss_ends(trip: Trip) -> int:
    """Return until when the readings behind a trip are needed, to within its window. [ns]

    A loss that began before the flow that it stopped ended earlier than that: a trip does not
    tell when it began.
    """
    return trip.time + nanoseconds((trip.loss_s or 0.0) - (trip.stop_s or 0.0))


def going_on(verdict: Verdict) -> frozenset[int]:
    """Return the moments of the trips whose loss of bond goes on where the readings end. [ns]"""
    case = verdict.case
    if not len(case.not_low):
        return frozenset()
    start, end = case.not_low[-1].tolist()
    if end != int(case.now.edges[-1]):
        return frozenset()
    latest = nanoseconds(case.limits.trip_window_s)
    return frozenset(
        trip.time
        for trip in verdict.episodes.trips
        if trip.loss_s == seconds(end - start) and start <= trip.time + latest
    )


def continued(
    told: Sequence[Plain], given: Sequence[Plain], lost: frozenset[int]
) -> Mapping[int, Plain]:
    """Return what the rules would give of a trip if its loss went on for as long as is told.

    Parameters
    ----------
    told : sequence of mapping
        The trips that are enclosed.
    given : sequence of mapping
        Those that the rules give.
    lost : frozenset of int
        The moments of those whose loss goes on where the readings end. [ns]

    Returns
    -------
    mapping of int to mapping
        By their moment, those of which more is told than the readings show, and nothing that they
        contradict. [ns]
    """
    rows = {row["time_ns"]: row for row in given if row["time_ns"] in lost}
    return {
        row["time_ns"]: {**rows[row["time_ns"]], **{name: row[name] for name in _OF_LOSS}}
        for row in told
        if row["time_ns"] in rows and _may_be(row, rows[row["time_ns"]])
    }


_OF_LOSS = ("trip_class", "cause", "marginal", "loss_s")
"""What of a trip depends on the end of its loss."""

_GROWS = {
    (TripCause.HIGH_RESISTANCE, TripCause.HIGH_RESISTANCE),
    (TripCause.HIGH_RESISTANCE, TripCause.CLAMP_OFF),
    (TripCause.CLAMP_OFF, TripCause.CLAMP_OFF),
}
"""What a lasting loss is, and what it may turn out to be as it goes on."""


def _may_be(told: Plain, so_far: Plain) -> bool:
    """Tell whether a loss may have become what is told of it."""
    if not isinstance(told["loss_s"], float) or told["loss_s"] <= so_far["loss_s"]:
        return False
    if (so_far["cause"], told["cause"]) not in _GROWS:
        return False
    is_of_cause = told["trip_class"] == CLASS_OF[TripCause(told["cause"])]
    return bool(is_of_cause and so_far["marginal"] >= told["marginal"])
