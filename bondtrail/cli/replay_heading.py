"""What the heading of a replay says of bond, bypass, volume and findings: no more than is known."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from bondtrail.cli.output import amount, counted, length, site_time
from bondtrail.times import NS_PER_S, nanoseconds

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from analytics.replay import Replay
    from bondtrail.results import Transfer

ANALYSE = "bondtrail analyse"


def bond_told(replay: Replay, transfer: Transfer) -> str:
    """Return what is known of the bond of a transfer, and of its bypass."""
    return (
        f"{_first(replay, transfer)}; in flow not bonded for {length(transfer.not_bonded_s)}, "
        f"unknown for {length(transfer.no_data_s)}; {_bypass(replay, transfer)}; "
        f"{counted(transfer.trips, 'trip')}"
    )


def _first(replay: Replay, transfer: Transfer) -> str:
    """Return how the bond was when flow began, or when it was verified."""
    if replay.station.is_fixed:
        return f"{_state(replay, transfer.start)} when the flow began"
    lead = transfer.bond_lead_s
    if lead is None:
        return _never(transfer)
    if lead >= 0:
        return f"verified {length(lead)} before the flow began"
    until = transfer.start + nanoseconds(-lead)
    unknown = _unknown_s(replay, transfer.start, until)
    besides = f", not known for {length(unknown)} until then" if unknown else ""
    return f"verified {length(-lead)} after the flow began{besides}"


def _state(replay: Replay, moment: int) -> str:
    at = int(replay.now.edges.searchsorted(moment, side="right")) - 1
    if replay.now.is_verified[at]:
        return "verified"
    return "not verified" if replay.now.bond_known[at] else "not known"


def _never(transfer: Transfer) -> str:
    if not transfer.no_data_s:
        return "not verified when the flow began, nor at any time in it"
    if transfer.no_data_s >= transfer.flow_s:
        return "not known at any time in the flow"
    return "not seen verified when the flow began, nor where it is known in it"


def _unknown_s(replay: Replay, start: int, end: int) -> float:
    from analytics.core.spans import total, within

    return total(within(replay.now.where(~replay.now.bond_known), start, end)) / NS_PER_S


def _bypass(replay: Replay, transfer: Transfer) -> str:
    """Return for how long it was on, and for how long that is not known."""
    from analytics.core.runs import Contact
    from analytics.core.spans import intersection, total, within
    from bondtrail.site import Role

    if Role.BYPASS not in replay.station.points:
        return "bypass not recorded"
    untold = intersection(
        replay.now.where(replay.now.flowing), replay.now.bypass.where(Contact.UNKNOWN)
    )
    unknown = total(within(untold, transfer.start, transfer.end)) / NS_PER_S
    if not unknown:
        return f"bypassed for {length(transfer.bypassed_s)}"
    if unknown >= transfer.flow_s:
        return "bypass not known"
    return f"bypassed for {length(transfer.bypassed_s)}, bypass unknown for {length(unknown)}"


def volume_told(replay: Replay, transfer: Transfer) -> str:
    """Return what flowed and what of it was not measured; empty without a meter."""
    if transfer.volume is None:
        return ""
    metering = replay.metering
    if metering is None or metering.is_whole:
        return amount(transfer.volume, transfer.unit)
    if metering.is_none:
        return f"volume not known: {metering.words}"
    return f"at least {amount(math.floor(transfer.volume), transfer.unit)}: {metering.words}"


def findings_told(replay: Replay, zone: ZoneInfo) -> str:
    """Return what was found in the span, and whether that is all that can be."""
    kinds = [f"{each.severity} {each.kind.replace('_', ' ')}" for each in replay.findings]
    told = ", ".join(dict.fromkeys(kinds)) if kinds else "none in the span"
    if replay.transfer is not None:
        told += f"; the transfer is {'' if replay.transfer.compliant else 'NOT '}compliant"
    if not replay.waiting:
        return told
    since = min((m.start for m in replay.missing if m.about == "results"), default=replay.start)
    if since > replay.start:
        return f"{told}; from {site_time(since, zone)} on not analysed yet: {ANALYSE}"
    if kinds or replay.transfer is not None:
        return f"{told}, by an analysis before its last readings came: {ANALYSE}"
    return f"not analysed yet: {ANALYSE}"
