"""What a station can and cannot be judged on with the points that its site file gives it.

A gap is not a fault: it says which questions the readings cannot answer, so that an absent
finding is not taken for a good sign.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from enum import StrEnum

from bondtrail.site import Product, Role, Station

CONTACT_ROLES = (Role.PERMISSIVE, Role.RUNNING, Role.BYPASS)
SHORT_FOR_A_CONTACT_S = 60.0
"""Contacts are mostly recorded on change, with a heartbeat of minutes to hours."""
LONG_FOR_A_BOND_S = 3600.0
UNKNOWN = "no resistance, status or permissive tells the bond"


class Reach(StrEnum):
    """How far a station can be judged on something."""

    FULL = "yes"
    PART = "in part"
    NONE = "no"


@dataclass(frozen=True, slots=True)
class Judgement:
    """How far a station can be judged on one thing.

    Attributes
    ----------
    about : str
        The thing, such as ``transfers``.
    reach : Reach
        How far.
    reason : str
        What limits it; empty where nothing does.
    add : str
        What to add or change in the site file; empty where there is nothing to add.
    """

    about: str
    reach: Reach
    reason: str = ""
    add: str = ""


def judgement(station: Station) -> list[Judgement]:
    """Return what a station can and cannot be judged on, the most basic first."""
    questions = (_bond, _resistance, _hookups, _isolation, _transfers, _volume, _trips)
    found = [answer(station) for answer in (*questions, _mismatch, _bypass, _release)]
    return [item for item in found if item is not None] + list(_timing(station))


def estimate_reach(
    station: Station, product: Product | None, tabled: Collection[str] = ()
) -> Judgement:
    """Return whether the hazard estimate of a replay is possible, and what would narrow it.

    Parameters
    ----------
    station : Station
        Where something flows.
    product : Product or None
        What flows there as a rule; None where only tickets tell.
    tabled : collection of str
        Which properties of the product, by their keys, the table of substances has.
    """
    about = "hazard estimate"
    powder = _handles_powder(station, product)
    if missing := _wanting(station, product, powder=powder):
        return Judgement(about, Reach.NONE, *missing)
    if product is None:
        reason = "no product: only of transfers whose ticket names one that is known"
        return Judgement(about, Reach.PART, reason, "product")
    told = {*tabled, *product.model_dump(exclude_none=True)}
    wider = [*_widening(station, powder=powder), *_untold(told, powder=powder)]
    if not wider:
        return Judgement(about, Reach.FULL)
    reason = "a wide spread, or no figure, in place of what the site file leaves out"
    return Judgement(about, Reach.PART, reason, ", ".join(wider))


def _handles_powder(station: Station, product: Product | None) -> bool:
    if product is not None:
        return product.phase == "powder"
    return "kg" in (station.volume_unit, station.rated_unit)


def _wanting(station: Station, product: Product | None, *, powder: bool) -> tuple[str, str] | None:
    """Return why no charge can be reckoned and what to add; None where it can."""
    if not station.tells_flow:
        return "no flow and no running: nothing tells what comes in", "a flow or a running point"
    if Role.FLOW not in station.points and station.rated_flow is None:
        return "running alone does not tell how much comes in", "rated_flow, or a flow point"
    if not powder and station.pipe_diameter_m is None:
        return "no bore: nothing tells how fast the liquid is", "pipe_diameter_m"
    if powder and station.operation is None and (product is None or product.charge_uC_kg is None):
        why = "nothing tells what the powder carries"
        return why, "operation, or charge_uC_kg of the product"
    return None


def _widening(station: Station, *, powder: bool) -> Iterator[str]:
    """Yield what a station leaves to a spread."""
    if station.bond_role is not Role.RESISTANCE:
        yield "a resistance point"
    if not powder and station.pipe_length_m is None:
        yield "pipe_length_m"
    if station.capacitance_pF is None:
        yield "capacitance_pF"


def _untold(told: Collection[str], *, powder: bool) -> Iterator[str]:
    """Yield which properties of the product are not known."""
    of_liquid = () if powder else ("conductivity_pS_m", "relative_permittivity")
    for key in (*of_liquid, "mie_mJ"):
        if key not in told:
            yield f"{key} of the product"


def _bond(station: Station) -> Judgement:
    about = "bond"
    match station.bond_role:
        case Role.RESISTANCE:
            return Judgement(about, Reach.FULL)
        case Role.STATUS:
            reason = "read from the monitor's status: its limit is the monitor's, not the site's"
            return Judgement(about, Reach.PART, reason, "a resistance point")
        case Role.PERMISSIVE:
            reason = "read from the permissive alone, so nothing can check the permissive itself"
            return Judgement(about, Reach.PART, reason, "a resistance or a status point")
        case _:
            return Judgement(about, Reach.NONE, UNKNOWN, "a resistance point")


def _resistance(station: Station) -> Judgement:
    about = "resistance figures"
    if Role.RESISTANCE in station.points:
        return Judgement(about, Reach.FULL)
    reason = "no resistance: no lowest or median ohm, no cause of a failed hookup, none marginal"
    return Judgement(about, Reach.NONE, reason, "a resistance point")


def _hookups(station: Station) -> Judgement:
    about = "hookups"
    if station.is_fixed:
        return Judgement(about, Reach.NONE, "a fixed item is never hooked up")
    if station.bond_role is None:
        return Judgement(about, Reach.NONE, UNKNOWN, "a resistance point")
    if station.bond_role is Role.RESISTANCE:
        return Judgement(about, Reach.FULL)
    reason = "first contact is seen only once it is a good one: few hookups will show as failed"
    return Judgement(about, Reach.PART, reason, "a resistance point")


def _isolation(station: Station) -> Judgement | None:
    about = "isolation of a fixed item"
    if not station.is_fixed:
        return None
    if station.bond_role is None:
        return Judgement(about, Reach.NONE, UNKNOWN, "a resistance point")
    if station.tells_flow:
        return Judgement(about, Reach.FULL)
    reason = "nothing tells whether it ran while isolated: never critical, only major"
    return Judgement(about, Reach.PART, reason, "a running or a flow point")


def _transfers(station: Station) -> Judgement:
    about = "transfers"
    if not station.tells_flow:
        reason = "no flow and no running: no transfers, no exposures, no trips, no compliance"
        return Judgement(about, Reach.NONE, reason, "a flow or a running point")
    if station.bond_role is None:
        reason = "the bond is unknown: every transfer is no_data throughout"
        return Judgement(about, Reach.PART, reason, "a resistance point")
    return Judgement(about, Reach.FULL)


def _volume(station: Station) -> Judgement | None:
    if not station.tells_flow:
        return None
    if station.volume_unit is not None:
        return Judgement("volume", Reach.FULL)
    reason = "running alone does not tell how much flowed"
    return Judgement("volume", Reach.NONE, reason, "a flow point")


def _trips(station: Station) -> Judgement | None:
    about = "trips"
    if not station.tells_flow:
        return None
    if station.bond_role is None:
        reason = "neither the permissive nor the bond is recorded"
        return Judgement(about, Reach.NONE, reason, "a permissive and a resistance point")
    if station.bond_role is Role.PERMISSIVE:
        reason = "the permissive explains itself: a nuisance trip looks like a genuine one"
        return Judgement(about, Reach.PART, reason, "a resistance or a status point")
    if Role.PERMISSIVE not in station.points:
        reason = "no permissive: only those after a loss of a verified bond are seen"
        return Judgement(about, Reach.PART, reason, "a permissive point")
    if Role.STATUS not in station.points:
        reason = "no status: a fault of the monitor is seen only as bad quality"
        return Judgement(about, Reach.PART, reason, "a status point")
    return Judgement(about, Reach.FULL)


def _mismatch(station: Station) -> Judgement | None:
    about = "permissive against bond"
    if station.is_fixed and Role.PERMISSIVE not in station.points:
        return None  # plant that no interlock need wait for
    if Role.PERMISSIVE not in station.points:
        reason = "no permissive: no permissive_without_bond, no permissive_withheld"
        return Judgement(about, Reach.NONE, reason, "a permissive point")
    if station.bond_role is Role.PERMISSIVE:
        reason = "no resistance and no status to hold the permissive against"
        return Judgement(about, Reach.NONE, reason, "a resistance or a status point")
    return Judgement(about, Reach.FULL)


def _bypass(station: Station) -> Judgement | None:
    if not station.tells_flow or (station.is_fixed and Role.PERMISSIVE not in station.points):
        return None
    if Role.BYPASS in station.points:
        return Judgement("bypass", Reach.FULL)
    reason = "no bypass: flow with the interlock defeated is not seen as such"
    return Judgement("bypass", Reach.NONE, reason, "a bypass point")


def _release(station: Station) -> Judgement | None:
    about = "early release"
    if station.is_fixed or not station.tells_flow or station.bond_role is None:
        return None
    if station.limits.release_wait_s > 0:
        return Judgement(about, Reach.FULL)
    return Judgement(
        about,
        Reach.NONE,
        "release_wait_s is 0: no wait is asked for",
        "release_wait_s, where a wait is the rule",
    )


def _timing(station: Station) -> Iterator[Judgement]:
    """Yield where a point's stale_after_s leaves too much unknown."""
    for role, point in station.points.items():
        stale = point.stale_after_s
        if role in CONTACT_ROLES and stale < SHORT_FOR_A_CONTACT_S:
            reason = f"a reading holds {stale:g} s: unknown for long if recorded on change only"
            add = "stale_after_s longer than its heartbeat"
            yield Judgement(f"{role} between changes", Reach.PART, reason, add)
        if point.interval_s is not None and point.interval_s >= stale:
            reason = f"a reading holds {stale:g} s, but is looked for every {point.interval_s:g} s"
            add = "stale_after_s longer than interval_s"
            yield Judgement(f"{role} between readings", Reach.PART, reason, add)
    if station.bond_role is not None:
        yield from _hold(station, station.points[station.bond_role].stale_after_s)


def _hold(station: Station, stale_s: float) -> Iterator[Judgement]:
    hold_s = station.limits.hold_s
    if stale_s <= hold_s:
        reason = f"a reading holds {stale_s:g} s, the hold is {hold_s:g} s: more than one is needed"
        add = f"stale_after_s above {hold_s:g}, unless readings come faster than that"
        yield Judgement("verified bond", Reach.PART, reason, add)
    if stale_s > LONG_FOR_A_BOND_S and station.bond_role is Role.RESISTANCE:
        reason = f"a reading holds {stale_s:g} s: a shorter outage passes for an unchanged bond"
        add = "stale_after_s nearer to how often it is recorded"
        yield Judgement("outages of the data", Reach.PART, reason, add)
