from __future__ import annotations

import shutil
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import create_engine, text

from bondtrail.metrics import Metrics
from bondtrail.pauses import Pauses
from bondtrail.results import Reject
from bondtrail.running import Given, Source
from bondtrail.samples import Samples
from ingest.live.committing import Committer
from store import StoreError, open_store

S = 1_000_000_000
BEGIN = 1_772_323_200 * S  # 2026-03-01


@dataclass
class Some:
    """A batch."""

    batch: dict[str, Samples]
    rejects: list[Reject] = field(default_factory=list)
    sources: list[Source] = field(default_factory=list)
    given: list[Given] = field(default_factory=list)


@pytest.fixture
def url(made: Path, tmp_path: Path) -> str:
    return f"sqlite:///{shutil.copy(made, tmp_path / 'live.db')}"


def flows(*values: float) -> Samples:
    count = len(values)
    return Samples.of([BEGIN + n * S for n in range(count)], list(values), [0] * count)


def test_what_the_database_refuses_is_waited_for_however_long(url: str) -> None:
    """A rule that somebody added to a table, as a right that is missing, or a damaged page."""
    with open_store(url) as store:
        engine = create_engine(url)
        told: list[StoreError] = []

        def wait(_: float) -> bool:
            if len(told) == 10:
                with engine.begin() as conn:
                    conn.execute(text("drop trigger refuse"))
            return len(told) > 10

        with engine.begin() as conn:
            conn.execute(
                text(
                    "create trigger refuse before insert on journal "
                    "begin select raise(abort, 'not here'); end"
                )
            )
        committer = Committer(
            store,
            "mqtt://broker",
            Metrics(),
            wait=wait,
            on_trouble=told.append,
            pauses=Pauses(0.0, 0.0),
        )
        assert committer.commit(Some({"rail-1.flow": flows(1.0, 2.0)}), BEGIN)
        engine.dispose()
        assert len(told) == 10
        assert "not here" in str(told[-1])
        assert store.read("rail-1.flow").value.tolist() == [1.0, 2.0]
        assert store.rejects() == []


def test_a_point_that_no_store_holds_is_set_aside_and_the_others_are_kept(url: str) -> None:
    with open_store(url) as store:
        committer = Committer(
            store,
            "mqtt://broker",
            Metrics(),
            wait=lambda _: True,
            on_trouble=lambda exc: None,
            pauses=Pauses(0.0, 0.0),
        )
        batch = {"rail-1.flow": flows(1.0), "rail-2.flow": flows(5.0, np.nan)}
        assert committer.commit(Some(batch), BEGIN)
        assert store.read("rail-1.flow").value.tolist() == [1.0]
        (reject,) = store.rejects()
    assert (reject.where, reject.point, reject.count) == ("point rail-2.flow", "rail-2.flow", 2)
    assert "NaN is no value" in reject.reason
    assert reject.raw == "2026-03-01T00:00:00.000Z,5.0,0\n2026-03-01T00:00:01.000Z,nan,0"
