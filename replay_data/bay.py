"""One bay: a clamp on a cable, the relay that watches it, and the valve that the relay holds."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from random import Random

from replay_data.recording import BAD, OPEN, Signal, number

RELAY_HOLD_MS = 1000
DEADBAND_OHM = 0.03
DEADBAND_FLOW = 0.01


@dataclass(frozen=True)
class Trade:
    """How a kind of bay works; flow in the bay's own unit, spans in seconds.

    ``flow_unit_s`` is the seconds of the flow's unit of time, ``ohm`` how many ohm the
    resistance's unit has.
    """

    quantity: tuple[float, float]
    rate: tuple[float, float]
    flow_unit_s: float
    slow_rate: float
    slow_s: float
    lead_s: tuple[float, float]
    release_s: tuple[float, float]
    ohm: float = 1.0
    limit: float = 10.0
    """Of the relay and of the site file. [ohm]"""
    bonded: tuple[float, float] = (1.6, 0.3)
    """Median and log-spread of a good hookup's resistance."""


@dataclass(frozen=True)
class Wires:
    """The signals of a bay; None where none is recorded."""

    resistance: Signal | None
    status: Signal | None
    permissive: Signal | None
    flow: Signal
    bypass: Signal | None


class Bay:
    """A bay that can be told what happens, in order of time. Moments are UTC milliseconds."""

    def __init__(self, trade: Trade, wires: Wires, rng: Random, start: int) -> None:
        self.trade, self.wires, self.rng = trade, wires, rng
        self.ohm: float | None = None
        self._base = 0.0
        self._drift = 0.0
        self._next_wander = 0
        self._closes: int | None = None
        self._closed = False
        self._stuck = False
        self._rate = 0.0
        self._steps: list[tuple[int, float]] = []
        self._flow(start + rng.randint(50, 900), 0.0)
        self._resistance(start + rng.randint(50, 900), None)
        for signal in (wires.status, wires.permissive, wires.bypass):
            _tell(signal, start + rng.randint(50, 900), "0")

    # the clamp

    def good(self) -> float:
        """Return the resistance of an ordinary good hookup."""
        median, spread = self.trade.bonded
        return median * math.exp(self.rng.gauss(0, spread))

    def again(self) -> float:
        """Return the resistance of the same clamp put on again, about as good as before."""
        return min(self._base * self.rng.uniform(0.9, 1.1), 0.94 * self.trade.limit)

    def hook_up(self, ms: int, ohm: float | None = None) -> int:
        """Bite, then hold: return when the relay has closed."""
        base = self.good() if ohm is None else ohm
        self._advance(ms)
        for _ in range(self.rng.choice((0, 1, 1, 2))):
            self._resistance(ms, max(base * self.rng.uniform(3, 40), 1.2 * self.trade.limit))
            ms += self.rng.randint(150, 500)
        return self.low(ms, base)

    def low(self, ms: int, base: float) -> int:
        """Read low and steady from here: return when the relay closes."""
        self._advance(ms)
        self._base, self._drift = base, 0.0
        self.ohm = base
        self._resistance(ms, base)
        self._next_wander = ms + self.rng.randint(1500, 9000)
        self._closes = ms + RELAY_HOLD_MS + self.rng.randint(250, 550)
        return self._closes

    def lost(self, ms: int, ohm: float | None = None) -> None:
        """Lose the bond: open, or at a resistance too high."""
        self._advance(ms)
        self.ohm = None
        self._resistance(ms, ohm)
        self._open_relay(ms)

    def high(self, readings: Sequence[tuple[int, float]]) -> None:
        """Read these (moment, ohm), none of them low, on a clamp that is on but not bonded."""
        self._advance(readings[0][0])
        for ms, ohm in readings:
            self._resistance(ms, ohm)

    def fault(self, ms: int, back: int) -> int:
        """Have the monitor fail for a while: return when the relay closes again, if bonded."""
        self._advance(ms)
        bonded = self.ohm is not None
        self._resistance(ms, self.ohm, BAD)
        self._open_relay(ms, state="2")
        self.ohm = None
        if bonded:
            _tell(self.wires.status, back + 40, "0")
            return self.low(back, self._base)
        self._resistance(back, None)
        _tell(self.wires.status, back + 40, "0")
        return back

    # the relay

    def hold_contact(self, ms: int, value: str) -> None:
        """Have the contact stick at 0 or 1, whatever the relay says."""
        self._advance(ms)
        self._stuck = True
        last = self.wires.permissive.changes[-1] if self.wires.permissive else None
        if last is not None and last.value != value:
            _tell(self.wires.permissive, ms, value)

    def free_contact(self, ms: int) -> None:
        """Have the contact follow the relay again."""
        self._advance(ms)
        self._stuck = False
        _tell(self.wires.permissive, ms, "1" if self._closed else "0")

    def _settle(self, ms: int) -> None:
        if self._closes is None or self._closes >= ms:
            return
        self._closed = True
        _tell(self.wires.status, self._closes - self.rng.randint(60, 200), "1")
        if not self._stuck:
            _tell(self.wires.permissive, self._closes, "1")
        self._closes = None

    def _open_relay(self, ms: int, state: str = "0") -> None:
        self._closes = None
        if self._closed or state != "0":
            _tell(self.wires.status, ms + self.rng.randint(40, 110), state)
        if self._closed and not self._stuck:
            _tell(self.wires.permissive, ms + self.rng.randint(120, 240), "0")
        self._closed = False

    def _advance(self, ms: int) -> None:
        self._settle(ms)
        while self.ohm is not None and self._next_wander < ms - 50:
            self._drift = 0.6 * self._drift + self.rng.gauss(0, 0.03)
            ohm = min(self._base * math.exp(self._drift), 0.97 * self.trade.limit)
            resistance = self.wires.resistance
            if resistance is not None and resistance.moved(ohm / self.trade.ohm, DEADBAND_OHM):
                self._resistance(self._next_wander, ohm)
            self._next_wander += 5000 + round(self.rng.expovariate(1 / 150_000))

    def _resistance(self, ms: int, ohm: float | None, quality: int = 0) -> None:
        value = OPEN if ohm is None else number(ohm / self.trade.ohm)
        if self.wires.resistance is not None:
            self.wires.resistance.set(ms, value, quality)

    # the valve

    def start_flow(self, ms: int, *, slow: bool = True) -> float:
        """Open the valve: return how many seconds the slow start costs."""
        trade, rng = self.trade, self.rng
        self._rate = rng.uniform(*trade.rate)
        wait = round(trade.slow_s * 1000) if slow else 0
        self._steps = [(ms + wait + n * 2500, part * self._rate) for n, part in _RISE]
        if slow:
            self._steps.insert(0, (ms, trade.slow_rate * rng.uniform(0.93, 1.07)))
        return wait / 1000 * (1 - trade.slow_rate / self._rate)

    def stop_flow(self, ms: int, over_ms: int) -> None:
        """Shut the valve: no flow from ``ms`` on, falling for ``over_ms`` before."""
        begins = ms - over_ms
        self._flow_until(begins)
        last = float(self.wires.flow.changes[-1].value)
        for n, part in enumerate((0.85, 0.5, 0.2)):
            self._flow(begins + n * over_ms // 3, last * part)
        self._flow(ms, 0.0)
        self._steps = []

    def full_s(self, quantity: float) -> float:
        """Return how many seconds the quantity takes at the rate of this run."""
        return quantity / self._rate * self.trade.flow_unit_s

    def _flow_until(self, ms: int) -> None:
        while self._steps and self._steps[0][0] < ms:
            moment, value = self._steps.pop(0)
            if self.wires.flow.moved(value, DEADBAND_FLOW):
                self._flow(moment, value)
            if not self._steps:
                wait = 12_000 + self.rng.randint(0, 40_000)
                self._steps = [(moment + wait, self._rate * self.rng.gauss(1, 0.015))]

    def _flow(self, ms: int, value: float) -> None:
        self.wires.flow.set(ms, f"{value:.1f}" if self.trade.rate[1] < 1000 else f"{value:.0f}")

    def turn_key(self, ms: int, value: str) -> None:
        """Turn the bypass key."""
        _tell(self.wires.bypass, ms, value)

    def finish(self, ms: int) -> None:
        """Write down what is still to come until ``ms``."""
        self._advance(ms)


_RISE = ((0, 0.45), (1, 0.8), (2, 1.0))


def _tell(signal: Signal | None, ms: int, value: str) -> None:
    if signal is not None:
        signal.set(ms, value)
