"""Figures of the store for a monitoring system, the same in each process that shares it."""

from __future__ import annotations

from collections import Counter
from datetime import timedelta

from bondtrail.metrics import Metrics
from bondtrail.results import Kind
from bondtrail.times import seconds
from store import Store

_SITE = "site"
"""A name for all stations together."""


def show_figures(store: Store, metrics: Metrics) -> None:
    """Show when the last analysis ended well, and how many findings there are of each kind."""
    last = next((job for job in store.jobs.all() if job.name == "analyse"), None)
    if last is not None and last.succeeded is not None:
        metrics.analysed.set(seconds(last.succeeded))
    counts = findings_by_kind(store)
    for kind in Kind:
        metrics.findings.labels(str(kind)).set(counts[str(kind)])


def findings_by_kind(store: Store) -> Counter[str]:
    """Return how many findings there are of each kind.

    Those that have a day are in its sums, which are quick to add up; a drift has none.
    """
    counts: Counter[str] = Counter()
    span = store.summaries.day_span()
    if span is not None:
        edges = span[0], span[1] + timedelta(days=1)
        for part in store.summaries.sums(edges, groups={_SITE: store.summaries.stations()}):
            counts.update(part.sums.findings)
    counts[Kind.RESISTANCE_DRIFT] = len(store.findings(kind=Kind.RESISTANCE_DRIFT))
    return counts
