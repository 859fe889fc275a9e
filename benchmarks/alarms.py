"""Alarm figures of five years of 400 stations, beside a bare read of the same rows."""

from __future__ import annotations

import datetime as dt
import sqlite3
import tempfile
from pathlib import Path

import numpy as np
from sqlalchemy import insert

from analytics.alarms import alarm_positions
from benchmarks.five_years import FIRST, LAST, five_years_site
from benchmarks.table import Row, median_seconds
from bondtrail.results import DaySums, StationResults
from bondtrail.samples import Samples
from bondtrail.site import Site
from bondtrail.times import NS_PER_S, day_start
from store import Store, alarm_parts, open_store, schema

ALARMS_A_DAY = 0.5
"""Of each station: 365 thousand in all."""
MOST_S = 0.3
_SEED = 7


def measure() -> list[Row]:
    """Return the row of the table: every figure of every position, over all five years."""
    site = five_years_site()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "alarms.db"
        with open_store(f"sqlite:///{path}") as store:
            count = _fill(store, site)
            ours = median_seconds(lambda: alarm_positions(store, site))
        theirs = median_seconds(lambda: _rows(path))
    return [
        Row(
            name=f"alarm figures, {count / 1000:.0f} k alarms",
            ours=f"{1000 * ours:.0f} ms",
            yardstick=f"{1000 * theirs:.0f} ms, the rows read",
            ratio=ours / theirs,
            reach=f"at most {1000 * MOST_S:.0f} ms",
            reached=ours <= MOST_S,
        )
    ]


def _fill(store: Store, site: Site) -> int:
    rng = np.random.default_rng(_SEED)
    start, end = (day_start(day, site.zone) for day in (FIRST, LAST + dt.timedelta(days=1)))
    first = site.stations[0].id
    store.put_site(site, 0)
    store.write({f"{first}.flow": Samples.of([start, end - NS_PER_S], [0.0, 0.0])})
    days = tuple(DaySums(first, day, known_s=86_400.0) for day in (FIRST, LAST))
    store.save_results(StationResults(first, days=days), since=0, since_day=FIRST)
    total = 0
    with store._db.writing() as tx:
        for station in site.stations:
            rows = _alarms(station.id, rng, start, end)
            tx.conn.execute(insert(schema.alarm), rows)
            alarm_parts.renew(tx, station.id, 0, None)
            total += len(rows)
    return total


def _alarms(
    station: str, rng: np.random.Generator, start: int, end: int
) -> list[dict[str, int | str]]:
    count = int(rng.poisson(ALARMS_A_DAY * (end - start) / NS_PER_S / 86_400))
    begins = np.sort(rng.integers(start, end, count))
    lasts = (rng.exponential(120.0, count) * NS_PER_S).astype(np.int64)
    kinds = rng.choice(len(alarm_parts.KINDS), count)
    told = zip(kinds.tolist(), begins.tolist(), (begins + lasts).tolist(), strict=True)
    return [
        {"station": station, "kind": str(alarm_parts.KINDS[k]), "start_ns": begin, "end_ns": over}
        for k, begin, over in told
    ]


def _rows(path: Path) -> int:
    connection = sqlite3.connect(path)
    rows = connection.execute("select station, kind, start_ns, end_ns from alarm").fetchall()
    connection.close()
    return len(rows)
