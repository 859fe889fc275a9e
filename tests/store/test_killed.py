"""Kill -9 at any moment: nothing committed is lost, nothing doubled, the next start works."""

from __future__ import annotations

import itertools
import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

import numpy as np
import pytest
from sqlalchemy import func, select

from bondtrail.samples import Samples
from store import NEVER, Store, open_store
from store.schema import journal, segment
from tests.store.loading import POINTS, S, arrival, batch

ROOT = Path(__file__).parents[2]
Loader = subprocess.Popen[str]


@pytest.mark.parametrize(
    ("kind", "rounds"), [("sqlite", 10), ("postgresql", 4)], ids=["sqlite", "postgresql"]
)
def test_killed_at_any_moment_nothing_is_lost_or_doubled(
    kind: str, rounds: int, request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    url = (
        f"sqlite:///{tmp_path}/store.db"  # not made yet: the first rounds may kill the making
        if kind == "sqlite"
        else str(request.getfixturevalue("postgres_url"))
    )
    moments = random.Random(3)
    done = -1
    with loader(url) as running:
        for number in range(rounds):
            commits = 0 if number < 3 else moments.randrange(6)
            done = load_and_kill(running, done + 1, commits, moments.uniform(0, 0.04))
            with open_store(url) as store:
                must_hold(store, done)
    assert done >= 2, "hardly a batch was ever committed"


@contextmanager
def loader(url: str) -> Iterator[Loader]:
    with subprocess.Popen(
        # By its path: an installed library may have a package named "tests" too.
        [sys.executable, str(Path(__file__).with_name("loading.py")), url],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as running:
        yield running


def load_and_kill(running: Loader, first: int, commits: int, pause: float) -> int:
    """Load from a batch on; kill after some commits and a pause; return the last committed."""
    said, heard = running.stdin, running.stdout
    assert said is not None
    assert heard is not None
    said.write(f"go {first}\n")
    said.flush()
    done, pid = hear(heard, first - 1, commits)
    time.sleep(pause)
    os.kill(pid, signal.SIGKILL)
    for line in iter(heard.readline, "gone\n"):
        assert line, "the loader ended by itself"
        done = int(line)
    return done


def hear(heard: IO[str], done: int, commits: int) -> tuple[int, int]:
    """Listen until the child's id and some commits were told, in whatever order."""
    pid = 0
    while not pid or commits > 0:
        line = heard.readline()
        assert line, "the loader ended by itself"
        if line.startswith("pid"):
            pid = int(line.split()[1])
        else:
            done, commits = int(line), commits - 1
    return done, pid


def must_hold(store: Store, done: int) -> None:
    """Every batch up to ``done`` is there, and of the next one perhaps a part."""
    assert store.check() == []
    counts = {found.point: found.samples for found in store.points()}
    for point in POINTS:
        certain = expected(point, done)
        possible = certain | of_batch(point, done + 1)
        back = store.read(point)
        assert np.all(np.diff(back.time) > 0)
        assert set(certain) <= set(back.time.tolist()) <= set(possible)
        for moment, value in zip(back.time.tolist(), back.value.tolist(), strict=True):
            assert value in (certain.get(moment), possible[moment])
        assert counts.get(point, 0) == len(back)
        must_have_arrived(store, point, back, POINTS.index(point))
        must_have_kept(store, point, back, done)
    must_be_tidy(store)


def must_have_arrived(store: Store, point: str, back: Samples, add: int) -> None:
    """Each reading, whose value tells the number of its batch, arrived when that one did."""
    told = store.arrivals(point, back.time)
    tells = np.isfinite(back.value)
    expected = [arrival(int(value - add)) for value in back.value[tells].tolist()]
    assert np.all(told.first[tells] <= expected)
    assert np.all(told.last[tells] >= expected)
    assert np.all(told.last - told.first <= 60 * S)
    assert np.all(told.first != NEVER)


def must_have_kept(store: Store, point: str, back: Samples, done: int) -> None:
    """What was there before is on record, in its order: every value up to the one there now."""
    said: dict[int, list[float]] = {moment: [] for moment in back.time.tolist()}
    for each in store.replaced(point):
        assert each.at is not None
        for moment, value in zip(each.samples.time.tolist(), each.samples.value, strict=True):
            said[moment].append(float(value))
    for moment, value in zip(back.time.tolist(), back.value.tolist(), strict=True):
        said[moment].append(value)
    certain, more = sequences(point, done), of_batch(point, done + 1)
    for moment, values in said.items():
        sure = certain.get(moment, [])
        assert values in (sure, followed(sure, more[moment]) if moment in more else sure)


def of_batch(point: str, number: int) -> dict[int, float]:
    samples = batch(number)[point]
    return dict(zip(samples.time.tolist(), samples.value.tolist(), strict=True))


def sequences(point: str, last: int) -> dict[int, list[float]]:
    """Return the values of each moment up to a batch, each that differs from the one before."""
    told: dict[int, list[float]] = {}
    for number in range(last + 1):
        for moment, value in of_batch(point, number).items():
            told[moment] = followed(told.get(moment, []), value)
    return told


def followed(values: list[float], value: float) -> list[float]:
    return values if values[-1:] == [value] else [*values, value]


def expected(point: str, last: int) -> dict[int, float]:
    held: dict[int, float] = {}
    for number in range(last + 1):
        held |= of_batch(point, number)
    return held


def must_be_tidy(store: Store) -> None:
    """Folded, each sample is in one segment, and no two segments of a point overlap."""
    store.fold()
    with store._db.reading() as tx:
        assert tx.conn.execute(select(func.count()).select_from(journal)).scalar() == 0
        columns = segment.c
        query = select(columns.point_id, columns.first_ns, columns.last_ns, columns.samples)
        rows = tx.conn.execute(query.order_by(columns.point_id, columns.first_ns)).all()
    for one, other in itertools.pairwise(rows):
        assert one.point_id != other.point_id or one.last_ns < other.first_ns
    assert sum(row.samples for row in rows) == sum(found.samples for found in store.points())
