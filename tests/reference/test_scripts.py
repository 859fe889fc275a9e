"""The scripts reach everything that the rules can say; or agreeing on them would prove little."""

from __future__ import annotations

from collections.abc import Iterator

from hypothesis import HealthCheck, Phase, given, seed, settings

from analytics.core.station import judge
from bondtrail.results import (
    AlarmKind,
    HookupCause,
    Kind,
    Outcome,
    Severity,
    StationResults,
    Transfer,
)
from bondtrail.site import Role
from tests.reference.scripts import SHIFTS, ZONE, Script, scripts

TRIPS = {
    "genuine/clamp_off",
    "genuine/high_resistance",
    "nuisance/brief_contact_loss",
    "nuisance/monitor_fault",
    "nuisance/no_loss_seen",
    "undetermined/no_data",
}
RARE = {
    "a touch",
    "an early release",
    "a joined pause",
    "an unknown gap in flow",
    "a marginal loss",
    "a loss from before the run",
    "a compliant transfer",
    "a bond lead below 0",
    "isolated after work",
    "isolated while running",
    "a failed hookup in flow",
    "a ticket",
    "two local days",
    "a bypassed litre",
    "a script without samples of flow",
    "a time of unknown flow",
    "a flow of which bypass is known in part",
    "a bond lost until flow is over",
    "a bond lost until it is back",
    "a day of two shifts",
}
EVERYTHING = {
    *(f"kind {kind}" for kind in Kind if kind is not Kind.RESISTANCE_DRIFT),
    *(f"cause {cause}" for cause in HookupCause),
    *(f"outcome {outcome}" for outcome in Outcome),
    *(f"alarm {kind}" for kind in AlarmKind),
    *(f"trip {trip}" for trip in TRIPS),
    *RARE,
}


def test_two_thousand_scripts_reach_everything() -> None:
    met: set[str] = set()

    @settings(
        max_examples=50,
        database=None,
        deadline=None,
        phases=[Phase.generate],
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
    )
    @given(scripts())
    def play(script: Script) -> None:
        station, signals, work, tickets = script
        worked = [(0, SHIFTS["at the scripts' own times"])]
        # What the rules say: it is what the reference says, and here that may take half as long.
        result = judge(station, signals, zone=ZONE, work=work, tickets=tickets, rosters=worked)
        met.update(named(result))
        met.update(rarely(script, result))

    # Mostly a few hundred do: which scripts come depends on what other tests have loaded.
    for start in range(40):
        seed(start)(play)()
        if met >= EVERYTHING:
            break
    assert EVERYTHING - met == set()


def named(result: StationResults) -> Iterator[str]:
    yield from (f"kind {finding.kind}" for finding in result.findings)
    yield from (f"cause {hookup.cause}" for hookup in result.hookups)
    yield from (f"outcome {hookup.outcome}" for hookup in result.hookups)
    yield from (f"alarm {alarm.kind}" for alarm in result.alarms)
    yield from (f"trip {trip.trip_class}/{trip.cause}" for trip in result.trips)


def rarely(script: Script, result: StationResults) -> Iterator[str]:
    isolated = [finding for finding in result.findings if finding.kind == Kind.ITEM_ISOLATED]
    failed = [finding for finding in result.findings if finding.kind == Kind.FAILED_HOOKUP]
    gaps = [
        transfer
        for transfer in result.transfers
        if transfer.flow_s < (transfer.end - transfer.start) / 1e9
    ]
    flow_ends = {transfer.end for transfer in result.transfers}
    lost = [alarm for alarm in result.alarms if alarm.kind == AlarmKind.BOND_LOST]
    at_work = [(row.day, row.shift) for row in result.shifts if row.shift and row.known_s]
    seen = {
        "a touch": any(day.touches for day in result.days),
        "an early release": any(f.kind == Kind.EARLY_RELEASE for f in result.findings),
        "a joined pause": gaps,
        "an unknown gap in flow": any(paused_only_by_unknown(script, gap) for gap in gaps),
        "a marginal loss": any(trip.marginal for trip in result.trips),
        "a loss from before the run": any(
            trip.loss_s is not None and trip.stop_s is None for trip in result.trips
        ),
        "a compliant transfer": any(transfer.compliant for transfer in result.transfers),
        "a bond lead below 0": any((t.bond_lead_s or 0) < 0 for t in result.transfers),
        "isolated after work": any(finding.evidence["after_work"] for finding in isolated),
        "isolated while running": any(f.severity == Severity.CRITICAL for f in isolated),
        "a failed hookup in flow": any(f.severity == Severity.MAJOR for f in failed),
        "a ticket": any(transfer.batch for transfer in result.transfers),
        "two local days": len(result.days) > 1,
        "a bypassed litre": any(transfer.bypassed_volume for transfer in result.transfers),
        "a bond lost until flow is over": any(alarm.end in flow_ends for alarm in lost),
        "a bond lost until it is back": any(alarm.end not in flow_ends for alarm in lost),
        "a day of two shifts": len(at_work) > len({day for day, _ in at_work}),
        "a time of unknown flow": any(day.flow_unknown_s for day in result.days),
        "a flow of which bypass is known in part": any(
            0 < day.bypass_unknown_s < day.flow_s for day in result.days
        ),
        "a script without samples of flow": not len(script.signals.get(Role.FLOW, ())),
    }
    yield from (name for name, happened in seen.items() if happened)


def paused_only_by_unknown(script: Script, transfer: Transfer) -> bool:
    """Whether no sample in a transfer says that flow is off."""
    start, end = transfer.start, transfer.end
    told = script.signals.get(Role.FLOW)
    if told is None or Role.RUNNING in script.signals:
        return False
    inside = told.between(start, end)
    return bool((inside.value >= script.station.limits.flow_min).all())
