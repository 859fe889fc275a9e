"""How far readings tell of a transfer: cut within a pause, the rest of a bad one looks whole.

Flow that resumes soon enough is of the same transfer. So a record has to tell the flow for so long
behind a transfer, and before it, or nobody can say whether that was all of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

import numpy as np

from analytics.core.case import Case
from analytics.core.runs import Contact
from analytics.core.spans import Spans, lengths, within
from analytics.core.station import Verdict
from analytics.evidence.rows import Plain
from bondtrail.site import Limits
from bondtrail.times import nanoseconds


def needed(transfer: tuple[int, int], limits: Limits) -> tuple[int, int]:
    """Return between which moments the flow must be known to tell that a transfer is whole. [ns]"""
    resume = max(nanoseconds(limits.resume_within_s), 1)
    return transfer[0] - resume, transfer[1] + resume


def untold(verdict: Verdict) -> Iterator[tuple[str, str]]:
    """Yield the ids of the transfers of which it is not known whether they are whole, and why."""
    for transfer in verdict.case.transfers:
        why = " and ".join(_untold(verdict.case, transfer.start, transfer.end))
        if why:
            yield verdict.case.transfer_id(transfer), why


def _untold(case: Case, start: int, end: int) -> Iterator[str]:
    first, last = needed((start, end), case.limits)
    before, behind = _gaps(case, first, start), _gaps(case, end, last)
    pause = f"{case.limits.resume_within_s:g} s"
    if first in before[:, 0] or _is_long(before, case.limits):
        yield f"whether it had begun before: the flow is not known for all of {pause} before it"
    if last in behind[:, 1] or _is_long(behind, case.limits):
        yield f"whether it went on: the flow is not known for all of {pause} after it"


def _gaps(case: Case, start: int, end: int) -> Spans:
    """Return where in a stretch the flow is not known, though nothing be recorded there. [ns]"""
    known = within(case.now.flow.where(Contact.ON, Contact.OFF), start, end)
    edges = np.concatenate(([start], known.ravel(), [end])).reshape(-1, 2)
    return edges[edges[:, 1] > edges[:, 0]]


def _is_long(gaps: Spans, limits: Limits) -> bool:
    """Tell whether any is longer than the bond may be unknown in flow."""
    return bool((lengths(gaps) > nanoseconds(limits.nodata_allowance_s)).any())


def last_reading(verdicts: Iterable[Verdict]) -> int | None:
    """Return when the last reading of any point is, or None where there are none. [ns]"""
    return max(
        (
            int(line.time[-1])
            for verdict in verdicts
            for line in verdict.case.signals.values()
            if len(line)
        ),
        default=None,
    )


def outlives(row: Plain, last: int | None) -> bool:
    """Tell whether a hookup ends after the last reading: nothing shows that it did. [ns]"""
    return last is not None and row["end_ns"] > last


Untold = Mapping[str, str]
"""Of which transfers the readings do not tell whether they are whole: by their id, and why."""
