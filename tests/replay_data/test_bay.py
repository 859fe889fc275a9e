"""A bay behaves like a clamp, a relay and a valve."""

from __future__ import annotations

import pytest

from replay_data.bay import RELAY_HOLD_MS
from replay_data.recording import BAD, Reading, Signal
from tests.replay_data.bench import START, TRADE, bench

AT = START + 600_000


def _last(signal: Signal | None) -> Reading:
    assert signal is not None
    return signal.changes[-1]


def test_an_idle_bay_is_open_shut_and_not_bypassed() -> None:
    wires = bench().wires
    told = [wires.resistance, wires.status, wires.permissive, wires.flow, wires.bypass]
    assert [_last(signal).value for signal in told] == ["OL", "0", "0", "0.0", "0"]


@pytest.mark.parametrize("seed", range(5))
def test_the_relay_closes_after_its_hold_and_within_two_seconds(seed: int) -> None:
    bay = bench(seed)
    ready = bay.low(AT, 1.5)
    bay.finish(AT + 60_000)
    assert _last(bay.wires.permissive) == Reading(ready, "1")
    assert RELAY_HOLD_MS < ready - AT < 2000
    assert _last(bay.wires.status).value == "1"


@pytest.mark.parametrize("seed", range(5))
def test_the_relay_opens_within_half_a_second_of_a_loss(seed: int) -> None:
    bay = bench(seed)
    bay.hook_up(AT, 1.5)
    lost = AT + 90_000
    bay.lost(lost)
    opened = _last(bay.wires.permissive)
    assert opened.value == "0"
    assert 0 < opened.ms - lost < 500
    assert _last(bay.wires.status).value == "0"


def test_a_bond_lost_before_the_hold_never_closes_the_relay() -> None:
    bay = bench()
    bay.low(AT, 1.5)
    bay.lost(AT + 900)
    bay.finish(AT + 60_000)
    assert _last(bay.wires.permissive).value == "0"


@pytest.mark.parametrize("seed", range(8))
def test_a_bite_never_reads_low_before_it_holds(seed: int) -> None:
    bay = bench(seed)
    bay.hook_up(AT, 1.5)
    assert bay.wires.resistance is not None
    bite = [float(r.value) for r in bay.wires.resistance.changes if r.ms >= AT]
    assert bite[-1] == 1.5
    assert all(ohm > TRADE.limit for ohm in bite[:-1])


def test_a_bonded_resistance_wanders_but_never_over_the_limit() -> None:
    bay = bench()
    bay.hook_up(AT, 9.6)
    bay.finish(AT + 14_400_000)
    assert bay.wires.resistance is not None
    seen = [float(r.value) for r in bay.wires.resistance.changes if r.ms > AT + 2000]
    assert len(seen) > 10
    assert 5 < min(seen) < max(seen) <= 0.97 * TRADE.limit


@pytest.mark.parametrize("stuck", ["0", "1"])
def test_a_stuck_contact_ignores_the_relay_until_freed(stuck: str) -> None:
    bay = bench()
    bay.hold_contact(AT, stuck)
    bay.hook_up(AT + 10_000, 1.5)
    bay.lost(AT + 60_000)
    assert _last(bay.wires.permissive).value == stuck
    bay.hook_up(AT + 90_000, 1.5)
    bay.free_contact(AT + 120_000)
    assert _last(bay.wires.permissive) == Reading(AT + 120_000, "1")


def test_a_fault_is_bad_data_and_opens_the_relay_and_both_come_back() -> None:
    bay = bench()
    bay.hook_up(AT, 1.5)
    bay.fault(AT + 60_000, AT + 70_000)
    bay.finish(AT + 90_000)
    assert bay.wires.resistance is not None
    assert bay.wires.status is not None
    assert {r.ms for r in bay.wires.resistance.changes if r.quality == BAD} == {AT + 60_000}
    assert [r.value for r in bay.wires.status.changes] == ["0", "1", "2", "0", "1"]
    assert _last(bay.wires.permissive).value == "1"


def test_a_fault_of_an_idle_monitor_ends_open() -> None:
    bay = bench()
    bay.fault(AT, AT + 5000)
    bay.finish(AT + 60_000)
    assert _last(bay.wires.resistance) == Reading(AT + 5000, "OL")
    assert _last(bay.wires.permissive).value == "0"


def test_flow_starts_slow_rises_and_falls_to_nothing() -> None:
    bay = bench()
    bay.start_flow(AT)
    bay.stop_flow(AT + 120_000, 2000)
    flow = [r for r in bay.wires.flow.changes if r.ms >= AT]
    values = [float(r.value) for r in flow]
    assert values[0] == pytest.approx(TRADE.slow_rate, rel=0.08)
    assert TRADE.rate[0] * 0.9 < max(values) < TRADE.rate[1] * 1.1
    assert flow[-1] == Reading(AT + 120_000, "0.0")
    assert values[-4:] == sorted(values[-4:], reverse=True)
