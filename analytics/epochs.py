"""Epochs: stretches of time in which one set of limits holds at a station.

A change of the site file applies from its moment on; history is judged by the limits of its day.
What began under one set of limits is judged by it to the end.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

from analytics.core.days import Episodes
from analytics.core.station import Verdict
from bondtrail.results import NON_COMPLIANT, Alarm, AlarmKind, Finding, Hookup, Kind, Transfer
from bondtrail.site import Limits, Site, Station, same_judgement

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
        Each file with the moment from which it holds, in order. The first to name the station
        holds for all that came before it too: nobody said otherwise of those days. [ns]
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
            found.append(Epoch(start if found else -FOREVER, end, known))
    return found


def limits_at(epochs: Sequence[Epoch], moment: int) -> Limits:
    """Return the limits of the latest epoch to have begun by a moment, else the first's. [ns]"""
    index = bisect_right(epochs, moment, key=lambda epoch: epoch.start) - 1
    return epochs[max(index, 0)].station.limits


OF_TRANSFER = NON_COMPLIANT | {Kind.NUISANCE_TRIP, Kind.EARLY_RELEASE}
"""Kinds of finding that are about a transfer; the others only say in which one they fell."""


def select(verdicts: Sequence[tuple[Epoch, Verdict]], start: int, end: int) -> list[Episodes]:
    """Return for each epoch what began in it and in ``[start, end)``. [ns]

    Trips, and findings about a transfer or a hookup, go with it. What a later epoch sees in the
    midst of something that an earlier one has judged is left to the earlier one.
    """
    chosen: list[Episodes] = []
    for epoch, verdict in verdicts:
        low, high = max(start, epoch.start), min(end, epoch.end)
        every = verdict.episodes
        transfers = _begun(every.transfers, low, high)
        hookups = _begun(every.hookups, low, high)
        found_until = _busy(earlier.findings for earlier in chosen)
        alarmed_until = _busy(earlier.alarms for earlier in chosen)
        for earlier in chosen:
            transfers = _apart(transfers, earlier.transfers)
            hookups = _apart(hookups, earlier.hookups)
        kept = {item.id for item in transfers}
        contacts = {item.start for item in hookups}
        findings = []
        for item in every.findings:
            if item.kind in OF_TRANSFER:
                belongs = item.transfer in kept
            elif item.kind is Kind.FAILED_HOOKUP:
                belongs = item.start in contacts
            else:
                from_then_on = max(low, found_until.get(item.kind, low))
                belongs = from_then_on <= item.start < high
            if belongs:
                findings.append(item)
        chosen.append(
            Episodes(
                transfers=transfers,
                hookups=hookups,
                trips=[trip for trip in every.trips if trip.transfer in kept],
                findings=findings,
                alarms=[
                    alarm
                    for alarm in _begun(every.alarms, low, high)
                    if alarm.start >= alarmed_until.get(alarm.kind, low)
                ],
            )
        )
    return chosen


def merged(parts: Iterable[Episodes]) -> Episodes:
    """Return the episodes of all epochs as one, in order of time.

    Findings and transfers are linked anew where several epochs saw them: each saw its own.
    """
    every = list(parts)
    transfers = [item for part in every for item in part.transfers]
    findings = [item for part in every for item in part.findings]
    if len(every) > 1:
        findings = [_placed(item, transfers) for item in findings]
        transfers = _listing(transfers, findings)
    return Episodes(
        transfers=transfers,
        hookups=[item for part in every for item in part.hookups],
        trips=[item for part in every for item in part.trips],
        findings=sorted(findings, key=lambda item: (item.start, item.kind)),
        alarms=sorted(
            (item for part in every for item in part.alarms),
            key=lambda item: (item.start, item.kind),
        ),
    )


def _placed(finding: Finding, transfers: Sequence[Transfer]) -> Finding:
    """Return a finding that names the earliest transfer in which it fell."""
    if finding.kind in OF_TRANSFER:
        return finding
    index = bisect_right(transfers, finding.start, key=lambda item: item.end)
    until = max(finding.end, finding.start + 1)
    overlaps = index < len(transfers) and transfers[index].start < until
    return replace(finding, transfer=transfers[index].id if overlaps else None)


def _listing(transfers: Sequence[Transfer], findings: Sequence[Finding]) -> list[Transfer]:
    """Return the transfers, each with the ids of the findings that name it."""
    named: dict[str | None, list[str]] = defaultdict(list)
    for item in findings:
        named[item.transfer].append(item.id)
    return [replace(item, findings=tuple(sorted(named[item.id]))) for item in transfers]


_Begun = TypeVar("_Begun", Transfer, Hookup, Alarm)


def _begun(items: Iterable[_Begun], start: int, end: int) -> list[_Begun]:
    return [item for item in items if start <= item.start < end]


def _apart(items: list[_Begun], earlier: Sequence[_Begun]) -> list[_Begun]:
    until = max((item.end for item in earlier), default=-FOREVER)
    return [item for item in items if item.start >= until]


def _busy(parts: Iterable[Sequence[Finding] | Sequence[Alarm]]) -> dict[Kind | AlarmKind, int]:
    """Return until when the last of each kind lasts. [ns]"""
    until: dict[Kind | AlarmKind, int] = {}
    for part in parts:
        for item in part:
            until[item.kind] = max(item.end, until.get(item.kind, -FOREVER))
    return until
