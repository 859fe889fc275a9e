"""The first page: the figure, how far it can be relied on, and what to know before believing it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from analytics.core.shares import wilson
from analytics.kpis import KpiRow
from analytics.reports import holes, words
from analytics.reports.holes import Hole
from analytics.reports.report import Caveat, Cover, Coverage
from analytics.reports.source import Source
from analytics.reports.transfers import Failing, Worst
from bondtrail import __version__
from bondtrail.results import RULES_VERSION
from bondtrail.times import local_day


def cover(
    source: Source,
    failing: Sequence[Failing],
    missing: Sequence[Hole],
    changed: Sequence[str],
) -> Cover:
    """Return what the first page says.

    Parameters
    ----------
    source : Source
        The period and its stations.
    failing : sequence of Failing
        The transfers that are not compliant.
    missing : sequence of Hole
        What is not on record.
    changed : sequence of str
        The stations of which a limit changed in the period.
    """
    worst = Counter(row.worst for row in failing)
    whole = source.whole
    sums = whole.sums if whole else None
    return Cover(
        site_id=source.site.id,
        site_name=source.site.name,
        zone=source.site.zone,
        period=source.period,
        scope=_scope(source),
        made=source.now,
        last_reading=_last_reading(source),
        compliance=whole.merits.compliance if whole else wilson(0, 0),
        bad_bond=worst[Worst.BAD_BOND],
        bypassed=worst[Worst.BYPASSED],
        unverifiable=worst[Worst.UNVERIFIABLE],
        coverage=Coverage(
            sums.known_s if sums else 0.0,
            sums.unknown_s if sums else 0.0,
            whole.no_record_s if whole else 0.0,
        ),
        software=__version__,
        rules=f"Version {RULES_VERSION} (docs/rules.md says how each is read)",
        caveats=tuple(_caveats(source, len(failing), missing, changed)),
    )


def _scope(source: Source) -> str:
    wanted = [row.id for row in source.site.stations if source.is_wanted(row.id)]
    every = len(source.site.stations)
    if len(wanted) == every:
        return f"All {words.plural(every, 'station')} of the site."
    return (
        f"{len(wanted):,} of {words.plural(every, 'station')} of the site: {words.listed(wanted)}."
    )


def _readings(source: Source) -> tuple[int, int] | None:
    """Return the times of the first and of the last reading, or None. [ns]"""
    heard = [
        row
        for row in source.store.points()
        if row.samples and source.is_wanted(row.point.rpartition(".")[0])
    ]
    if not heard:
        return None
    return min(row.first for row in heard), max(row.last for row in heard)


def _last_reading(source: Source) -> int | None:
    readings = _readings(source)
    return readings[1] if readings else None


def _caveats(
    source: Source, failing: int, missing: Sequence[Hole], changed: Sequence[str]
) -> Iterator[Caveat]:
    for told in (_not_over, _without_readings, _not_up_to_date):
        yield from map(Caveat, told(source))
    if source.whole and _failures(source.whole) != failing:
        yield Caveat("The results changed while this report was made: make it again.")
    if changed:
        yield Caveat(
            f"Limits changed in this period at {words.plural(len(changed), 'station')} "
            f"({words.listed(changed)}): what began under one limit is judged by it."
        )
    if missing:
        yield holes.caveat(missing)


def _failures(whole: KpiRow) -> int:
    return whole.sums.transfers - whole.sums.compliant_transfers


def _not_over(source: Source) -> Iterator[str]:
    if source.now < source.span[1]:
        yield "The period is not over: the figures are those up to when this report was made."


def _without_readings(source: Source) -> Iterator[str]:
    readings, (start, end) = _readings(source), source.span
    if readings is None:
        yield "There are no readings of these stations at all."
    elif readings[1] < start or readings[0] >= end:
        first, last = (local_day(moment, source.site.zone) for moment in readings)
        yield f"There are no readings of this period: they run from {first} to {last}."


def _not_up_to_date(source: Source) -> Iterator[str]:
    marks = source.store.touched()
    waiting = [
        name
        for name, touch in sorted(marks.items())
        if source.is_wanted(name) and touch.since < source.span[1]
    ]
    if waiting:
        yield (
            f"The results of {words.plural(len(waiting), 'station')} are not up to date "
            f"({words.listed(waiting)}): readings or limits came after the last analysis. Run "
            "bondtrail analyse and make this report again."
        )
    older = source.store.rules_of_findings() - {RULES_VERSION}
    if older:
        yield (
            f"Some findings were judged by version {', '.join(sorted(older))} of the rules. Run "
            "bondtrail analyse and make this report again."
        )
