"""What is said first of a transfer: its bond, its bypass and its volume; no more than is known."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from analytics.core.runs import Contact
from analytics.core.spans import intersection, total, within
from analytics.core.wording import duration
from analytics.replay.replayed import Replay
from bondtrail.results import Transfer
from bondtrail.site import Role
from bondtrail.times import nanoseconds, seconds

Length = Callable[[float], str]
"""How a span of time is told. [s]"""


@dataclass(frozen=True, slots=True)
class Heading:
    """A transfer in words.

    Attributes
    ----------
    bond : str
        How the bond was when flow began, or when it was verified.
    bypass : str
        For how long of the flow it was on, and for how long that is not known.
    volume : str
        What flowed, and what of it was not measured; empty without a meter.
    unmeasured : str
        What of the flow was not measured; empty where all of it was, or without a meter.
    """

    bond: str
    bypass: str
    volume: str
    unmeasured: str


def in_words(replay: Replay, transfer: Transfer, length: Length = duration) -> Heading:
    """Return what is known of a transfer, in words.

    Parameters
    ----------
    replay : Replay
        Of the transfer.
    transfer : Transfer
        As the rules judged it.
    length : callable, optional
        Tells a span of time in s; left out, as in the details of events.
    """
    return Heading(
        bond=_bond(replay, transfer, length),
        bypass=_bypass(replay, transfer, length),
        volume=_volume(replay, transfer),
        unmeasured="" if replay.metering is None else replay.metering.words,
    )


def _bond(replay: Replay, transfer: Transfer, length: Length) -> str:
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
    return seconds(total(within(replay.now.where(~replay.now.bond_known), start, end)))


def _bypass(replay: Replay, transfer: Transfer, length: Length) -> str:
    if Role.BYPASS not in replay.station.points:
        return "bypass not recorded"
    untold = intersection(
        replay.now.where(replay.now.flowing), replay.now.bypass.where(Contact.UNKNOWN)
    )
    unknown = seconds(total(within(untold, transfer.start, transfer.end)))
    if not unknown:
        return f"bypassed for {length(transfer.bypassed_s)}"
    if unknown >= transfer.flow_s:
        return "bypass not known"
    return f"bypassed for {length(transfer.bypassed_s)}, bypass unknown for {length(unknown)}"


def _volume(replay: Replay, transfer: Transfer) -> str:
    if transfer.volume is None:
        return ""
    metering = replay.metering
    if metering is None or metering.is_whole:
        return _amount(transfer.volume, transfer.unit)
    if metering.is_none:
        return f"volume not known: {metering.words}"
    return f"at least {_amount(math.floor(transfer.volume), transfer.unit)}: {metering.words}"


def _amount(volume: float, unit: str | None) -> str:
    told = f"{volume:.3g}" if 0 < volume < 100 else f"{volume:,.0f}"
    return f"{told} {unit}" if unit else told
