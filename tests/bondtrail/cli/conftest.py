"""One way to run a command in a test: inside the process, in an empty folder."""

from __future__ import annotations

import json
import os
import shutil
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

import bondtrail
from bondtrail.cli import main
from bondtrail.settings import DB_VARIABLE, SITE_VARIABLE
from store import open_store
from store.engine import Database
from store.upgrade import upgrade

SITE = """\
schema = 1

[site]
id = "test-site"
name = "Test site (invented)"
timezone = "Europe/Lisbon"

[[station]]
id = "bay-1"
name = "Road bay 1"
kind = "road_tanker"

[station.points]
resistance = { alias = ["GND1"], unit = "ohm" }
permissive = { alias = ["PERM1"] }
flow       = { alias = ["FT1"], unit = "L/min" }

[[station]]
id = "dryer"
name = "Dryer bowl"
kind = "fixed_item"

[station.points]
resistance = { alias = ["GND2"], unit = "ohm" }
"""


@dataclass(frozen=True)
class Outcome:
    """What a command left: its exit status and what it printed."""

    status: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        return json.loads(self.out)


Run = Callable[..., Outcome]


@pytest.fixture(scope="session")
def made_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store that holds nothing."""
    path = tmp_path_factory.mktemp("made") / "store.db"
    open_store(f"sqlite:///{path}").close()
    return path


@pytest.fixture(autouse=True)
def _made_once(made_file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Begin a new store as a copy of one: making the tables takes longer than most commands."""

    def copied(db: Database) -> None:
        if db.path is not None and db.path.parent.is_dir() and not db.path.exists():
            shutil.copy(made_file, db.path)
        upgrade(db)

    monkeypatch.setattr("store.face.upgrade", copied)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty working folder, and no setting from the environment."""
    monkeypatch.chdir(tmp_path)
    for name in (SITE_VARIABLE, DB_VARIABLE):
        monkeypatch.delenv(name, raising=False)
    return tmp_path


@pytest.fixture
def run(folder: Path, capsys: pytest.CaptureFixture[str]) -> Run:
    """Run one command there."""

    def outcome(*arguments: str) -> Outcome:
        capsys.readouterr()
        status = main(arguments)
        printed = capsys.readouterr()
        return Outcome(status, printed.out, printed.err)

    return outcome


@pytest.fixture
def shell(folder: Path) -> dict[str, Any]:
    """How to start Bondtrail as a process of its own, wherever the tests run from."""
    room = str(Path(bondtrail.__file__).parents[1])
    script = "import sys; from bondtrail.cli import main; sys.exit(main())"
    return {"args": [sys.executable, "-c", script], "env": {**os.environ, "PYTHONPATH": room}}


@pytest.fixture
def site_file(folder: Path) -> str:
    """A site with a road bay and a fixed item."""
    (folder / "site.toml").write_text(SITE, encoding="utf-8")
    return "site.toml"
