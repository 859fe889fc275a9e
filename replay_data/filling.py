"""A filling from first contact to clamp off, and what can happen in one."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from replay_data.bay import Bay
from replay_data.recording import Span

Incident = Callable[[Bay, int], int]
"""Something that stops the flow at a moment; returns when it may run again."""


@dataclass(frozen=True)
class Plan:
    """One filling.

    ``incidents`` are (share of the quantity that has flowed, what happens then); ``before`` are
    the failed tries and touches that come first, each returning when the next may begin.
    """

    ohm: float | None = None
    before: Sequence[Incident] = ()
    incidents: Sequence[tuple[float, Incident]] = ()
    release_s: float | None = None
    head_start_s: float | None = None
    """How long the flow runs before the clamp goes on; None for the right order."""


@dataclass(frozen=True)
class Filled:
    """What came of it: the span of contact, and that of flow."""

    contact: Span
    flow: Span


def fill(bay: Bay, ms: int, plan: Plan) -> Filled:
    """Fill once at ``bay``, beginning at ``ms``."""
    begin = ms
    for step in plan.before:
        ms = step(bay, ms)
    first = ms if plan.head_start_s is None else ms - round(plan.head_start_s * 1000)
    ready = bay.hook_up(ms, plan.ohm)
    if plan.head_start_s is None:
        first = ready + _ms(bay, bay.trade.lead_s)
    end = _pour(bay, first, plan.incidents)
    release = _ms(bay, bay.trade.release_s) if plan.release_s is None else plan.release_s * 1000
    off = end + round(release)
    bay.lost(off)
    return Filled(Span(begin, off), Span(first, end))


def _pour(bay: Bay, start: int, incidents: Sequence[tuple[float, Incident]]) -> int:
    """Let the quantity flow, with what happens on the way: return when it is done."""
    quantity = bay.rng.uniform(*bay.trade.quantity)
    done, slow = 0.0, True
    for share, happens in (*incidents, (1.0, finish)):
        extra = bay.start_flow(start, slow=slow)
        moment = start + round((bay.full_s((share - done) * quantity) + extra) * 1000)
        start = happens(bay, moment)
        done, slow = share, False
    return start


def finish(bay: Bay, ms: int) -> int:
    """Shut the valve in the ordinary way."""
    bay.stop_flow(ms, bay.rng.randint(1200, 2800))
    return ms


def _ms(bay: Bay, span_s: tuple[float, float]) -> int:
    return round(bay.rng.uniform(*span_s) * 1000)


# What may come before


def touch(bay: Bay, ms: int) -> int:
    """Brush the clamp against the vessel."""
    bay.high([(ms, bay.rng.uniform(20, 900) * bay.trade.limit)])
    off = ms + bay.rng.randint(500, 2000)
    bay.lost(off)
    return off + bay.rng.randint(5000, 15_000)


def layer(bay: Bay, ms: int) -> int:
    """Clamp onto paint: a steady high plateau."""
    return _try(bay, ms, [bay.rng.uniform(300, 20_000)] * bay.rng.randint(5, 14), spread=0.05)


def unsteady(bay: Bay, ms: int) -> int:
    """Scratch about for bare metal."""
    tries = [20 * 10 ** bay.rng.uniform(0, 3.4) for _ in range(bay.rng.randint(7, 15))]
    return _try(bay, ms, [30, 9000, 60, *tries], spread=0.05)


def falling(bay: Bay, ms: int) -> int:
    """Work the teeth through paint, but not all the way."""
    count = bay.rng.randint(9, 13)
    return _try(bay, ms, [9000 * 0.72**n for n in range(count)], spread=0.04)


def marginal(bay: Bay, ms: int) -> int:
    """Bite almost well enough."""
    return _try(bay, ms, [bay.rng.uniform(11.2, 13.8)] * bay.rng.randint(3, 8), spread=0.02)


def _try(bay: Bay, ms: int, levels: Sequence[float], spread: float) -> int:
    readings = []
    for level in levels:
        readings.append((ms, level * bay.rng.uniform(1 - spread, 1 + spread)))
        ms += bay.rng.randint(900, 3500)
    bay.high(readings)
    off = max(ms, readings[0][0] + 5000)
    bay.lost(off)
    return off + bay.rng.randint(6000, 20_000)


# What may happen in flow


def pause(bay: Bay, ms: int) -> int:
    """Stop for a sample or a gauge, and go on."""
    return finish(bay, ms) + _ms(bay, _pause_s(bay))


def _pause_s(bay: Bay) -> tuple[float, float]:
    return (120, 420) if bay.trade.slow_s >= 30 else (10, 30)


def clamp_off(stop_s: tuple[float, float]) -> Incident:
    """Have the clamp come off and the interlock stop the flow after so long; clamp on again."""

    def happens(bay: Bay, ms: int) -> int:
        bay.lost(ms)
        return _tripped(bay, ms, _ms(bay, stop_s), _away_ms(bay))

    return happens


def slips(ohm: tuple[float, float], lasts_s: tuple[float, float]) -> Incident:
    """Have the clamp slip to a high resistance for a while and bite again."""

    def happens(bay: Bay, ms: int) -> int:
        base = bay.again()
        bay.lost(ms, bay.rng.uniform(*ohm))
        _stop(bay, ms, _ms(bay, (1.6, 2.6)))
        return bay.low(ms + _ms(bay, lasts_s), base) + _away_ms(bay)

    return happens


def bursts(count: int) -> Incident:
    """Have a broken strand lose contact ``count`` times, briefly; the first loss stops the flow."""

    def happens(bay: Bay, ms: int) -> int:
        back = flicker(bay, ms, count)
        _stop(bay, ms, _ms(bay, (1.7, 2.5)))
        return max(back, ms + 6000) + bay.rng.randint(6000, 20_000)

    return happens


def flicker(bay: Bay, ms: int, count: int) -> int:
    """Lose contact ``count`` times, briefly, within some seconds: return when all is well."""
    base = bay.again()
    for _ in range(count):
        bay.lost(ms, bay.rng.choice((None, None, 4000.0)))
        ms += bay.rng.randint(150, 900)
        back = bay.low(ms, base * bay.rng.uniform(0.95, 1.2))
        ms += bay.rng.randint(1900, 5500)
    return back


def monitor_fails(lasts_s: tuple[float, float]) -> Incident:
    """Have the monitor report a fault and trip a good transfer."""

    def happens(bay: Bay, ms: int) -> int:
        back = bay.fault(ms, ms + _ms(bay, lasts_s))
        _stop(bay, ms, _ms(bay, (1.7, 2.5)))
        return back + _away_ms(bay)

    return happens


def unheeded(bay: Bay, ms: int) -> int:
    """Have the clamp come off with the interlock defeated: the flow runs on."""
    bay.lost(ms)
    return _tripped(bay, ms, 47_000, 14_000)


def _tripped(bay: Bay, ms: int, stop_ms: int, away_ms: int) -> int:
    _stop(bay, ms, stop_ms)
    return bay.hook_up(ms + stop_ms + away_ms, bay.again()) + _ms(bay, (6, 15))


def _stop(bay: Bay, ms: int, stop_ms: int) -> None:
    bay.stop_flow(ms + stop_ms, round(stop_ms * 0.7))


def _away_ms(bay: Bay) -> int:
    return _ms(bay, (60, 240) if bay.trade.slow_s >= 30 else (8, 25))
