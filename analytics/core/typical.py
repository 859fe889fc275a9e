"""A station's typical transfer of a product, and where one transfer first differed from it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from bondtrail.samples import ValueArray
from bondtrail.site import Role

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
        Whether ``value`` lies outside their range; None where fewer than `FEW` have it.
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
