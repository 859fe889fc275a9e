"""Questions of ``show kpis`` over five years of 400 stations, beside the bare SQL sum of the days.

The yardstick adds up the same rows of the table of days, of the same columns, through Python's
own driver of SQLite: the histograms, which are text there, are left out of it.
"""

from __future__ import annotations

import datetime as dt
import os
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from analytics.kpis import kpi_rows
from benchmarks.five_years import FIRST, LAST, fill
from benchmarks.table import Row, median_seconds
from bondtrail.site import Site
from store import Store, open_store, schema

ODD = dt.date(2021, 3, 14), dt.date(2025, 10, 22)
MOST_S = 0.3
ROOT = Path(__file__).parents[1]

QUESTIONS: dict[str, dict[str, Any]] = {
    "five years, 400 stations": {"first": FIRST, "last": LAST},
    "an odd range, 400 stations": {"first": ODD[0], "last": ODD[1]},
    "an odd range, per area": {"first": ODD[0], "last": ODD[1], "per": "area"},
    "five years by month, 400 stations": {"first": FIRST, "last": LAST, "by": "month"},
    "five years by shift, 400 stations": {"first": FIRST, "last": LAST, "split_shifts": True},
    "five years by month, the site": {"first": FIRST, "last": LAST, "by": "month", "per": "site"},
    "five years by day, one station": {
        **{"first": FIRST, "last": LAST, "by": "day", "stations": ["bay-007"]},
    },
    "an odd range by shift, the site": {
        **{"first": ODD[0], "last": ODD[1], "per": "site", "split_shifts": True},
    },
}

COMMANDS = {
    "the command, five years": [],
    "the command, an odd range per area": [
        *("--from", str(ODD[0]), "--to", str(ODD[1]), "--per", "area"),
    ],
}


def measure() -> list[Row]:
    """Return a row for each question, and for two of them asked of the command."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "five-years.db"
        with open_store(f"sqlite:///{path}") as store:
            site = fill(store)
            found = [_question(store, site, path, *each) for each in QUESTIONS.items()]
        return found + [_command(path, *each) for each in COMMANDS.items()]


def _question(store: Store, site: Site, path: Path, name: str, asked: dict[str, Any]) -> Row:
    ours = median_seconds(lambda: kpi_rows(store, site, **asked))
    with _bare(path) as connection:
        statement = _statement(asked)
        bare = median_seconds(lambda: connection.execute(statement).fetchall(), runs=1)
    return _row(name, ours, bare, "bare SQL")


def _row(name: str, ours: float, bare: float, yardstick: str) -> Row:
    return Row(
        name=name,
        ours=f"{ours * 1e3:.0f} ms",
        yardstick=f"{bare * 1e3:.0f} ms, {yardstick}",
        ratio=ours / bare,
        reach=f"under {MOST_S * 1e3:.0f} ms",
        reached=ours < MOST_S,
    )


@contextmanager
def _bare(path: Path) -> Iterator[sqlite3.Connection]:
    connection = sqlite3.connect(path)
    try:
        yield connection
    finally:
        connection.close()


def _statement(asked: dict[str, Any]) -> str:
    """Return the sum of the same rows of the same table, for each station and period."""
    shifts = asked.get("split_shifts", False)
    table = schema.shift_day if shifts else schema.day
    groups = {"station": ["station"], "area": ["station"], "site": []}[asked.get("per", "station")]
    groups = [*groups, *(["shift"] if shifts else [])]
    groups += {"day": ["day"], "month": ["substr(day, 1, 7)"], None: []}[asked.get("by")]
    sums = ", ".join(f"sum({name})" for name in schema.SUMMED)
    where = f"day between '{asked['first']}' and '{asked['last']}'"
    if "stations" in asked:
        where += f" and station = '{asked['stations'][0]}'"
    by = f" group by {', '.join(groups)}" if groups else ""
    return f"select {', '.join([*groups, sums])} from {table.name} where {where}{by}"


def _command(path: Path, name: str, options: list[str]) -> Row:
    """Time the whole command as a process, beside a process that imports what it needs."""

    def run(script: str, *words: str) -> Callable[[], object]:
        environment = {**os.environ, "PYTHONPATH": str(ROOT)}
        arguments = [sys.executable, "-c", script, *words]
        return lambda: subprocess.run(arguments, env=environment, check=True, capture_output=True)

    call = "import sys; from bondtrail.cli import main; sys.exit(main(sys.argv[1:]))"
    asked = ["show", "kpis", "--db", f"sqlite:///{path}", "--format", "json", *options]
    ours = median_seconds(run(call, *asked))
    bare = median_seconds(run("import analytics.kpis, store, bondtrail.cli"))
    return Row(
        name=name,
        ours=f"{ours * 1e3:.0f} ms",
        yardstick=f"{bare * 1e3:.0f} ms, its imports",
        ratio=ours / bare,
        reach="told, not judged",
        reached=True,
    )


if __name__ == "__main__":
    print(*measure(), sep="\n")
