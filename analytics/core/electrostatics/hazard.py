"""What the hazard estimate of a span says: figures and courses at three levels, and what from."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from analytics.core.electrostatics.spread import Level, Spread
from bondtrail.samples import TimeArray, ValueArray


@dataclass(frozen=True, slots=True)
class Figures:
    """The figures of one level; None where what they need is not known.

    Attributes
    ----------
    peak_potential_V, peak_charge_uC, peak_energy_mJ : float
        The greatest of the vessel in the span.
    mie_ratio : float or None
        The peak of energy over the minimum ignition energy. [-]
    first_over_mie : int or None
        When the energy first reached the minimum ignition energy; None if it never did, or if
        that energy is not known. Flow that is unknown can bring it about, but only beside flow on
        record: not before the first reading of flow, not after the station's last reading, and
        not in a silence farther than ``resume_within_s`` from any flow. [ns]
    seconds_over_mie : float or None
        For how long it was there in all; None where that energy is not known.
    relaxation_time_s : float or None
        Of the liquid.
    velocity_m_s, velocity_limit_m_s : float or None
        The greatest in the pipe, and the published limit for it: the strictest at the high level.
    """

    peak_potential_V: float
    peak_charge_uC: float
    peak_energy_mJ: float
    mie_ratio: float | None
    first_over_mie: int | None
    seconds_over_mie: float | None
    relaxation_time_s: float | None
    velocity_m_s: float | None
    velocity_limit_m_s: float | None


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """The vessel over time at one level: exact at each of n moments, exponential between them.

    Attributes
    ----------
    time : ndarray of int64, shape (n,)
        Strictly rising: the moments at which resistance or flow changed, and the ends of the
        span. [ns]
    potential_V, charge_uC, energy_mJ : ndarray of float64, shape (n,)
        Never negative.
    resistance_ohm : ndarray of float64, shape (n - 1,)
        Through which it leaks from each moment to the next; ``inf`` where nothing leaks.
    """

    time: TimeArray
    potential_V: ValueArray
    charge_uC: ValueArray
    energy_mJ: ValueArray
    resistance_ohm: ValueArray


@dataclass(frozen=True, slots=True, eq=False)
class Hazard:
    """The estimate of a span. Its ``unseen`` and ``notes`` belong beside every figure of it.

    Attributes
    ----------
    inputs : mapping of str to Spread
        What the figures are made of, by name.
    figures : mapping of Level to Figures
        Of each level.
    courses : mapping of Level to Course
        Of each level.
    conductivity_class : str or None
        ``low``, ``medium`` or ``high``; None for a powder, or where it is not known.
    wait_s : Spread or None
        How long to wait after flow before the vessel is unclamped, opened or sampled.
    notes : tuple of str
        What was assumed, and where a figure does not hold; a sentence each.
    unseen : tuple of str
        What no such estimate can see; a sentence each.
    """

    inputs: Mapping[str, Spread]
    figures: Mapping[Level, Figures]
    courses: Mapping[Level, Course]
    conductivity_class: str | None = None
    wait_s: Spread | None = None
    notes: tuple[str, ...] = ()
    unseen: tuple[str, ...] = ()

    @property
    def strictest_limit_m_s(self) -> float:
        """The least of the published limits of velocity; ``inf`` where there is none."""
        limits = (each.velocity_limit_m_s for each in self.figures.values())
        return min((each for each in limits if each is not None), default=math.inf)


@dataclass(frozen=True, slots=True)
class NoEstimate:
    """Why there is no estimate, and what would make one possible; a sentence each.

    ``unseen`` holds all the same.
    """

    reasons: tuple[str, ...]
    unseen: tuple[str, ...] = ()
