"""How long it takes from a message at the broker to the finding that it makes.

``bondtrail run`` as a process of its own, beside a real mosquitto on a free port of this machine.
Transfers without a bond, each at a station of its own, are published one after the other, so that
they meet the schedule at all its phases; each counts until ``bondtrail show findings`` tells it.
"""

from __future__ import annotations

import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from benchmarks.table import Row
from store import Store, open_store
from tests.publishing import Publisher
from tests.services import KEEPS_ALL_IN_MEMORY, free_port, mosquitto

ROOT = Path(__file__).parents[1]
STATIONS = [f"bay-{n}" for n in range(1, 7)]
APART_S = 7.0
MOST_S = 65.0
START_S = 60.0
LASTS_S = 30

SITE = """\
schema = 1
[site]
id = "bench"
name = "Bench (invented)"
timezone = "Europe/Lisbon"
"""
STATION = """
[[station]]
id = "{id}"
name = "{id}"
kind = "road_tanker"
points = {{ resistance = {{}}, flow = {{ unit = "L/min" }} }}
"""


def measure() -> list[Row]:
    """Return the longest of the delays, beside their median."""
    with tempfile.TemporaryDirectory() as folder, mosquitto(lines=KEEPS_ALL_IN_MEMORY) as broker:
        url = f"sqlite:///{folder}/bench.db"
        site = Path(folder) / "site.toml"
        site.write_text(SITE + "".join(STATION.format(id=station) for station in STATIONS))
        with _running(folder, broker.url, url, site), open_store(url) as store:
            delays = _delays(store, url, broker.port)
    worst = max(delays)
    return [
        Row(
            name=f"publish to finding, longest of {len(delays)}",
            ours=f"{worst:.1f} s",
            yardstick=f"{statistics.median(delays):.1f} s, the median",
            ratio=worst / statistics.median(delays),
            reach=f"under {MOST_S:.0f} s",
            reached=worst < MOST_S,
        )
    ]


@contextmanager
def _running(folder: str, broker: str, url: str, site: Path) -> Iterator[None]:
    """Run the whole service until the block ends; it is ready as the block begins."""
    port = free_port()
    words = ["run", "--broker", broker, "--db", url, "--site", str(site), "--port", "0"]
    with (
        (Path(folder) / "log").open("wb") as log,
        subprocess.Popen(
            _command(*words, "--health", f"127.0.0.1:{port}"),
            env=_environment(),
            cwd=folder,
            stdout=log,
            stderr=log,
        ) as process,
    ):
        try:
            _wait_until_ready(process, port)
            yield
        finally:
            process.terminate()


def _command(*words: str) -> list[str]:
    script = "import sys; from bondtrail.cli import main; sys.exit(main())"
    return [sys.executable, "-c", script, *words]


def _environment() -> Mapping[str, str]:
    return {**os.environ, "PYTHONPATH": str(ROOT)}


def _wait_until_ready(process: subprocess.Popen[bytes], port: int) -> None:
    give_up = time.monotonic() + START_S
    while True:
        try:
            urllib.request.urlopen(f"http://127.0.0.1:{port}/readyz", timeout=5).close()
            return
        except OSError as exc:
            if process.poll() is not None or time.monotonic() > give_up:
                raise RuntimeError("bondtrail run does not become ready") from exc
            time.sleep(0.2)


def _delays(store: Store, url: str, port: int) -> list[float]:
    """Publish a transfer at each station; return how long each took to be told. [s]"""
    published: dict[str, float] = {}
    told: dict[str, float] = {}
    begun = time.monotonic()
    while len(told) < len(STATIONS):
        due = int((time.monotonic() - begun) / APART_S) + 1
        for station in STATIONS[len(published) : due]:
            _publish(port, station)
            published[station] = time.monotonic()
        found = {finding.station for finding in store.findings(kind="no_bond_transfer")}
        if found - set(told):
            for station in set(_shown(url)) - set(told):
                told[station] = time.monotonic()
        if time.monotonic() - begun > len(STATIONS) * APART_S + MOST_S:
            raise RuntimeError(f"no finding at {', '.join(sorted(set(STATIONS) - set(told)))}")
        time.sleep(0.1)
    return [told[station] - published[station] for station in STATIONS]


def _publish(port: int, station: str) -> None:
    """Publish a transfer that has just ended and never had a bond; return once it is taken."""
    now = time.time_ns() // 1_000_000
    seconds = range(LASTS_S + 1)
    times = [now - (LASTS_S - second) * 1000 for second in seconds]
    flows = [600 if 3 <= second < LASTS_S - 2 else 0 for second in seconds]
    flow = [{"t": at, "v": value} for at, value in zip(times, flows, strict=True)]
    bond = [{"t": at, "v": "open"} for at in times]
    parts = {"resistance": bond, "flow": flow}
    with Publisher(port) as publisher:
        publisher.publish(
            (f"bondtrail/bench/{station}/{role}", json.dumps(readings).encode())
            for role, readings in parts.items()
        )


def _shown(url: str) -> list[str]:
    """Return the stations of which the command tells such a finding."""
    words = ["show", "findings", "--kind", "no_bond_transfer", "--db", url, "--format", "json"]
    done = subprocess.run(_command(*words), env=_environment(), check=True, capture_output=True)
    return [row["station"] for row in json.loads(done.stdout)]


if __name__ == "__main__":
    print(*measure(), sep="\n")
