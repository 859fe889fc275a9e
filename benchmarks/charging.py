"""The exact stepper of the hazard estimate, beside a compiled loop of the same recurrence."""

from __future__ import annotations

import numba
import numpy as np

from analytics.core.electrostatics.charging import potential
from benchmarks.table import Row, median_seconds
from bondtrail.samples import ValueArray

STEPS = 1_000_000
BANDS = 3
CAPACITANCE_F = 1e-9
WANTED = 20e6
"""Steps a second, each band's counted."""

Script = tuple[ValueArray, ValueArray, ValueArray]


def one_by_one(
    step_s: ValueArray,
    current_A: ValueArray,
    resistance_ohm: ValueArray,
    capacitance_F: float,
    edges_V: ValueArray,
) -> None:
    """Step each band in turn: the yardstick once compiled, with no check of what it is given."""
    for band in range(edges_V.shape[0]):
        volt = 0.0
        edges_V[band, 0] = volt
        for k in range(step_s.size):
            gain = current_A[band, k] * step_s[k] / capacitance_F
            ohm = resistance_ohm[band, k]
            x = step_s[k] / (ohm * capacitance_F) if ohm > 0 else np.inf
            if x < 0.7:
                lost = -np.expm1(-x)
                decay = 1.0 - lost
            elif x < 700:
                decay = np.exp(-x)
                lost = 1.0 - decay
            else:
                decay, lost = 0.0, 1.0
            volt = volt * decay + (gain * lost / x if x > 0 else gain)
            edges_V[band, k + 1] = volt


def scripts(seed: int = 7) -> dict[str, Script]:
    """Return records of 10 Hz at three bands: bonded, cut off with a leak, and any of it."""
    rng = np.random.default_rng(seed)
    step = rng.choice([0.04, 0.06, 0.1], STEPS)
    current = rng.uniform(0, 1e-5, (BANDS, STEPS))
    shape = (BANDS, STEPS)
    return {
        "bonded": (step, current, rng.lognormal(1, 0.1, shape)),
        "cut off": (step, current, 10.0 ** rng.uniform(8, 12, shape)),
        "any of it": (step, current, 10.0 ** rng.uniform(0, 13, shape)),
    }


def measure() -> list[Row]:
    """Time both on each script; ours has to take 20 million steps a second."""
    return [_row(name, script) for name, script in scripts().items()]


def _row(name: str, script: Script) -> Row:
    compiled = numba.njit()(one_by_one)
    edges = np.empty((BANDS, STEPS + 1))
    yardstick = median_seconds(lambda: compiled(*script, CAPACITANCE_F, edges))
    ours = median_seconds(lambda: potential(*script, CAPACITANCE_F))
    np.testing.assert_allclose(potential(*script, CAPACITANCE_F), edges, rtol=1e-9, atol=1e-280)
    steps = STEPS * BANDS
    return Row(
        f"hazard stepper, {name}",
        f"{steps / ours / 1e6:.0f} M steps/s",
        f"{steps / yardstick / 1e6:.0f} M steps/s compiled",
        yardstick / ours,
        "at least 20 M steps/s",
        steps / ours >= WANTED,
    )


if __name__ == "__main__":
    print(*measure(), sep="\n")
