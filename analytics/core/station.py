"""The rules applied to one station: samples in, transfers, hookups, trips and findings out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np

from analytics.core.alarms import alarms_of
from analytics.core.case import Case, build_case
from analytics.core.days import Episodes, day_sums
from analytics.core.drift import drift_findings
from analytics.core.findings import disagreements, find_all
from analytics.core.shifts import Roster, cells, has_shifts, whole_days
from analytics.core.situation import Signals, observed_span, openings
from analytics.core.spans import Spans
from analytics.core.transfer_rows import transfer_rows
from analytics.core.transfers import FlowRuns
from analytics.core.trips import (
    FlowStop,
    cause_of_loss,
    cause_without_loss,
    is_marginal,
    loss_behind,
    stops_by,
    verified_losses,
)
from bondtrail.results import (
    CLASS_OF,
    DaySums,
    Finding,
    StationResults,
    Ticket,
    Trip,
    WorkWindow,
)
from bondtrail.site import Station
from bondtrail.times import local_day, nanoseconds, seconds


@dataclass(frozen=True, slots=True)
class Verdict:
    """A station's case, and all that began in it."""

    case: Case
    episodes: Episodes


def judge(
    station: Station,
    signals: Signals,
    *,
    zone: ZoneInfo,
    work: Sequence[WorkWindow] = (),
    tickets: Sequence[Ticket] = (),
    rosters: Sequence[Roster] = (),
    end: int | None = None,
) -> StationResults:
    """Return everything that the rules say of a station's signals.

    Parameters
    ----------
    station : Station
        Its points and the limits to judge by.
    signals : mapping of Role to Samples
        Each strictly rising in time; resistance in ohm, flow in L/min or kg/min.
    zone : ZoneInfo
        The site's clock, for the days of the sums.
    work, tickets : sequence
        Maintenance windows and transfer tickets of the station.
    rosters : sequence of (int, tuple of Shift)
        The site's shifts, by which the days are also told in parts; see `shifts.cells`.
    end : int, optional
        Nothing is said of what comes after, though samples may still hold then. [ns]

    Returns
    -------
    StationResults
        Equal for equal input, to the last bit.
    """
    span = observed_span(station, signals)
    if span is None or (end is not None and end <= span[0]):
        return StationResults(station.id, drift=())
    span = span[0], min(span[1], end) if end is not None else span[1]
    verdict = examine(station, signals, span, work=work, tickets=tickets)
    case, episodes = verdict.case, verdict.episodes
    days = local_day(span[0], zone), local_day(span[1] - 1, zone)
    by_shift = cells(*days, zone, rosters) if has_shifts(rosters) else None
    return results_of(
        station.id,
        episodes,
        days=day_sums(case, episodes, whole_days(*days, zone)),
        shifts=day_sums(case, episodes, by_shift) if by_shift else (),
        drift=drift_findings(station.id, episodes.hookups, work, lambda _: station.limits),
    )


def results_of(
    station: str,
    episodes: Episodes,
    *,
    days: Sequence[DaySums],
    shifts: Sequence[DaySums],
    drift: Sequence[Finding] | None,
) -> StationResults:
    """Return episodes, days and drift as one station's results."""
    return StationResults(
        station=station,
        transfers=tuple(episodes.transfers),
        hookups=tuple(episodes.hookups),
        trips=tuple(episodes.trips),
        findings=tuple(episodes.findings),
        alarms=tuple(episodes.alarms),
        days=tuple(days),
        shifts=tuple(shifts),
        drift=None if drift is None else tuple(drift),
    )


def examine(
    station: Station,
    signals: Signals,
    span: tuple[int, int],
    *,
    work: Sequence[WorkWindow] = (),
    tickets: Sequence[Ticket] = (),
) -> Verdict:
    """Return the case of a station over a span of time, with its episodes. [ns]"""
    case = build_case(station, signals, span)
    trips = find_trips(case)
    findings = find_all(case, trips, work)
    episodes = Episodes(
        transfers=transfer_rows(case, trips, findings, tickets),
        hookups=case.hookups,
        trips=trips,
        findings=findings,
        alarms=alarms_of(case, np.concatenate(disagreements(case))),
    )
    return Verdict(case, episodes)


def find_trips(case: Case) -> list[Trip]:
    """Return the trips of a case, by time."""
    limits = case.limits
    if case.now.permissive is None:
        triggers = verified_losses(case.losses, case.low, nanoseconds(limits.hold_s))
    else:
        triggers = openings(case.now.permissive)
    window = nanoseconds(limits.trip_window_s)
    faulty = case.now.where(case.now.faulty)
    return [
        _trip(case, transfer, stop, faulty)
        for transfer in case.transfers
        for stop in stops_by(triggers, transfer, window)
    ]


def _trip(case: Case, transfer: FlowRuns, stop: FlowStop, faulty: Spans) -> Trip:
    limits = case.limits
    loss = loss_behind(stop, case.not_low)
    if loss is None:
        cause = cause_without_loss(stop, faulty, case.low)
    else:
        cause = cause_of_loss(loss, case.open, nanoseconds(limits.brief_s))
    in_run = loss is not None and loss[0] >= stop.run_start
    return Trip(
        station=case.station.id,
        time=stop.time,
        transfer=case.transfer_id(transfer),
        trip_class=CLASS_OF[cause],
        cause=cause,
        marginal=loss is not None and is_marginal(loss, case.resistance, limits),
        loss_s=None if loss is None else seconds(loss[1] - loss[0]),
        stop_s=seconds(stop.flow_off - loss[0]) if loss is not None and in_run else None,
    )
