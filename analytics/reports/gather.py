"""Gathering a report: everything is read from the store here, and nothing after."""

from __future__ import annotations

from collections.abc import Collection

from analytics.kpis import By
from analytics.reports import (
    alarms,
    compliance,
    holes,
    hookups,
    interlock,
    limits,
    others,
    reach,
    transfers,
    trips,
    wear,
)
from analytics.reports.cover import cover
from analytics.reports.period import Period
from analytics.reports.report import Report, Section
from analytics.reports.source import Source
from bondtrail.site import Site
from store import Store

HOW_TO_READ = (
    "A share, such as compliance, has the Wilson 95 % score interval: if many periods like this "
    "one were recorded, about 19 of 20 such intervals would hold the share behind them. A rate "
    "has the exact Poisson (Garwood) 95 % interval. Fewer events mean wider intervals. Both take "
    "transfers for independent of each other; what comes in clusters varies more.",
    "A rank goes by the cautious end of the 95 % interval, never by a raw share of one in one. "
    "Below five transfers (shares) or five events (rates) it says too few to rank.",
    "Verified bond: resistance at or below the limit, held for the hold time, seen in fresh good "
    "data. Transfer: the flow runs that belong together at a station, pauses included. Hookup: "
    "from the first contact of a clamp until it is off again. Trip: flow stopped by the "
    "permissive, or by loss of bond where no permissive is recorded. Nuisance: a trip with no "
    "lasting loss of bond behind it. Finding: one thing that a person should look at.",
    "Unknown is never counted as bonded and never as unbonded. An episode counts in the period in "
    "which it began; seconds are split at midnight. Days are those of the site's own calendar, "
    "of 23 or 25 hours when clocks change.",
)


def gather(
    store: Store,
    site: Site,
    period: Period,
    *,
    now: int,
    by: By | None = None,
    stations: Collection[str] | None = None,
) -> Report:
    """Return the report of a period.

    Parameters
    ----------
    store : Store
        With the results of an analysis.
    site : Site
        The site file in force.
    period : Period
        Days of the site that have begun.
    now : int
        The clock; the same data and clock give the same report. [ns]
    by : {"day", "week", "month"}, optional
        What the figures of each station are told by as well.
    stations : collection of str, optional
        Only these.

    Raises
    ------
    ValueError
        If the period has not begun.
    StoreError
        If the store does not answer.
    """
    source = Source(store, site, period, now, by, stations)
    if source.span[0] >= now:
        raise ValueError(f"{period} has not begun")
    with store.snapshot():  # every number is of one state of the store, whoever writes meanwhile
        return _gathered(source)


def _gathered(source: Source) -> Report:
    failing, missing = transfers.failing(source), holes.holes(source)
    held = limits.held(source)
    return Report(
        cover(source, failing, missing, limits.changes(held, source.span[0])),
        (
            compliance.section(source),
            Section("Transfers that are not compliant", (), (transfers.table(source, failing),)),
            Section("Other grave findings", (), (others.table(source),)),
            Section("Bypass use", interlock.unseen(source), (interlock.bypass(source),)),
            Section("Failed hookups", (), (hookups.table(source),)),
            Section(
                "Trips",
                (),
                (interlock.causes(source), interlock.rates(source), trips.table(source)),
            ),
            alarms.section(source),
            wear.section(source),
            Section("Data", (), (holes.table(source, missing), reach.table(source))),
            Section("Limits in force", (), limits.tables(source, held)),
            Section("How to read this report", HOW_TO_READ),
        ),
    )
