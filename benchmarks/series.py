"""A resistance point as monitors send it: 1 Hz with ms jitter, 0.01 ohm steps, or open."""

from __future__ import annotations

import numpy as np

from bondtrail.samples import Samples
from bondtrail.times import NS_PER_MS

DAY = 86_400
START = 1_767_225_600_000  # 2026-01-01, in ms


def resistance(days: int, seed: int = 1) -> Samples:
    """Return some days: a drifting, noisy bond that is taken off and put on again."""
    rng = np.random.default_rng(seed)
    size = days * DAY
    time = (START + 1000 * np.arange(size) + rng.integers(-20, 21, size)) * NS_PER_MS
    drift = 2.5 + 0.5 * np.sin(np.arange(size) / 9_000)
    value = np.round(drift + rng.normal(0, 0.04, size), 2)
    for begin in rng.integers(0, size, days * 12):  # an hour or so between hookups
        value[begin : begin + int(rng.integers(300, 4_000))] = np.inf
    return Samples.of(time, value)
