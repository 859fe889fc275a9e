"""The report of a quarter of 400 stations, from the store to the page."""

from __future__ import annotations

import tempfile
import time
from pathlib import Path

from analytics.reports import Period, gather, write_report
from benchmarks.five_years import LAST, QUARTER, STATIONS, fill
from benchmarks.table import Row
from bondtrail.times import NS_PER_S, day_start
from store import open_store

REACH_S = 10.0


def measure() -> list[Row]:
    """Time the page, beside the gathering of it alone."""
    with tempfile.TemporaryDirectory() as folder:
        return [_measured(Path(folder))]


def _measured(folder: Path) -> Row:
    with open_store(f"sqlite:///{folder / 'bench.db'}") as store:
        site = fill(store, STATIONS)
        period = Period(QUARTER, LAST.replace(year=LAST.year + 1, month=1, day=1))
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


if __name__ == "__main__":
    print(*measure(), sep="\n")
