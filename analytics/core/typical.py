"""A station's typical transfer of a product, and where one transfer first differed from it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from statistics import median

from analytics.core.comparable import ALL_TOLD, Comparable
from bondtrail.results import Hookup, Outcome, Transfer, Trip
from bondtrail.samples import ValueArray
from bondtrail.site import Role
from bondtrail.times import nanoseconds, seconds

FEW = 5
"""Below so many good transfers nothing is called typical: what is different is not told."""


@dataclass(frozen=True, slots=True)
class Comparison:
    """One figure of a transfer beside the same of the station's good ones.

    Attributes
    ----------
    name : str
        Such as ``bond_lead_s``: with its unit.
    moment : int
        When, in this transfer, the figure was settled: what orders the comparisons. [ns]
    value : float or None
        Of this transfer; None where it has none.
    low, median, high : float or None
        The range and median of the good ones that have it.
    of : int
        How many have it.
    differs : bool or None
        Whether ``value`` lies outside their range, or what it measures never came, such as a
        verified bond; None where fewer than `FEW` have it, or where nobody knows.
    """

    name: str
    moment: int
    value: float | None
    low: float | None
    median: float | None
    high: float | None
    of: int
    differs: bool | None


@dataclass(frozen=True, slots=True, eq=False)
class TypicalCourse:
    """How a signal ran in the good transfers, all laid upon each other at their first flow.

    Attributes
    ----------
    offset_s : ndarray of float64, shape (n,)
        Seconds since the first flow, rising evenly; negative before it.
    low, median, high : ndarray of float64, shape (n,)
        Over the transfers in which the signal is known then; NaN where fewer than `FEW` are.
    """

    offset_s: ValueArray
    low: ValueArray
    median: ValueArray
    high: ValueArray


@dataclass(frozen=True, slots=True, eq=False)
class Typical:
    """The typical transfer beside one transfer.

    Attributes
    ----------
    product : str or None
        Of all of them.
    transfers : tuple of str
        Ids of the good ones: earlier, compliant, without a finding or a trip.
    comparisons : tuple of Comparison
        By moment.
    first_difference : Comparison or None
        The earliest that differs.
    courses : mapping of Role to TypicalCourse
        Resistance and flow, where they are recorded.
    """

    product: str | None
    transfers: tuple[str, ...]
    comparisons: tuple[Comparison, ...] = ()
    first_difference: Comparison | None = None
    courses: Mapping[Role, TypicalCourse] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of a transfer: what it is, and when it was settled. [ns]

    ``never`` tells a figure without a value because it is known that nothing of it came.
    """

    value: float | None
    moment: int
    never: bool = False


def figures(
    transfer: Transfer,
    hookups: Sequence[Hookup],
    trips: Sequence[Trip] = (),
    told: Comparable = ALL_TOLD,
) -> dict[str, Figure]:
    """Return what is compared of a transfer, by name.

    Parameters
    ----------
    transfer : Transfer
        Of any station.
    hookups : sequence of Hookup
        Of the same station, by start; those that do not overlap the transfer are left aside.
    trips : sequence of Trip
        Of the transfer, by time.
    told : Comparable
        What its readings tell: a figure that they do not tell has no value, or is left out where
        it would mean something else.
    """
    return dict(_of_clamp(transfer, under(hookups, transfer), told)) | dict(
        _of_flow(transfer, trips, told)
    )


def under(hookups: Sequence[Hookup], transfer: Transfer) -> list[Hookup]:
    """Return the hookups that overlap a transfer."""
    return [each for each in hookups if each.start < transfer.end and each.end > transfer.start]


def _of_clamp(
    transfer: Transfer, hookups: Sequence[Hookup], told: Comparable
) -> Iterator[tuple[str, Figure]]:
    if told.lead:
        lead = transfer.bond_lead_s
        # Where the bond was unknown for a while it may have been verified in it.
        never = lead is None and transfer.not_bonded_s > 0 and not transfer.no_data_s
        yield "bond_lead_s", Figure(lead, transfer.start, never)
    if not hookups:
        return
    first, last = hookups[0], hookups[-1]
    contact = seconds(transfer.start - first.start)
    yield "contact_lead_s", Figure(contact, max(first.start, transfer.start))
    bonded = first.end
    if first.time_to_bond_s is not None:
        bonded = first.start + nanoseconds(first.time_to_bond_s)
    failed = first.outcome is Outcome.FAILED
    yield "time_to_bond_s", Figure(first.time_to_bond_s, bonded, failed)
    yield "lowest_ohm", Figure(first.lowest_ohm, first.end)
    yield "median_ohm", Figure(first.median_ohm, first.end)
    if told.clamp_off:
        yield "clamp_off_after_s", Figure(seconds(last.end - transfer.end), last.end)


def _of_flow(
    transfer: Transfer, trips: Sequence[Trip], told: Comparable
) -> Iterator[tuple[str, Figure]]:
    end, unit = transfer.end, transfer.unit
    yield "flow_s", Figure(transfer.flow_s, end)
    yield "paused_s", Figure(max(seconds(end - transfer.start) - transfer.flow_s, 0.0), end)
    if transfer.volume is not None:
        yield f"volume_{unit}", Figure(transfer.volume if told.volume else None, end)
        if transfer.flow_s > 0:
            rate = transfer.volume / transfer.flow_s * 60
            yield f"mean_rate_{unit}_min", Figure(rate if told.volume else None, end)
    yield "not_bonded_s", Figure(transfer.not_bonded_s, end)
    yield "no_data_s", Figure(transfer.no_data_s, end)
    yield "bypassed_s", Figure(transfer.bypassed_s if told.bypass else None, end)
    tripped = min((trip.time for trip in trips), default=end)
    yield "trips", Figure(float(transfer.trips), tripped)


def is_good(transfer: Transfer) -> bool:
    """Return whether a transfer is one to compare with: nothing was found in it."""
    return transfer.compliant and not transfer.findings and not transfer.trips


def compared(
    this: Mapping[str, Figure], good: Sequence[Mapping[str, Figure]]
) -> tuple[Comparison, ...]:
    """Return each figure of a transfer beside those of the good ones, by moment.

    Parameters
    ----------
    this : mapping of str to Figure
        Of the transfer.
    good : sequence of mapping
        Of each good one; some may lack a figure.
    """
    found = [_comparison(name, figure, good) for name, figure in this.items()]
    return tuple(sorted(found, key=lambda each: each.moment))


def _comparison(name: str, figure: Figure, good: Sequence[Mapping[str, Figure]]) -> Comparison:
    values = [value for each in good if name in each and (value := each[name].value) is not None]
    low, middle, high = (min(values), median(values), max(values)) if values else (None,) * 3
    differs = None
    if len(values) >= FEW and low is not None and high is not None:
        if figure.value is not None:
            differs = not low <= figure.value <= high
        elif figure.never:
            differs = True
    return Comparison(name, figure.moment, figure.value, low, middle, high, len(values), differs)


NONE_DIFFERS = "It lies within their range in all that could be compared, which is no proof."


def by_chance(good: int) -> str:
    """Return how often a good transfer lies outside the range of some good ones, in words."""
    return (
        "A difference is no proof of a cause: by chance alone one more good transfer lies outside "
        f"the range of {good} in 2 of {good + 1} cases, for each figure, and there are many "
        "figures."
    )


def first_difference(comparisons: Sequence[Comparison]) -> Comparison | None:
    """Return the earliest comparison that differs, or None."""
    differing = [each for each in comparisons if each.differs]
    return min(differing, key=lambda each: each.moment, default=None)
