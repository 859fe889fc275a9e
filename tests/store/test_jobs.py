"""Jobs: one process at a time does each, and how the last run of each went is on record."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from pathlib import Path
from threading import Barrier

import pytest

from bondtrail.running import Job
from store import Store, StoreUnavailableError, open_store
from tests.store.test_trouble import hang_up

ROOT = Path(__file__).parents[2]
T0 = 1_767_225_600 * 10**9


def test_a_job_that_never_ran_is_not_told(store: Store) -> None:
    assert store.jobs.all() == []


def test_a_run_is_told_from_its_begin_on(store: Store) -> None:
    store.jobs.begin("fold", T0, "host:1")
    assert store.jobs.all() == [Job("fold", T0, None, None, 0, "", "host:1")]
    store.jobs.end("fold", T0 + 2, "12 rows", failed=False)
    assert store.jobs.all() == [Job("fold", T0, T0 + 2, T0 + 2, 0, "12 rows", "host:1")]
    store.jobs.begin("fold", T0 + 9, "host:2", 60.0)
    told = Job("fold", T0 + 9, T0 + 2, T0 + 2, 0, "12 rows", "host:2", 60.0)
    assert store.jobs.all() == [told]


def test_failures_in_a_row_are_counted_until_one_run_succeeds(store: Store) -> None:
    told = []
    for moment, failed in enumerate([True, True, False, True], T0):
        store.jobs.begin("analyse", moment, "host:1")
        store.jobs.end("analyse", moment, f"run {moment - T0}", failed=failed)
        [job] = store.jobs.all()
        told.append((job.failures, job.succeeded))
    assert told == [(1, None), (2, None), (0, T0 + 2), (1, T0 + 2)]
    assert job.said == "run 3"


def test_jobs_are_told_by_name_and_long_words_are_cut(store: Store) -> None:
    for name in ("silence", "analyse", "fold"):
        store.jobs.end(name, T0, "\u00b5" * 5000 + "\0", failed=True)
    assert [job.name for job in store.jobs.all()] == ["analyse", "fold", "silence"]
    assert store.jobs.all()[0].said == "\u00b5" * 2048


def test_a_job_is_of_whoever_comes_first_until_that_one_is_done(store_url: str) -> None:
    with open_store(store_url) as one, open_store(store_url) as other:
        with one.jobs.claim("fold") as first:
            with other.jobs.claim("fold") as second, other.jobs.claim("analyse") as another:
                assert (first, second, another) == (True, False, True)
            with one.jobs.claim("fold") as again:
                assert not again
        with other.jobs.claim("fold") as at_last:
            assert at_last


def test_of_many_at_once_one_gets_the_job(store: Store) -> None:
    all_have_asked = Barrier(6)

    def take(_: int) -> bool:
        with store.jobs.claim("fold") as is_mine:
            all_have_asked.wait(60)
            return is_mine

    with ThreadPoolExecutor(6) as pool:
        assert sum(pool.map(take, range(6))) == 1


def test_an_error_within_gives_the_job_back(store: Store) -> None:
    with pytest.raises(ZeroDivisionError), store.jobs.claim("fold"):
        1 / 0  # noqa: B018
    with store.jobs.claim("fold") as is_mine:
        assert is_mine


@pytest.mark.parametrize("name", ["", "../fold", "Fold", "a b", "fold\n", "f" * 60])
def test_a_job_needs_a_plain_name(store: Store, name: str) -> None:
    with pytest.raises(ValueError, match="expected small letters"), store.jobs.claim(name):
        pass


HOLDER = """
import sys
from store import open_store
with open_store(sys.argv[1]) as store, store.jobs.claim("fold") as is_mine:
    print(is_mine, flush=True)
    sys.stdin.read()
"""


@contextmanager
def holder(url: str) -> Iterator[subprocess.Popen[str]]:
    """Run a process that claims the job and waits."""
    with subprocess.Popen(
        [sys.executable, "-c", HOLDER, url],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as running:
        assert running.stdout is not None
        assert running.stdout.readline() == "True\n"
        try:
            yield running
        finally:
            running.kill()


def is_free(store: Store) -> bool:
    with store.jobs.claim("fold") as is_mine:
        return is_mine


def test_a_process_that_is_killed_gives_its_job_free(store_url: str) -> None:
    with open_store(store_url) as store, holder(store_url) as running:
        assert not is_free(store)
        running.kill()
        running.wait()
        give_up = time.monotonic() + 60  # the server notices in its own time
        while not is_free(store):
            assert time.monotonic() < give_up
            time.sleep(0.02)


def test_a_lost_connection_gives_the_job_free_and_does_not_end_in_an_error(
    made_database: str,
) -> None:
    with open_store(made_database) as store, open_store(made_database) as other:
        with store.jobs.claim("fold") as is_mine:
            assert is_mine
            hang_up(made_database)
            with other.jobs.claim("fold") as is_theirs:
                assert is_theirs
        assert is_free(store)


def test_stores_in_two_databases_have_jobs_of_their_own(
    made_database: str, postgres_url: str, sqlite_url: str, tmp_path: Path
) -> None:
    stores = [open_store(url) for url in (made_database, postgres_url, sqlite_url)]
    stores.append(open_store(f"sqlite:///{tmp_path}/other.db"))
    try:
        with ExitStack() as claims:
            assert all(claims.enter_context(store.jobs.claim("fold")) for store in stores)
    finally:
        for store in stores:
            store.close()


def test_a_claim_where_the_folder_is_gone_says_so(tmp_path: Path) -> None:
    folder = tmp_path / "folder"
    folder.mkdir()
    with open_store(f"sqlite:///{folder}/store.db") as store:
        folder.rename(tmp_path / "elsewhere")
        with (
            pytest.raises(StoreUnavailableError, match=r"folder .* is gone"),
            store.jobs.claim("fold"),
        ):
            pass
        assert not folder.exists()
