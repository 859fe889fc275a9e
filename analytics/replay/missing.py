"""What is not known of a span: points that a station lacks, silences, damage, papers, results."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import groupby
from operator import attrgetter

import numpy as np

from analytics.core.metering import Metering
from analytics.core.resolution import reports_on_change
from analytics.core.runs import Timeline
from analytics.core.silences import Told, told
from analytics.core.situation import Signals
from analytics.replay.replayed import Missing, Replacement
from bondtrail.coverage import Reach, judgement
from bondtrail.results import Reject, Ticket, Transfer
from bondtrail.samples import Quality, Samples
from bondtrail.site import Role, Station
from bondtrail.times import NS_PER_MS, format_time, nanoseconds
from store import DamageError

ASKED = ("bond", "resistance figures", "transfers", "volume", "trips", "permissive against bond",
         "bypass")  # fmt: skip
"""What of a station's judgement a replay leans on."""

FEW_COMMITS = 5
"""So many that replaced readings of a point are told one by one."""

SILENT = "silent"
NEVER_HEARD = "no reading by then"
REMOVED = (
    "readings of that time were removed, as the site file says how long they are kept: what was"
    " found from them stays"
)
NO_RESULTS = "readings came since it was analysed: what was found may be out of date"


def missing_of(
    station: Station,
    signals: Signals,
    span: tuple[int, int],
    *,
    transfer: Transfer | None = None,
    metering: Metering | None = None,
    tickets: Sequence[Ticket] = (),
    damage: Sequence[DamageError] = (),
    replaced: Sequence[Replacement] = (),
    rejected: Sequence[Reject] = (),
    waiting_since: int | None = None,
    kept_from: int | None = None,
) -> list[Missing]:
    """Return what is not known of a span of a station, by start.

    Parameters
    ----------
    station : Station
        Its points.
    signals : mapping of Role to Samples
        Samples that hold into the span.
    span : tuple of int
        Start and end. [ns]
    transfer : Transfer, optional
        The one that is replayed: it should have a ticket.
    metering : Metering, optional
        What of the flow was measured.
    tickets : sequence of Ticket
        That overlap the span.
    damage : sequence of DamageError
        Stored readings that cannot be read.
    replaced : sequence of Replacement
        Readings that others took the place of: what they said first is not what is told.
    rejected : sequence of Reject
        Rows that would have been readings of the span.
    waiting_since : int, optional
        From when on readings wait for an analysis. [ns]
    kept_from : int, optional
        From when on readings are kept at all, where older ones were removed. [ns]
    """
    silent = list(_not_told(station, signals, span))
    found = [
        *_not_recorded(station, span),
        *silent,
        *_removed(silent, kept_from),
        *_not_measured(metering),
        *_uncertain(station, signals, span),
        *_order(station, signals, span),
        *(_damaged(each, span) for each in damage),
        *_replaced(replaced, span),
        *_rejected(rejected, span),
    ]
    if transfer is not None and transfer.batch is None and not _named(transfer, tickets):
        why = "no ticket names its batch or operator"
        found.append(Missing("ticket", transfer.start, transfer.end, why))
    if waiting_since is not None and waiting_since < span[1]:
        found.append(Missing("results", max(waiting_since, span[0]), span[1], NO_RESULTS))
    return sorted(found, key=lambda each: (each.start, each.end, each.about))


def _not_recorded(station: Station, span: tuple[int, int]) -> Iterator[Missing]:
    for judged in judgement(station):
        if judged.about in ASKED and judged.reach is not Reach.FULL:
            yield Missing(judged.about, *span, judged.reason)


def _not_told(station: Station, signals: Signals, span: tuple[int, int]) -> Iterator[Missing]:
    for role, point in station.points.items():
        samples = signals.get(role, Samples.empty())
        line = told(samples, nanoseconds(point.stale_after_s), span)
        yield from _gaps(role, line, samples)


def _gaps(role: Role, line: Timeline, samples: Samples) -> Iterator[Missing]:
    for k, code in enumerate(line.state.tolist()):
        start, end = int(line.edges[k]), int(line.edges[k + 1])
        if code == Told.BAD:
            yield Missing(role, start, end, "its readings are of bad quality")
        elif code == Told.SILENT:
            heard = len(samples) and samples.time[0] <= start
            yield Missing(role, start, end, SILENT if heard else NEVER_HEARD)


def _removed(told: Sequence[Missing], kept_from: int | None) -> Iterator[Missing]:
    """Yield that what is silent may be so because readings of that time were removed."""
    if kept_from is None:
        return
    kept_from -= kept_from % NS_PER_MS  # a package tells it in ms, and is to tell the same
    gaps = [each for each in told if each.why in (SILENT, NEVER_HEARD) and each.start < kept_from]
    if gaps:
        end = min(max(each.end for each in gaps), kept_from)
        yield Missing("readings", min(each.start for each in gaps), end, REMOVED)


def _not_measured(metering: Metering | None) -> Iterator[Missing]:
    """Yield that more flowed, or may have, than was measured."""
    if metering is None or metering.is_whole:
        return
    gaps = np.concatenate((metering.missed, metering.unsure))
    told = "not known" if metering.is_none else "at least what is told"
    yield Missing("volume", int(gaps.min()), int(gaps.max()), f"{told}: {metering.words}")


def _uncertain(station: Station, signals: Signals, span: tuple[int, int]) -> Iterator[Missing]:
    """Yield how many readings of each point are uncertain, from the first to the last of them."""
    for role, point in station.points.items():
        samples = signals.get(role, Samples.empty()).between(*span)
        (at,) = np.nonzero(samples.quality == Quality.UNCERTAIN)
        if not at.size:
            continue
        first, last = int(samples.time[at[0]]), int(samples.time[at[-1]])
        following = samples.time[at[-1] + 1 :][:1].tolist()
        end = min([last + nanoseconds(point.stale_after_s), span[1], *following])
        why = (
            f"{at.size:,} of {len(samples):,} readings of {role} are uncertain:"
            " their times may be those of arrival"
        )
        yield Missing(role, first, end, why)


def _order(station: Station, signals: Signals, span: tuple[int, int]) -> Iterator[Missing]:
    """Yield the points that report on change, where nothing says how finely."""
    unsaid = []
    for role, point in station.points.items():
        time = signals.get(role, Samples.empty()).time
        if point.interval_s is None and time.size > 1 and reports_on_change(time):
            unsaid.append(role)
    if unsaid and len(station.points) > 1:
        many = len(unsaid) > 1
        why = (
            f"{', '.join(unsaid)} report{'' if many else 's'} on change, and nothing says how often"
            f" {'they are' if many else 'it is'} looked at: a change may have come at any moment"
            f" since the reading before. Add interval_s to {'these points' if many else 'it'} in"
            " the site file"
        )
        yield Missing("order of events", *span, why)


def _damaged(damage: DamageError, span: tuple[int, int]) -> Missing:
    about = damage.point.rsplit(".", 1)[-1] if damage.point else "readings"
    start, end = max(damage.start, span[0]), min(damage.end, span[1])
    what = "what was replaced, row" if damage.part == "replaced" else damage.part
    return Missing(about, start, max(start, end), f"{what} {damage.id} is damaged")


def _replaced(replaced: Sequence[Replacement], span: tuple[int, int]) -> Iterator[Missing]:
    """Yield what was replaced of each point: by commit, or all in one if there were many."""
    for role, found in groupby(replaced, key=attrgetter("role")):
        every = list(found)
        for group in [[each] for each in every] if len(every) <= FEW_COMMITS else [every]:
            start = max(min(each.first for each in group), span[0])
            end = max(each.last for each in group) + 1
            yield Missing(role, start, max(start, end), _replaced_why(group))


def _replaced_why(group: Sequence[Replacement]) -> str:
    count = sum(each.count for each in group)
    many = f"{count:,} readings were" if count > 1 else "1 reading was"
    low, high = min(each.lowest for each in group), max(each.highest for each in group)
    first = _value(low) if low == high else f"{_value(low)} to {_value(high)}"
    return f"{many} replaced {_replaced_when(group)}: the earlier values are kept, {first}"


def _replaced_when(group: Sequence[Replacement]) -> str:
    known = [format_time(each.at) for each in group if each.at is not None]
    if len(group) == 1:
        return f"on {known[0]}" if known else "nobody noted when"
    some = "" if len(known) == len(group) else ", as far as it was noted"
    between = f" between {min(known)} and {max(known)}" if known else ""
    return f"by {len(group):,} later batches{between}{some}"


def _rejected(rejected: Sequence[Reject], span: tuple[int, int]) -> Iterator[Missing]:
    """Yield how many rows of each point could not be taken, from the first to the last of them.

    Of several counted in one only the first and the last are known: where these are not both of
    the span, some of them may be of another time.
    """
    about: dict[str, list[tuple[int, int, int]]] = {}
    for each in rejected:
        if each.point is not None and each.time is not None:
            last = each.time if each.last_time is None else each.last_time
            told = each.time, last, each.count
            about.setdefault(each.point.rpartition(".")[2], []).append(told)
    for role, rows in about.items():
        first, last = min(row[0] for row in rows), max(row[1] for row in rows)
        count = sum(row[2] for row in rows)
        most = "up to " if first < span[0] or last >= span[1] else ""
        many = f"{count:,} rows" if count > 1 else "1 row"
        why = f"{most}{many} could not be taken: bondtrail show rejects says why"
        start, end = max(first, span[0]), min(last, span[1] - 1)
        yield Missing(role, _whole_ms(start), _whole_ms(end) + 1, why)


def _whole_ms(moment: int) -> int:
    return moment // NS_PER_MS * NS_PER_MS


def _value(value: float) -> str:
    return "open circuit" if math.isinf(value) else f"{value:.4g}"


def _named(transfer: Transfer, tickets: Sequence[Ticket]) -> bool:
    return any(each.start < transfer.end and each.end > transfer.start for each in tickets)
