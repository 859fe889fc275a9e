"""Where readings lack that may have been removed: there, results need not come out of the rest."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from analytics.core.silences import Told, told
from analytics.evidence.faults import EvidenceError
from analytics.evidence.left import Left, Span
from analytics.evidence.rerun import Difference
from bondtrail.results import Transfer
from bondtrail.samples import Samples
from bondtrail.site import Role
from bondtrail.times import NS_PER_S, format_time, nanoseconds
from store import DamageError

NEAR_NS = 3600 * NS_PER_S
"""So far from where readings lack a result may be another one for it. [ns]"""


def lacking(
    left: Left,
    window: Span,
    readings: Mapping[Role, tuple[Samples, int]],
    heard: Mapping[Role, Span],
    damage: Iterable[DamageError],
) -> list[Span]:
    """Return where readings lack that may have been removed. [ns]

    Parameters
    ----------
    left : Left
        What is left: where that was cut, readings lack too.
    window : (int, int)
        Where to look, and as it begins; nothing was removed from ``left.kept`` on. [ns]
    readings : mapping of Role to (Samples, int)
        Of the points of the station, with how long each of them holds. [ns]
    heard : mapping of Role to (int, int)
        When the first and the last reading of each point are: the last is never removed. [ns]
    damage : iterable of DamageError
        Of stored readings: a silence over them is theirs.
    """
    damaged = list(damage)
    found = [(cut, cut) for cut in (left.start, left.end) if cut is not None]
    for role, (samples, stale) in readings.items():
        end = min(window[1], left.kept, heard.get(role, (0, window[0]))[1])
        if window[0] < end:
            silent = told(samples, stale, (window[0] - 1, end)).where(Told.SILENT)
            found += [span for span in _pairs(silent.tolist()) if not _is_damage(span, damaged)]
    return found


def _pairs(spans: Iterable[Sequence[int]]) -> Iterator[Span]:
    return ((start, end) for start, end in spans)


def _is_damage(span: Span, damaged: Iterable[DamageError]) -> bool:
    """Tell whether damaged readings lie in a span, of whichever point."""
    return any(
        each.part in ("segment", "journal") and each.start < span[1] and each.end > span[0]
        for each in damaged
    )


def narrower(
    left: Left,
    transfer: Transfer,
    replayed: Span,
    differences: Iterable[Difference],
    lacks: Sequence[Span],
    late: int,
) -> Left:
    """Return what is left without that whose results its readings do not give for want of others.

    What they contradict although none lack stays: it is to be told.

    Parameters
    ----------
    left : Left
        What is left of the readings around a transfer from before the floor.
    transfer : Transfer
        None of its own readings are left out.
    replayed : (int, int)
        What is replayed of it: what is left out beside it are whole results, where it can be. [ns]
    differences : iterable of Difference
        Where the rules do not give the results again.
    lacks : sequence of (int, int)
        Where readings lack. [ns]
    late : int
        How many readings came for before the floor since: nobody has judged them, and results
        that they contradict are not told as wrong.

    Raises
    ------
    EvidenceError
        If a part of the transfer's own readings lacks, or came late, so that its results do not
        come out.
    """
    below = (each for each in differences if not each.beyond and each.span[0] < left.since)
    gone = [(each, near) for each in below if (near := _beside(each, lacks)) or late]
    if not gone:
        return left
    own = min(transfer.start, replayed[0]), max(transfer.end, replayed[1])
    found = left.without((each.span for each, _ in gone), own)
    if found == left:
        around = [span for _, near in gone for span in near if span[0] < span[1]]
        found = left.without(around, (transfer.start, transfer.end))
        if found == left:
            raise _torn(left, transfer, gone[0][0], around, late)
    return found


def _torn(
    left: Left, transfer: Transfer, first: Difference, around: Sequence[Span], late: int
) -> EvidenceError:
    if not around and late:
        return EvidenceError(
            f"{transfer.id}: readings that came late for before {format_time(left.since)} are not "
            f"judged, and with them what was found does not come out: {first}",
            f"What they tell is shown by: bondtrail replay {transfer.id}",
        )
    start = min((each[0] for each in around), default=transfer.start)
    end = max((each[1] for each in around), default=transfer.end)
    return EvidenceError(
        f"{transfer.id}: readings lack between {format_time(start)} and {format_time(end)}, those "
        f"from before {format_time(left.kept)} were removed, and what is left of them does not "
        f"give what was found: {first}",
        "A hold would have kept them: place one while the readings are there, by bondtrail "
        f"evidence ... --hold. What is left is shown by: bondtrail replay {transfer.id}",
    )


def _beside(difference: Difference, lacks: Iterable[Span]) -> list[Span]:
    """Return for want of which readings a result may be another one. [ns]"""
    start, end = difference.span
    end += nanoseconds(difference.row.get("loss_s") or 0.0)  # that of a trip is read to its end
    return [each for each in lacks if each[0] <= end + NEAR_NS and each[1] >= start - NEAR_NS]
