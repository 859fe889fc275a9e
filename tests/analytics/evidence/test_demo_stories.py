"""Each story of the demo, as evidence: its packages are sound."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from analytics.evidence import Grade, Package, build, verify_bytes
from analytics.runs import analyse
from bondtrail.results import Transfer
from bondtrail.site import load_site
from bondtrail.times import day_start, parse_time
from ingest import load_files
from replay_data import demo_files
from replay_data.stories import STORIES, Expected, Row, Story
from store import Store, open_store

NOW = parse_time("2026-04-20T00:00:00Z")


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory, empty_store: Path) -> Iterator[Store]:
    """The demo, loaded and analysed as `bondtrail demo` does."""
    path = tmp_path_factory.mktemp("demo") / "demo.db"
    shutil.copy(empty_store, path)
    files = demo_files()
    site = load_site(files.site)
    with open_store(f"sqlite:///{path}") as store:
        store.put_site(site, 0)
        load_files(store, site, [*map(str, (*files.readings, files.work, files.batch))], now=NOW)
        analyse(store, now=NOW)
        yield store


@pytest.fixture(autouse=True)
def _quickly_drawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """In place of drawings, which take a second."""
    drawn = {"record": b"<svg></svg>"}
    monkeypatch.setattr("analytics.evidence.building.drawings", lambda replay, shown: drawn)


def told_by(store: Store, row: Expected) -> Iterator[Transfer]:
    """Yield the transfers from where a row of a story is first found; none of a fixed item's."""
    begins = day_start(row.first, load_site(demo_files().site).zone)
    if row.row is Row.FINDING:
        found = store.findings(row.station, kind=row.name)
        begins = min((f.start for f in found if f.start >= begins), default=begins)
    yield from (each for each in store.transfers(row.station) if each.end > begins)


def packed(store: Store, story: Story) -> Package:
    transfer = next(each for row in story.expected for each in told_by(store, row))
    return build(store, transfer.id)


@pytest.mark.parametrize("story", STORIES, ids=[story.title.partition(":")[0] for story in STORIES])
def test_the_evidence_of_a_story_is_sound_and_explained(demo: Store, story: Story) -> None:
    package = packed(demo, story)
    assert list(package.unexplained) == []
    assert list(package.damaged) == []
    checks = verify_bytes(package.content).checks
    assert [said for check in checks if check.grade is Grade.WRONG for said in check.said] == []
    untold = {check.about for check in checks if check.grade is Grade.UNTOLD}
    # A drift rests on weeks of hookups, more than one package holds.
    assert untold <= {"signature", "SHA-256"} | ({"rules"} if package.beyond else set())
