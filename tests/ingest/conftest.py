from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from bondtrail.results import Reject
from bondtrail.site import Site, parse_site
from ingest import FileReport, load_files
from store import Store, open_store

NOW = 1_772_400_000_000_000_000

SITE = """
schema = 1
[site]
id = "quay"
name = "Quay (invented)"
timezone = "Europe/Lisbon"
[[station]]
id = "rail-1"
name = "Rail spot 1"
kind = "rail_tank_car"
[station.points]
resistance = { alias = ["M1/1", "Füllstelle 1"], unit = "ohm" }
status = { alias = ["S1"] }
permissive = { alias = ["P1"] }
flow = { alias = ["F1"], unit = "m3/h" }
running = { alias = ["R1"] }
bypass = { alias = ["K1"] }
[[station]]
id = "rail-2"
name = "Rail spot 2"
kind = "rail_tank_car"
[station.points]
resistance = { alias = ["M1/2"], unit = "kohm" }
flow = { alias = ["F2"], unit = "L/min" }
"""


@pytest.fixture(scope="session")
def site() -> Site:
    return parse_site(SITE)


@pytest.fixture(scope="session")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An empty store: making its tables takes longer than most tests."""
    path = tmp_path_factory.mktemp("made") / "trail.db"
    open_store(f"sqlite:///{path}").close()
    return path


@pytest.fixture
def store(made: Path, tmp_path: Path) -> Iterator[Store]:
    folder = tmp_path / "store"
    folder.mkdir()
    shutil.copy(made, folder / "trail.db")
    with open_store(f"sqlite:///{folder / 'trail.db'}") as opened:
        yield opened


class Loaded:
    """One file loaded into an empty store, and what became of it."""

    def __init__(self, store: Store, report: FileReport) -> None:
        self.store, self.report = store, report

    @property
    def counts(self) -> tuple[int, int, int, int, int]:
        """Read, new, repeated, replaced, rejected."""
        report = self.report
        return (report.read, report.new, report.repeated, report.replaced, report.rejected)

    @property
    def rejects(self) -> list[Reject]:
        return self.store.rejects()

    def samples(self, point: str) -> list[tuple[int, float, int]]:
        found = self.store.read(point)
        return list(
            zip(found.time.tolist(), found.value.tolist(), found.quality.tolist(), strict=True)
        )

    def values(self, point: str) -> list[float]:
        return [value for _, value, _ in self.samples(point)]


Load = Callable[..., Loaded]


@pytest.fixture
def load(store: Store, site: Site, tmp_path: Path) -> Load:
    """Write a file and load it."""

    def write_and_load(content: bytes | str, name: str = "file.csv", **options: object) -> Loaded:
        path = tmp_path / name
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        report = load_files(store, site, [path], now=NOW, **options)  # type: ignore[arg-type]
        return Loaded(store, report.files[0])

    return write_and_load
