"""How long to wait: before a vessel is unclamped, opened or sampled, and behind a filter."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from analytics.core.electrostatics.bounds import number
from analytics.core.electrostatics.relaxation import time_to_fraction
from analytics.core.electrostatics.spread import Spread
from bondtrail.site import StationKind

RELAXATION_TIMES = 3.0
"""So many relaxation times leave a twentieth of the charge: from memory, of several documents."""

LEFT_AT_MOST = 0.001
"""Which share of the charge may be left at the high end: our own choice. [-]"""

OVERSTATED_ABOVE_S = 18.0
"""A relaxation time above that of a hydrocarbon of 1 pS/m is longer than real decay."""

AFTER_FILTER_S = 30.0
"""Behind a filter, for liquids of up to about 50 pS/m: from memory. [s]"""

_VEHICLE = Spread(60, 60, 60, "s", "about 1 min for road and rail vehicles, from memory")
_SMALL = Spread(
    60, 180, 300, "s", "a few minutes by size, from memory; 1, 3 and 5 are our reading of it"
)

AT_REST: Mapping[StationKind, Spread] = MappingProxyType(
    {
        StationKind.ROAD_TANKER: _VEHICLE,
        StationKind.RAIL_TANK_CAR: _VEHICLE,
        StationKind.DRUM: _SMALL,
        StationKind.IBC: _SMALL,
        StationKind.MOBILE_VESSEL: _SMALL,
        StationKind.FLEXIBLE_BULK_BAG: _SMALL,
        StationKind.FIXED_ITEM: Spread(
            60,
            300,
            1800,
            "s",
            "a few minutes by size, about 30 min for tanks above 40 m3, from memory; what lies"
            " between is our reading",
        ),
    }
)
"""Published times of rest by kind of vessel, whatever is in it."""


def waiting_time(kind: StationKind, relaxation_time_s: float | None = None) -> Spread:
    """Return how long to wait after flow before unclamping, opening or sampling. [s]

    Parameters
    ----------
    kind : StationKind
        Of the vessel.
    relaxation_time_s : float or None
        Of the liquid, above 0, infinite for one that does not conduct at all; None for a powder,
        or where it is not known. [s]

    Returns
    -------
    Spread
        The published time of rest of the vessel; at least 3 relaxation times at the typical level,
        and until 0.1 % of the charge is left at the high level. [s]

    Raises
    ------
    ValueError
        If the relaxation time is out of that bound, or no number.

    Notes
    -----
    Below about 1 pS/m charge leaves faster than the relaxation time says, so that the upper levels
    are too long. Mist, foam, water that settles and powder that is not at rest need longer than
    any of these. What a site's own procedure asks for goes before.
    """
    rest = AT_REST[kind]
    if relaxation_time_s is None:
        return rest
    tau = number("relaxation_time_s", relaxation_time_s, "s", above=0, infinite=True)
    typical = max(rest.typical, RELAXATION_TIMES * tau)
    faster = "; below about 1 pS/m charge leaves faster" if tau > OVERSTATED_ABOVE_S else ""
    return Spread(
        rest.low,
        typical,
        max(rest.high, typical, float(time_to_fraction(LEFT_AT_MOST, tau))),
        "s",
        f"{rest.source}; at least 3 relaxation times (from memory), and until 0.1 % of the charge"
        f" is left at the high level (our choice){faster}",
    )


def residence_after_filter(relaxation_time_s: float | None = None) -> Spread:
    """Return how long a liquid is to stay in bonded pipe between a filter and the vessel. [s]

    Parameters
    ----------
    relaxation_time_s : float or None
        Of the liquid, above 0, infinite for one that does not conduct at all; None where it is
        not known. [s]

    Returns
    -------
    Spread
        Between the two published rules: 30 s, and 3 relaxation times. [s]

    Raises
    ------
    ValueError
        If the relaxation time is out of that bound, or no number.

    Notes
    -----
    The 30 s are for liquids of up to about 50 pS/m. Behind a microfilter conductivity may be a
    third or a quarter of that at rest, and the residence has to be longer by as much.
    """
    source = "30 s, or 3 relaxation times, by document; from memory"
    if relaxation_time_s is None:
        return Spread.of(AFTER_FILTER_S, "s", source)
    tau = number("relaxation_time_s", relaxation_time_s, "s", above=0, infinite=True)
    low, high = sorted((AFTER_FILTER_S, RELAXATION_TIMES * tau))
    return Spread(low, AFTER_FILTER_S, high, "s", source)
