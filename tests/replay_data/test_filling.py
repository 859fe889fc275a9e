"""What happens in a filling is what the rules then say of it."""

from __future__ import annotations

import pytest

from bondtrail.results import HookupCause, Kind, Outcome
from replay_data import filling
from replay_data.filling import Incident, Plan, fill
from tests.replay_data.bench import START, bench, judged

AT = START + 600_000
AFTER = 900_000
SEEDS = range(4)


@pytest.mark.parametrize("seed", SEEDS)
def test_an_ordinary_filling_is_compliant_and_of_the_right_size(seed: int) -> None:
    bay = bench(seed)
    filled = fill(bay, AT, Plan())
    found = judged(bay, filled.contact.end + AFTER)
    (transfer,) = found.transfers
    assert transfer.compliant
    assert transfer.volume == pytest.approx(200, rel=0.1)
    assert transfer.start == filled.flow.start * 1_000_000
    assert found.findings == ()
    assert found.trips == ()
    assert [hookup.outcome for hookup in found.hookups] == [Outcome.VERIFIED]


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize(
    ("step", "cause"),
    [
        (filling.layer, HookupCause.LAYER),
        (filling.unsteady, HookupCause.UNSTEADY),
        (filling.falling, HookupCause.FALLING),
        (filling.marginal, HookupCause.MARGINAL),
    ],
)
def test_a_failed_try_has_its_cause(step: Incident, cause: HookupCause, seed: int) -> None:
    bay = bench(seed)
    filled = fill(bay, AT, Plan(before=[step]))
    failed, verified = judged(bay, filled.contact.end + AFTER).hookups
    assert (failed.outcome, failed.cause) == (Outcome.FAILED, cause)
    assert verified.outcome is Outcome.VERIFIED


@pytest.mark.parametrize("seed", SEEDS)
def test_a_touch_is_no_hookup(seed: int) -> None:
    bay = bench(seed)
    filled = fill(bay, AT, Plan(before=[filling.touch]))
    found = judged(bay, filled.contact.end + AFTER)
    assert len(found.hookups) == 1
    assert sum(day.touches for day in found.days) == 1


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize(
    ("happens", "verdict", "kinds"),
    [
        pytest.param(filling.clamp_off((1.7, 2.6)), "genuine/clamp_off", set(), id="pulled"),
        pytest.param(
            filling.clamp_off((7, 9.7)), "genuine/clamp_off", {Kind.BOND_LOST_IN_FLOW}, id="slow"
        ),
        pytest.param(
            filling.slips((25, 400), (4, 20)), "genuine/high_resistance", set(), id="slipped"
        ),
        pytest.param(
            filling.bursts(1), "nuisance/brief_contact_loss", {Kind.NUISANCE_TRIP}, id="strand"
        ),
        pytest.param(
            filling.bursts(4),
            "nuisance/brief_contact_loss",
            {Kind.NUISANCE_TRIP, Kind.CHATTERING},
            id="burst",
        ),
        pytest.param(
            filling.monitor_fails((6, 35)),
            "nuisance/monitor_fault",
            {Kind.NUISANCE_TRIP},
            id="monitor",
        ),
    ],
)
def test_a_trip_has_its_cause_and_the_filling_goes_on(
    happens: Incident, verdict: str, kinds: set[Kind], seed: int
) -> None:
    bay = bench(seed)
    filled = fill(bay, AT, Plan(incidents=[(0.5, happens)]))
    found = judged(bay, filled.contact.end + AFTER)
    (trip,) = found.trips
    assert f"{trip.trip_class}/{trip.cause}" == verdict
    assert {finding.kind for finding in found.findings} == kinds
    assert len(found.transfers) == 1
    assert found.transfers[0].volume == pytest.approx(200, rel=0.15)


def test_a_slip_just_over_the_limit_is_marginal() -> None:
    bay = bench()
    filled = fill(bay, AT, Plan(incidents=[(0.5, filling.slips((10.6, 13.5), (6, 40)))]))
    (trip,) = judged(bay, filled.contact.end + AFTER).trips
    assert trip.marginal


def test_a_pause_is_no_trip() -> None:
    bay = bench()
    filled = fill(bay, AT, Plan(incidents=[(0.5, filling.pause)]))
    found = judged(bay, filled.contact.end + AFTER)
    assert found.trips == ()
    assert len(found.transfers) == 1
    assert found.transfers[0].compliant


def test_a_loss_with_the_key_in_runs_on_and_is_no_trip() -> None:
    bay = bench()
    bay.turn_key(AT - 1000, "1")
    filled = fill(bay, AT, Plan(incidents=[(0.5, filling.unheeded)]))
    found = judged(bay, filled.contact.end + AFTER)
    assert found.trips == ()
    assert {finding.kind for finding in found.findings} == {
        Kind.BYPASSED_FLOW,
        Kind.BOND_LOST_IN_FLOW,
    }
    lost = next(f for f in found.findings if f.kind is Kind.BOND_LOST_IN_FLOW)
    assert lost.seconds == pytest.approx(47)


def test_a_head_start_is_an_unbonded_start() -> None:
    bay = bench()
    filled = fill(bay, AT, Plan(head_start_s=8.0))
    (finding,) = judged(bay, filled.contact.end + AFTER).findings
    assert finding.kind is Kind.UNBONDED_START
    assert 9 <= finding.seconds < 11
