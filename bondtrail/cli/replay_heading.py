"""What the heading of a replay says of bond, bypass, volume and findings, in one line each."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bondtrail.cli.output import counted, length, site_time

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from analytics.replay import Replay
    from analytics.replay.heading import Heading
    from bondtrail.results import Transfer

ANALYSE = "bondtrail analyse"


def bond_told(said: Heading, transfer: Transfer) -> str:
    """Return what is known of the bond of a transfer, and of its bypass."""
    return (
        f"{said.bond}; in flow not bonded for {length(transfer.not_bonded_s)}, "
        f"unknown for {length(transfer.no_data_s)}; {said.bypass}; "
        f"{counted(transfer.trips, 'trip')}"
    )


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
