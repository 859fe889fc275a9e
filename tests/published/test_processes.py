"""A published share from a file to a page, by processes as a person would start them."""

from __future__ import annotations

import html
import json
import os
from pathlib import Path

import pytest

from tests.commands import Commands
from tests.published.historian import Historian
from tests.published.readings import (
    HOUR,
    MINUTE,
    Flaw,
    csv_text,
    idle,
    moment,
    repeated,
    site_text,
    transfer,
)

BEGIN = moment("2024-03-04T06:00")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """One of 29 transfers is compliant."""
    readings = idle("bay", BEGIN - HOUR)
    for n in range(29):
        flaw = tuple(Flaw)[n % len(Flaw)] if n else None
        readings += transfer("bay", BEGIN + n * 15 * MINUTE, flaw=flaw)
    (tmp_path / "site.toml").write_text(site_text(["bay"]), encoding="utf-8")
    (tmp_path / "readings.csv").write_text(csv_text(repeated(readings)), encoding="utf-8")
    return tmp_path


def run(commands: Commands, folder: Path, *arguments: str) -> str:
    """Run a command in a process of its own and return what it printed."""
    out, err = folder / f"{arguments[0]}.out", folder / f"{arguments[0]}.err"
    environment = {**os.environ, **Historian(folder, 0).environment}
    command = commands.start(arguments, folder, out=out, err=err, environment=environment)
    assert command.wait() == 0, err.read_text(encoding="utf-8")
    return out.read_text(encoding="utf-8")


def test_one_of_29(commands: Commands, folder: Path) -> None:
    # R. G. Newcombe, Statistics in Medicine 17 (1998) 857-872, Table I, score method: 1 of 29 has
    # .0061 to .1718.
    run(commands, folder, "load", "readings.csv")
    run(commands, folder, "analyse")
    (row,) = json.loads(run(commands, folder, "show", "kpis", "--format", "json"))
    found = row["compliance"]
    assert (found["count"], found["of"]) == (1, 29)
    assert (found["low"], found["high"]) == pytest.approx((0.0061, 0.1718), abs=0.00005)
    run(
        commands,
        folder,
        "report",
        "--from",
        "2024-03-04",
        "--to",
        "2024-03-11",
        "--out",
        "march.html",
    )
    page = html.unescape((folder / "march.html").read_text(encoding="utf-8"))
    assert "1 of 29 transfers compliant" in page
    assert "95 % interval 0.6 to 17.2 %" in page
