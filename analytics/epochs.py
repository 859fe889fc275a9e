"""Epochs: stretches of time in which one set of limits holds at a station.

A change of the site file applies from its moment on; history is judged by the limits of its day.
What began under one set of limits is judged by it to the end.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

from analytics.core.days import Episodes
from analytics.core.station import Verdict
from bondtrail.results import Finding, Hookup, Transfer
from bondtrail.site import Site, Station, same_judgement

FOREVER = 2**63 - 1


@dataclass(frozen=True, slots=True)
class Epoch:
    """A station as it is judged from ``start`` to ``end``. [ns]"""

    start: int
    end: int
    station: Station


def epochs_of(station: str, sites: Sequence[tuple[int, Site]]) -> list[Epoch]:
    """Return the epochs of a station; files that judge it alike are one.

    Parameters
    ----------
    station : str
        Its id. Where a file does not name it, it has no epoch.
    sites : sequence of (int, Site)
        Each file with the moment from which it holds, in order; the first holds for all that
        came before it too. [ns]
    """
    found: list[Epoch] = []
    for index, (start, site) in enumerate(sites):
        end = sites[index + 1][0] if index + 1 < len(sites) else FOREVER
        known = next((item for item in site.stations if item.id == station), None)
        if known is None:
            continue
        last = found[-1] if found else None
        if last and last.end == start and same_judgement(last.station, known):
            # The newer file may still rename what the rules do not look at.
            found[-1] = Epoch(last.start, end, known)
        else:
            found.append(Epoch(start if index else -FOREVER, end, known))
    return found


def select(verdicts: Sequence[tuple[Epoch, Verdict]], start: int, end: int) -> list[Episodes]:
    """Return for each epoch what began in it and in ``[start, end)``. [ns]

    Trips go with their transfer, and so do findings that begin during it. What a later epoch sees
    in the midst of something that an earlier one has judged is left to the earlier one.
    """
    chosen: list[Episodes] = []
    for epoch, verdict in verdicts:
        low, high = max(start, epoch.start), min(end, epoch.end)
        every = verdict.episodes
        transfers = _begun(every.transfers, low, high)
        hookups = _begun(every.hookups, low, high)
        loose = _begun(_outside(every.findings, every.transfers), low, high)
        for earlier in chosen:
            transfers = _apart(transfers, earlier.transfers)
            hookups = _apart(hookups, earlier.hookups)
            loose = [item for item in loose if not _repeats(item, earlier.findings)]
        kept = {item.id for item in transfers}
        named = _inside(every.findings, transfers)
        chosen.append(
            replace(
                every,
                transfers=transfers,
                hookups=hookups,
                trips=[trip for trip in every.trips if trip.transfer in kept],
                findings=sorted([*loose, *named], key=lambda item: (item.start, item.kind)),
            )
        )
    return chosen


def merged(parts: Iterable[Episodes]) -> Episodes:
    """Return the episodes of all epochs as one, in order of time.

    Findings and transfers that different epochs saw are linked anew: each sees its own transfers.
    """
    every = list(parts)
    transfers = [item for part in every for item in part.transfers]
    findings = [item for part in every for item in part.findings]
    if len(every) > 1:
        transfers, findings = _linked(transfers, findings)
    return Episodes(
        transfers=transfers,
        hookups=[item for part in every for item in part.hookups],
        trips=[item for part in every for item in part.trips],
        findings=sorted(findings, key=lambda item: (item.start, item.kind)),
        alarms={},
    )


def _linked(
    transfers: list[Transfer], findings: list[Finding]
) -> tuple[list[Transfer], list[Finding]]:
    there = {item.id for item in transfers}
    findings = [
        item if item.transfer in there else replace(item, transfer=None) for item in findings
    ]
    named: dict[str | None, list[str]] = defaultdict(list)
    for item in findings:
        named[item.transfer].append(item.id)
    linked = [replace(item, findings=tuple(sorted(named[item.id]))) for item in transfers]
    return linked, findings


def _inside(findings: Iterable[Finding], transfers: Iterable[Transfer]) -> list[Finding]:
    """Return the findings that begin during the transfer that they name."""
    began = {item.id: item.start for item in transfers}
    return [item for item in findings if item.start >= began.get(item.transfer or "", FOREVER)]


def _outside(findings: Iterable[Finding], transfers: Iterable[Transfer]) -> list[Finding]:
    """Return the findings that name no transfer, or begin before it does."""
    began = {item.id: item.start for item in transfers}
    return [item for item in findings if item.start < began.get(item.transfer or "", FOREVER)]


_Begun = TypeVar("_Begun", Transfer, Hookup, Finding)


def _begun(items: Iterable[_Begun], start: int, end: int) -> list[_Begun]:
    return [item for item in items if start <= item.start < end]


def _apart(items: list[_Begun], earlier: Sequence[_Begun]) -> list[_Begun]:
    until = max((item.end for item in earlier), default=-FOREVER)
    return [item for item in items if item.start >= until]


def _repeats(item: Finding, earlier: Sequence[Finding]) -> bool:
    return any(
        other.kind is item.kind and other.start < item.end and other.end > item.start
        for other in earlier
    )
