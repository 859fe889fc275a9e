"""Exposures: stretches of flow with no verified bond, with no data, or under a bypass."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analytics.core.situation import Situation
from analytics.core.spans import Mask, Spans, lengths, total, within
from analytics.core.transfers import FlowRuns


@dataclass(frozen=True, slots=True, eq=False)
class Exposures:
    """Where flow ran without a verified bond, over a whole situation or within one transfer.

    Attributes
    ----------
    not_bonded, no_data, bypassed : ndarray of int64, shape (n, 2)
        Flow on and the bond known but not verified; the bond unknown; the bypass on. [ns]
    """

    not_bonded: Spans
    no_data: Spans
    bypassed: Spans


def exposures(now: Situation, flowing: Mask) -> Exposures:
    """Return the exposures of a situation; ``flowing`` is its flow that belongs to transfers."""
    return Exposures(
        not_bonded=now.where(flowing & now.bond_known & ~now.is_verified),
        no_data=now.where(flowing & ~now.bond_known),
        bypassed=now.where(flowing & now.bypassed),
    )


@dataclass(frozen=True, slots=True)
class Flaw:
    """A stretch of flow without its bond: where it is seen and how long it is known. [ns]"""

    start: int
    end: int
    known: int


def unbonded_starts(
    transfer: FlowRuns, verified: Spans, not_bonded: Spans, losses: Spans, allowance_ns: int
) -> list[Flaw]:
    """Return the runs that begin not bonded and stay so longer than the allowance.

    Parameters
    ----------
    transfer : FlowRuns
        Only its first run and runs after a pause can begin unbonded.
    verified, not_bonded : ndarray of int64, shape (n, 2)
        Where the bond is verified; where the transfer flows with the bond known but not
        verified. Only the latter counts towards the allowance: unknown counts neither way. [ns]
    losses : ndarray of int64, shape (m, 2)
        A run that begins unknown and then shows a loss lost its bond: it did not begin without.
    allowance_ns : int
        Exceeded, not reached. [ns]
    """
    if total(not_bonded) <= allowance_ns:
        return []
    found = []
    for start, end in transfer.runs[transfer.opens].tolist():
        piece = unverified_from(start, end, verified)
        bad = within(not_bonded, start, piece)
        if total(bad) > allowance_ns and not _begins_with_loss(bad, losses, start):
            found.append(Flaw(start, int(bad[-1, 1]), total(bad)))
    return found


def losses_in_flow(
    transfer: FlowRuns,
    verified: Spans,
    not_bonded: Spans,
    losses: Spans,
    not_low: Spans,
    allowance_ns: int,
) -> list[Flaw]:
    """Return where the bond was lost in flow and flow went on longer than the allowance.

    Parameters
    ----------
    transfer : FlowRuns
        A run that follows only unknown flow counts as going on.
    verified, not_bonded, losses : ndarray of int64, shape (n, 2)
        As for `unbonded_starts`. [ns]
    not_low : ndarray of int64, shape (m, 2)
        Where the bond is known and not low. [ns]
    allowance_ns : int
        Exceeded, not reached, by the known time without a verified bond from the loss on. [ns]
    """
    if total(not_bonded) <= allowance_ns:
        return []
    found = []
    for (run_start, run_end), opens in zip(transfer.runs.tolist(), transfer.opens, strict=True):
        for start, end in _unverified(run_start, run_end, verified):
            begun = within(not_bonded, start, end)
            if start == run_start and opens and not _begins_with_loss(begun, losses, start):
                continue
            lost = within(not_low, start, end)
            if not len(lost):
                continue
            bad = within(not_bonded, int(lost[0, 0]), end)
            if total(bad) > allowance_ns:
                found.append(Flaw(int(lost[0, 0]), int(bad[-1, 1]), total(bad)))
    return found


def longer_than(spans: Spans, allowance_ns: int) -> Spans:
    """Return the spans that exceed an allowance. [ns]"""
    return spans[lengths(spans) > allowance_ns]


def unverified_from(start: int, end: int, verified: Spans) -> int:
    """Return where, from ``start`` on, the bond is first verified; at the latest ``end``. [ns]"""
    index = int(verified[:, 1].searchsorted(start, side="right"))
    if index == len(verified):
        return end
    return min(max(int(verified[index, 0]), start), end)


def _unverified(start: int, end: int, verified: Spans) -> list[tuple[int, int]]:
    """Return the parts of a run in which the bond is not verified."""
    held = within(verified, start, end)
    edges = np.concatenate(([start], held.ravel(), [end])).reshape(-1, 2)
    return [(a, b) for a, b in edges.tolist() if a < b]


def _begins_with_loss(not_bonded: Spans, losses: Spans, start: int) -> bool:
    """Return whether the first that is known after an unknown beginning is a loss of bond."""
    if not len(not_bonded) or not_bonded[0, 0] == start:
        return False
    return bool(np.isin(not_bonded[0, 0], losses[:, 0]))
