"""The test quay as it runs: sources that publish, jobs, silent points and rejected rows."""

from __future__ import annotations

from bondtrail.results import Reject
from bondtrail.running import Source
from bondtrail.samples import Samples
from bondtrail.site import Site
from store import Store
from tests.dashboard.quay import S, fill

NOW = 1_780_000_000 * S
"""Three months after the results, in summer."""


def run_for_a_while(store: Store, site: Site) -> None:
    """Fill the store with results, and with what a service did until `NOW`."""
    fill(store, site)
    last = {"rail-1.resistance": 1, "rail-1.flow": 60, "bowl.running": -90, "gone.flow": 1}
    store.write(
        {point: Samples.of([NOW - ago * S], [0.0]) for point, ago in last.items()},
        rejects=[
            Reject("first.csv", "line 4", "no such tag", "2026-03-01,X9,1", NOW - 3 * S),
            Reject(
                "mqtt://broker", "topic a/b", "no number", '{"v": "x"}', NOW - S, 4123, last_at=NOW
            ),
        ],
        sources=[
            Source("mqtt rail-1", 500, NOW - S, 0.1, 0.02, 500),
            Source("sparkplug quay/gate", 90, NOW - 9 * S, -42.0, 0.3, 90),
        ],
    )
    for name, ago, failed in (("analyse", 20, False), ("retention", 900, True)):
        store.jobs.begin(name, NOW - (ago + 2) * S, "host 7")
        store.jobs.end(name, NOW - ago * S, f"{name} said this", failed)
