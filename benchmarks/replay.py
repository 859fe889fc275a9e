"""The replay of six hours at 10 Hz, from command to JSON, beside the bare read of its readings."""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

from analytics.replay.gather import replay_transfer
from analytics.replay.objects import replay_object
from analytics.runs import analyse
from benchmarks.table import Row, median_seconds
from bondtrail.samples import Samples
from bondtrail.site import Role, parse_site
from bondtrail.times import NS_PER_S, parse_time
from store import Store, open_store

REACH_S = 2.0
HOURS = 6
RATE_HZ = 10
EARLIER = 20
"""Good transfers of the days before: those that a replay lays beside the one."""

BEGIN = parse_time("2026-03-01T06:00:00Z")
DAY_NS = 86_400 * NS_PER_S

SITE = """
schema = 1
[site]
id = "bench"
name = "Bench (invented)"
timezone = "Europe/Lisbon"
[product.toluene]
phase = "liquid"
conductivity_pS_m = 1.0
relative_permittivity = 2.38
mie_mJ = 0.24
source = "the benchmark's own"
[[station]]
id = "rail-1"
name = "Rail spot 1"
kind = "rail_tank_car"
product = "toluene"
pipe_diameter = "4 in"
[station.points]
resistance = { unit = "ohm" }
status = {}
permissive = {}
flow = { unit = "m3/h" }
bypass = {}
"""


def readings(day: int, *, loses: bool = False) -> dict[str, Samples]:
    """Return six hours of flow at 10 Hz with a minute on either side, of every point.

    ``loses``: the bond is open for half a minute in the middle, and flow goes on.
    """
    rng = np.random.default_rng(day)
    size = (HOURS * 3600 + 120) * RATE_HZ
    second = np.arange(size) / RATE_HZ
    time = BEGIN + day * DAY_NS + np.arange(size) * (NS_PER_S // RATE_HZ)
    bonded = (second >= 20) & (second < HOURS * 3600 + 100)
    flows = (second >= 60) & (second < HOURS * 3600 + 60)
    if loses:
        bonded &= ~((second >= 10_000) & (second < 10_030))
    resistance = np.where(bonded, np.round(rng.lognormal(1.0, 0.1, size), 2), np.inf)
    flow = np.where(flows, np.round(rng.normal(1500, 20, size), 1), 0.0)
    values = {
        Role.RESISTANCE: resistance,
        Role.STATUS: bonded,
        Role.PERMISSIVE: bonded,
        Role.FLOW: flow,
        Role.BYPASS: np.zeros(size),
    }
    return {f"rail-1.{role}": Samples.of(time, value) for role, value in values.items()}


def measure() -> list[Row]:
    """Time the command as a process, and what it does inside one, beside the bare read."""
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{Path(folder) / 'bench.db'}"
        with open_store(url) as store:
            wanted = filled(store, EARLIER)
            rows = [_inside(store, wanted)]
        return [_as_process(url, wanted), *rows]


def filled(store: Store, earlier: int) -> str:
    """Load some transfers and one that loses its bond, and judge them; return its id."""
    store.put_site(parse_site(SITE), 0)
    for day in range(earlier + 1):
        with store.bulk() as bulk:
            for point, samples in readings(day, loses=day == earlier).items():
                bulk.add(point, samples)
    analyse(store, now=BEGIN + 400 * DAY_NS)
    return store.transfers("rail-1")[-1].id


def _as_process(url: str, wanted: str) -> Row:
    command = ["replay", wanted, "--format", "json", "--db", url]
    script = "import sys; from bondtrail.cli import main; sys.exit(main())"
    ours = median_seconds(lambda: _called([sys.executable, "-c", script, *command]))
    bare = median_seconds(lambda: _called([sys.executable, "-c", _BARE, url, wanted]))
    return _row("replay of 6 h at 10 Hz, as a process", ours, bare)


_BARE = """
import sys
from store import open_store
with open_store(sys.argv[1]) as store:
    transfer = store.transfer(sys.argv[2])
    for role in ("resistance", "status", "permissive", "flow", "bypass"):
        store.read(f"rail-1.{role}", transfer.start, transfer.end)
"""


def _called(arguments: list[str]) -> bytes:
    return subprocess.run(arguments, check=True, stdout=subprocess.PIPE).stdout


def _inside(store: Store, wanted: str) -> Row:
    now = BEGIN + 400 * DAY_NS
    transfer = store.transfer(wanted)
    assert transfer is not None
    span = transfer.start, transfer.end

    def replayed() -> str:
        return json.dumps(replay_object(replay_transfer(store, wanted, now=now)))

    def read() -> list[Samples]:
        return [store.read(point.point, *span) for point in store.points()]

    return _row("the same, once all is imported", median_seconds(replayed), median_seconds(read))


def _row(name: str, ours: float, bare: float) -> Row:
    return Row(
        name,
        f"{ours:.2f} s",
        f"{bare:.2f} s to read it bare",
        ours / bare,
        f"under {REACH_S:.0f} s",
        ours < REACH_S,
    )


if __name__ == "__main__":
    print(*measure(), sep="\n")
