"""The first page: the figure, how far it can be relied on, and what to know before believing it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Sequence

from analytics.core.shares import wilson
from analytics.core.worst import Worst
from analytics.holes import LEAST_S, Hole
from analytics.reports import holes, words
from analytics.reports.report import Caveat, Cover
from analytics.reports.source import Source, summed
from analytics.reports.transfers import Failing
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
    found = source.store.compliances.rules(*source.span, source.stations)
    whole = source.whole
    blind, flowing = holes.without_bypass(source)
    return Cover(
        site_id=source.site.id,
        site_name=source.site.name,
        zone=source.site.zone,
        period=source.period,
        scope=_scope(source),
        made=source.now,
        last_reading=source.readings[1] if source.readings else None,
        compliance=whole.merits.compliance if whole else wilson(0, 0),
        allowed=source.store.compliances.allowed(*source.span, source.stations),
        bad_bond=worst[Worst.BAD_BOND],
        bypassed=worst[Worst.BYPASSED],
        unverifiable=worst[Worst.UNVERIFIABLE],
        without_bypass=(len(blind), flowing),
        coverage=summed(source.covered.values()),
        software=__version__,
        rules=_rules(found),
        caveats=tuple(_caveats(source, found, missing, changed)),
    )


def _scope(source: Source) -> str:
    named = [row.id for row in source.site.stations]
    wanted = [name for name in named if source.is_wanted(name)]
    every = len(named)
    if len(wanted) == every:
        others = sorted(set(source.covered) - set(named))
        return f"All {words.plural(every, 'station')} of the site{_besides(others)}."
    return (
        f"{len(wanted):,} of {words.plural(every, 'station')} of the site: {words.listed(wanted)}."
    )


def _besides(others: Sequence[str]) -> str:
    if not others:
        return ""
    return f", and {len(others):,} that its file no longer names ({words.listed(others)})"


def _rules(found: Collection[str]) -> str:
    """Return by which versions of the rules the findings of the period are."""
    where = "(docs/rules.md says how each is read)"
    if not found:
        return f"Version {RULES_VERSION}; no finding of this period tells another {where}"
    told = ", ".join(sorted(found))
    if found == {RULES_VERSION}:
        return f"Version {told} {where}"
    return (
        f"{told} in the findings of this period; this Bondtrail judges by {RULES_VERSION} {where}"
    )


def _caveats(
    source: Source, rules: Collection[str], missing: Sequence[Hole], changed: Sequence[str]
) -> Iterator[Caveat]:
    for told in (_not_over, _without_readings, _not_analysed, _not_up_to_date):
        yield from map(Caveat, told(source))
    yield from map(Caveat, _older_rules(rules))
    if changed:
        yield Caveat(
            f"Limits changed in this period at {words.plural(len(changed), 'station')} "
            f"({words.listed(changed)}): what began under one limit is judged by it."
        )
    yield from holes.caveats(missing)


def _not_over(source: Source) -> Iterator[str]:
    if source.now < source.span[1]:
        yield "The period is not over: the figures are those up to when this report was made."


def _without_readings(source: Source) -> Iterator[str]:
    readings, (start, end) = source.readings, source.span
    if readings is None:
        yield "There are no readings of these stations at all."
    elif readings[1] < start or readings[0] >= end:
        first, last = (local_day(moment, source.site.zone) for moment in readings)
        yield f"There are no readings of this period: they run from {first} to {last}."


def _not_analysed(source: Source) -> Iterator[str]:
    blank = {
        name: each.not_analysed_s
        for name, each in source.covered.items()
        if each.not_analysed_s >= LEAST_S
    }
    if blank:
        yield (
            f"Not analysed: readings of {words.plural(len(blank), 'station')} "
            f"({words.listed(list(blank))}) are loaded of which there are no results yet, "
            f"{words.span(sum(blank.values()))} of this period in all. Transfers of that time are "
            "not counted, and nothing is claimed of it. Run bondtrail analyse and make this report "
            "again."
        )


def _not_up_to_date(source: Source) -> Iterator[str]:
    old = [
        name
        for name in source.waiting
        if name not in source.covered or source.covered[name].not_analysed_s < LEAST_S
    ]
    if old:
        yield (
            f"The results of {words.plural(len(old), 'station')} are not up to date "
            f"({words.listed(old)}): readings or limits came after the last analysis. Run "
            "bondtrail analyse and make this report again."
        )


def _older_rules(found: Collection[str]) -> Iterator[str]:
    older = set(found) - {RULES_VERSION}
    if older:
        yield (
            f"Some findings were judged by version {', '.join(sorted(older))} of the rules. Run "
            "bondtrail analyse and make this report again."
        )
