"""How fast a liquid may flow, by the limits that have been published."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from analytics.core.electrostatics.bounds import number
from analytics.core.electrostatics.conductivity import ConductivityClass
from analytics.core.electrostatics.spread import Spread
from bondtrail.site import StationKind

CAP_M_S = 7.0
"""No faster, whatever the bore: IEC TS 60079-32-1, API RP 2003 and others, from memory. [m/s]"""

VELOCITY_BORE: Mapping[StationKind, Spread] = MappingProxyType(
    {
        StationKind.ROAD_TANKER: Spread(
            0.35,
            0.5,
            0.5,
            "m2/s",
            "velocity times bore at road tankers: 0.5; 0.35 or 0.38 for liquids of low sulfur"
            " without an additive; IEC TS 60079-32-1 and API RP 2003, from memory",
        ),
        StationKind.RAIL_TANK_CAR: Spread(
            0.75,
            0.75,
            0.8,
            "m2/s",
            "velocity times bore at rail tank cars: 0.75 by IEC TS 60079-32-1 and CLC/TR, 0.8 by"
            " API RP 2003 and NFPA 77, from memory",
        ),
    }
)
"""Velocity times bore may not exceed this with liquids of low conductivity; by kind of vessel."""

START_OF_FILLING_M_S = 1.0
"""Until the outlet is covered, by 0.6 m or twice the bore; for liquids of low conductivity, and
for those with a second phase such as water in them: from memory. [m/s]"""


def velocity_limit(
    kind: StationKind, diameter_m: float, conductivity_class: ConductivityClass | None
) -> Spread:
    """Return the published limit of velocity in the pipe. [m/s]

    Parameters
    ----------
    kind : StationKind
        Of the vessel that is filled.
    diameter_m : float
        The bore of the narrowest pipe before it, above 0. [m]
    conductivity_class : {"low", "medium", "high"} or None
        Of the liquid; one that is not known is taken as low.

    Returns
    -------
    Spread
        From the strictest recalled edition to the most lenient: of the levels of the hazard, the
        high one goes by the strictest. [m/s]

    Raises
    ------
    ValueError
        If the bore is out of that bound, or no number.

    Notes
    -----
    ``min(7, (v d) / d)`` for road and rail vehicles and liquids of low conductivity; else 7 m/s,
    the general cap: other vessels have their own rules, by size. A slower flow is no proof of
    anything: the limits are for one clean liquid, filled from below, without a filter close by.

    References
    ----------
    .. [1] As `VELOCITY_BORE` says.
    """
    bore = number("diameter_m", diameter_m, "m", above=0)
    if kind not in VELOCITY_BORE or conductivity_class in ("medium", "high"):
        return Spread.of(CAP_M_S, "m/s", "general cap of 7 m/s, from memory")
    rule = VELOCITY_BORE[kind]
    low, typical, high = (min(CAP_M_S, v / bore) for v in (rule.low, rule.typical, rule.high))
    return Spread(low, typical, high, "m/s", f"{rule.source}; never above 7 m/s")
