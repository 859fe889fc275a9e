"""The rules on 100 million samples in memory, beside one numpy pass over the resistance alone."""

from __future__ import annotations

import numpy as np

from analytics.core.situation import Signals
from analytics.core.station import judge
from benchmarks.table import Row, median_seconds
from bondtrail.samples import Samples, ValueArray
from bondtrail.site import Role, Site, parse_site

SITE = """
schema = 1
[site]
id = "bench"
name = "Bench (invented)"
timezone = "Europe/Lisbon"
[[station]]
id = "rail-1"
name = "Rail spot 1"
kind = "rail_tank_car"
[station.points]
resistance = { unit = "ohm" }
permissive = {}
flow = { unit = "L/min" }
"""

SAMPLES = 100_000_000
CYCLE_S = 18_000


def bench_site() -> Site:
    """Return the invented site of the benchmarks: one rail spot."""
    return parse_site(SITE)


def year_of_transfers(samples: int, seed: int = 7) -> Signals:
    """Return resistance, permissive and flow at 1 Hz, a third of the samples each.

    Every five hours, as often as at a station of the demo, a clamp goes on for 70 minutes and
    product flows for 55 of them. Of ten
    hookups two break contact in flow for a second, one comes off for two minutes, one comes off
    while a slow valve lets flow run on, and one sits on paint and never achieves ground.
    """
    count = samples // 3
    rng = np.random.default_rng(seed)
    time = np.arange(count, dtype=np.int64) * 1_000_000_000 + rng.integers(0, 5_000_000, count)
    time += 1_770_000_000_000_000_000
    phase = np.arange(count, dtype=np.int32) % CYCLE_S
    resistance = np.round(rng.lognormal(1.0, 0.1, count), 2)
    bonded = (phase >= 600) & (phase < 4800)
    kind = (np.arange(count) // CYCLE_S) % 10
    bonded &= ~(np.isin(kind, (1, 3)) & (phase >= 2000) & (phase < 2120))
    bonded &= ~(np.isin(kind, (5, 7)) & (phase == 3000))
    resistance[~bonded] = np.inf
    painted = (kind == 8) & bonded
    resistance[painted] += 40.0
    bonded &= ~painted
    runs_on = (kind == 1) & (phase >= 2000) & (phase < 2008)
    flow = np.where((phase >= 900) & (phase < 4200) & (bonded | runs_on), 812.0, 0.0)
    return {
        Role.RESISTANCE: Samples.of(time, resistance),
        Role.PERMISSIVE: Samples.of(time, bonded.astype(float)),
        Role.FLOW: Samples.of(time, flow),
    }


def state_changes(resistance: ValueArray) -> int:
    """Return how often the bond state changes: the yardstick, with no time, gap or quality."""
    state = (resistance > 10.0).view(np.uint8) + (resistance >= 100_000.0).view(np.uint8)
    return int(np.flatnonzero(state[1:] != state[:-1]).size)


def measure() -> list[Row]:
    """Time the rules beside their yardstick."""
    site = bench_site()
    signals = year_of_transfers(SAMPLES)
    resistance = signals[Role.RESISTANCE].value
    count = sum(len(line) for line in signals.values())
    bare = resistance.size / median_seconds(lambda: state_changes(resistance))
    ours = count / median_seconds(lambda: judge(site.stations[0], signals, zone=site.zone), runs=3)
    ratio = ours / bare
    return [
        Row(
            "rules on 100 M samples in memory",
            f"{ours / 1e6:.0f} M samples/s",
            f"{bare / 1e6:.0f} M samples/s",
            ratio,
            "at least 0.2",
            ratio >= 0.2,
        )
    ]


if __name__ == "__main__":
    print(*measure(), sep="\n")
