"""The findings of a station: every rule asked in turn, its answers put into words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from analytics.core import exposures as flaws
from analytics.core.case import Case
from analytics.core.chattering import clusters
from analytics.core.hookups import NEVER
from analytics.core.isolation import after_work, isolated
from analytics.core.mismatches import permissive_withheld, permissive_without_bond
from analytics.core.release import early_release
from analytics.core.spans import NOWHERE, Spans, elapsed, total, within
from analytics.core.transfers import FlowRuns, ever_in
from analytics.core.wording import finding
from bondtrail.results import (
    Finding,
    Kind,
    Number,
    Outcome,
    Severity,
    Trip,
    TripClass,
    WorkWindow,
)
from bondtrail.site import Role
from bondtrail.times import nanoseconds, seconds


def find_all(case: Case, trips: Sequence[Trip], work: Sequence[WorkWindow]) -> list[Finding]:
    """Return the findings of a case, by start and then by kind.

    Parameters
    ----------
    case : Case
        Of one station.
    trips : sequence of Trip
        Its trips.
    work : sequence of WorkWindow
        Its maintenance windows.
    """
    found = [finding for transfer in _exposed(case) for finding in flow_findings(case, transfer)]
    found += failed_hookups(case)
    found += nuisance_trips(case, trips)
    found += chattering(case)
    found += mismatches(case)
    found += isolations(case, work)
    found += early_releases(case)
    return sorted(found, key=lambda item: (item.start, item.kind))


def _exposed(case: Case) -> list[FlowRuns]:
    """Return the transfers with any exposure: the others cannot have a finding on their flow."""
    edges = np.array([(item.start, item.end) for item in case.transfers], np.int64)
    starts, ends = edges.reshape(-1, 2).T
    exposed = case.exposures
    any_of = np.zeros(starts.size, bool)
    for spans in (exposed.not_bonded, exposed.no_data, exposed.bypassed):
        any_of |= elapsed(spans, ends) > elapsed(spans, starts)
    return [case.transfers[k] for k in np.flatnonzero(any_of).tolist()]


def flow_findings(case: Case, transfer: FlowRuns) -> Iterator[Finding]:
    """Yield what makes a transfer not compliant."""
    limits, verified = case.limits, case.now.verified
    not_bonded = within(case.exposures.not_bonded, transfer.start, transfer.end)
    if len(not_bonded) and not ever_in(verified, transfer):
        yield _flow_finding(case, transfer, Kind.NO_BOND_TRANSFER, (transfer.start, transfer.end))
    else:
        for flaw in flaws.unbonded_starts(
            transfer, verified, not_bonded, case.losses, nanoseconds(limits.start_allowance_s)
        ):
            yield _flow_finding(case, transfer, Kind.UNBONDED_START, (flaw.start, flaw.end))
    for flaw in flaws.losses_in_flow(
        transfer,
        verified,
        not_bonded,
        case.losses,
        case.not_low,
        nanoseconds(limits.stop_allowance_s),
    ):
        yield _flow_finding(case, transfer, Kind.BOND_LOST_IN_FLOW, (flaw.start, flaw.end))
    for kind, exposed, allowance in (
        (Kind.UNVERIFIABLE_FLOW, case.exposures.no_data, limits.nodata_allowance_s),
        (Kind.BYPASSED_FLOW, case.exposures.bypassed, limits.bypass_allowance_s),
    ):
        stretches = flaws.longer_than(
            within(exposed, transfer.start, transfer.end), nanoseconds(allowance)
        )
        for start, end in stretches.tolist():
            yield _flow_finding(case, transfer, kind, (start, end))


def _flow_finding(case: Case, transfer: FlowRuns, kind: Kind, span: tuple[int, int]) -> Finding:
    """Return a finding on a stretch of a transfer, with the exposures and volume of its own."""
    exposed = case.exposures
    counted = {
        Kind.UNVERIFIABLE_FLOW: exposed.no_data,
        Kind.BYPASSED_FLOW: exposed.bypassed,
    }.get(kind, exposed.not_bonded)
    flowed = within(transfer.runs, *span)
    product = case.volume(flowed if kind is Kind.NO_BOND_TRANSFER else within(counted, *span))
    evidence: dict[str, Number] = {
        "flow_s": seconds(total(flowed)),
        "not_bonded_s": seconds(total(within(exposed.not_bonded, *span))),
        "no_data_s": seconds(total(within(exposed.no_data, *span))),
        "bypassed_s": seconds(total(within(exposed.bypassed, *span))),
        "volume": product,
        "unit": case.station.volume_unit,
        **_resistances(case, span),
    }
    return finding(
        kind,
        case.station.id,
        span,
        case.limits,
        evidence,
        transfer=case.transfer_id(transfer),
    )


def _resistances(case: Case, span: tuple[int, int]) -> dict[str, Number]:
    """Return the lowest and highest resistance read during a span; open circuit is None. [ohm]"""
    value = case.resistance.between(*span).value
    value = value[value < case.limits.open_ohm]
    if not value.size:
        return {"lowest_ohm": None, "highest_ohm": None}
    return {"lowest_ohm": float(value.min()), "highest_ohm": float(value.max())}


def failed_hookups(case: Case) -> Iterator[Finding]:
    """Yield the hookups that never achieved ground; worse where flow ran during one."""
    for hookup in case.hookups:
        if hookup.outcome is Outcome.VERIFIED:
            continue
        flow_s = seconds(total(within(case.flow, hookup.start, hookup.end)))
        yield finding(
            Kind.FAILED_HOOKUP,
            case.station.id,
            (hookup.start, hookup.end),
            case.limits,
            {
                "lowest_ohm": hookup.lowest_ohm,
                "median_ohm": hookup.median_ohm,
                "cause": hookup.cause,
                "flow_s": flow_s,
            },
            transfer=case.transfer_at(hookup.start, hookup.end),
            severity=Severity.MAJOR if flow_s else None,
        )


def nuisance_trips(case: Case, trips: Sequence[Trip]) -> Iterator[Finding]:
    """Yield the trips with no lasting loss of bond behind them; each ends as flow goes off."""
    ends = case.flow[:, 1]
    for trip in trips:
        if trip.trip_class is not TripClass.NUISANCE:
            continue
        flow_off = int(ends[np.searchsorted(ends, trip.time, side="left")])
        yield finding(
            Kind.NUISANCE_TRIP,
            case.station.id,
            (trip.time, flow_off),
            case.limits,
            {
                "class": trip.trip_class,
                "cause": trip.cause,
                "loss_s": trip.loss_s,
                "stop_s": trip.stop_s,
                "marginal": trip.marginal,
            },
            transfer=trip.transfer,
        )


def chattering(case: Case) -> Iterator[Finding]:
    """Yield the clusters of bond losses."""
    limits = case.limits
    lost = case.losses[:, 0]
    for start, end, count in clusters(lost, limits.cluster_count, nanoseconds(limits.cluster_s)):
        yield finding(
            Kind.CHATTERING,
            case.station.id,
            (start, end),
            limits,
            {"losses": count, "seconds": seconds(end - start)},
            transfer=case.transfer_at(start, end),
        )


def disagreements(case: Case) -> tuple[Spans, Spans]:
    """Return where the permissive was closed without a bond, and withheld from a verified one.

    Nowhere for a station whose bond is known from the permissive alone.
    """
    permissive = case.now.permissive
    if permissive is None or case.station.bond_role is Role.PERMISSIVE:
        return NOWHERE, NOWHERE
    allowed = nanoseconds(case.limits.mismatch_s)
    return (
        permissive_without_bond(permissive, case.not_low, allowed),
        permissive_withheld(permissive, case.now.verified, allowed),
    )


def mismatches(case: Case) -> Iterator[Finding]:
    """Yield where permissive and bond disagreed for longer than allowed."""
    without, withheld = disagreements(case)
    for kind, spans in (
        (Kind.PERMISSIVE_WITHOUT_BOND, without),
        (Kind.PERMISSIVE_WITHHELD, withheld),
    ):
        for start, end in spans.tolist():
            flow_s = seconds(total(within(case.flow, start, end)))
            yield finding(
                kind,
                case.station.id,
                (start, end),
                case.limits,
                {"seconds": seconds(end - start), "flow_s": flow_s},
                transfer=case.transfer_at(start, end),
            )


def isolations(case: Case, work: Sequence[WorkWindow]) -> Iterator[Finding]:
    """Yield where a fixed item had no bond; worse where the plant was running."""
    if not case.station.is_fixed:
        return
    for start, end in isolated(case.not_low, nanoseconds(case.limits.isolated_s)).tolist():
        running_s = seconds(total(within(case.flow, start, end)))
        yield finding(
            Kind.ITEM_ISOLATED,
            case.station.id,
            (start, end),
            case.limits,
            {
                "seconds": seconds(end - start),
                "running_s": running_s,
                "after_work": after_work(start, work),
                **_resistances(case, (start, end)),
            },
            transfer=case.transfer_at(start, end),
            severity=Severity.CRITICAL if running_s else None,
        )


def early_releases(case: Case) -> Iterator[Finding]:
    """Yield the transfers after which the clamp came off too soon."""
    wait = nanoseconds(case.limits.release_wait_s)
    if not wait:
        return
    following = [*(transfer.start for transfer in case.transfers[1:]), int(NEVER)]
    for transfer, after in zip(case.transfers, following, strict=False):
        off = early_release(transfer.end, after, case.clamp, wait)
        if off is not None:
            yield finding(
                Kind.EARLY_RELEASE,
                case.station.id,
                (off, transfer.end + wait),
                case.limits,
                {"waited_s": seconds(off - transfer.end)},
                transfer=case.transfer_id(transfer),
            )
