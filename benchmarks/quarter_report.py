"""The report of a quarter of 400 stations, from the store to the page."""

from __future__ import annotations

import tempfile
import time
from pathlib import Path

from analytics.reports import Period, gather, write_report
from analytics.reports.period import ONE_DAY
from benchmarks.five_years import FIRST, LAST, QUARTER, STATIONS, fill
from benchmarks.table import Row
from bondtrail.samples import Samples
from bondtrail.site import Site
from bondtrail.times import NS_PER_S, day_start
from store import Store, open_store

REACH_S = 10.0


def measure() -> list[Row]:
    """Time the page, beside the gathering of it alone."""
    with tempfile.TemporaryDirectory() as folder:
        return [_measured(Path(folder))]


def _measured(folder: Path) -> Row:
    with open_store(f"sqlite:///{folder / 'bench.db'}") as store:
        site = fill(store, STATIONS)
        _hear(store, site)
        period = Period(QUARTER, LAST + ONE_DAY)
        now = day_start(period.end, site.zone) + 3600 * NS_PER_S
        begun = time.perf_counter()
        report = gather(store, site, period, now=now)
        gathered = time.perf_counter()
        write_report(report, folder / "quarter.html")
        written = time.perf_counter()
    took = written - begun
    return Row(
        f"report of a quarter of {STATIONS} stations",
        f"{took:.1f} s",
        f"{gathered - begun:.1f} s to gather it",
        took / REACH_S,
        f"under {REACH_S:.0f} s",
        took < REACH_S,
    )


def _hear(store: Store, site: Site) -> None:
    """Write the first and the last reading of each station: they say of when there are records."""
    ends = [day_start(day, site.zone) for day in (FIRST, LAST + ONE_DAY)]
    samples = Samples.of([ends[0], ends[1] - NS_PER_S], [0.0, 0.0])
    store.write({f"{station.id}.flow": samples for station in site.stations})


if __name__ == "__main__":
    print(*measure(), sep="\n")
