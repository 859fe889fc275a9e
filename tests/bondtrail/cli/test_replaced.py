"""Readings that a later file replaces stay on record, and whoever asks is told of them."""

from __future__ import annotations

import io
import math
import shutil
from contextlib import redirect_stdout
from pathlib import Path

import pytest

from bondtrail.cli import main, opening
from bondtrail.results import Transfer
from bondtrail.samples import Samples
from bondtrail.times import NS_PER_S, format_time, parse_time
from store import open_store
from tests.bondtrail.cli.conftest import SITE, Run

BEGIN = parse_time("2026-07-01T06:00:00Z")
LOADED = parse_time("2026-07-02T12:00:00Z")
MENDED = parse_time("2026-07-09T03:14:15Z")
TRANSFER = "bay-1/20260701T060020.000Z"
LOST = range(100, 130)
"""Seconds of open clamp in flow."""


def row(second: int, tag: str, value: str) -> str:
    return f"{format_time(BEGIN + second * NS_PER_S)},{tag},{value}\n"


def write_files(folder: Path) -> None:
    """Write a file with the clamp open in flow, and one with better values for those seconds."""
    with (folder / "one.csv").open("w") as one:
        one.write("time,tag,value\n")
        for second in range(300):
            is_on = 10 <= second < 230 and second not in LOST
            one.write(row(second, "GND1", "3.4" if is_on else "OL"))
            one.write(row(second, "PERM1", "1" if 15 <= second < 225 else "0"))
            one.write(row(second, "FT1", "800" if 20 <= second < 200 else "0"))
    (folder / "site.toml").write_text(SITE, encoding="utf-8")
    two = "time,tag,value\n" + "".join(row(second, "GND1", "3.0") for second in LOST)
    (folder / "two.csv").write_text(two)


def judged(folder: Path, file: str, now: int) -> tuple[str, Transfer]:
    """Load a file and analyse; return what was said, and the only transfer that is found then."""
    db = ("--db", f"sqlite:///{folder / 'bondtrail.db'}")
    with pytest.MonkeyPatch.context() as patch, redirect_stdout(io.StringIO()) as said:
        patch.setattr(opening, "clock_ns", lambda: now)
        assert main(["load", str(folder / file), "--site", str(folder / "site.toml"), *db]) == 0
        assert main(["analyse", *db]) == 0
    with open_store(db[1]) as store:
        (found,) = store.transfers()
    return said.getvalue(), found


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store whose loss of bond was overwritten a week later, and that says compliant."""
    folder = tmp_path_factory.mktemp("replaced")
    write_files(folder)
    _, before = judged(folder, "one.csv", LOADED)
    assert not before.compliant
    assert "bond_lost_in_flow" in " ".join(before.findings)
    said, after = judged(folder, "two.csv", MENDED)
    assert "30" in said
    assert (after.id, after.compliant, after.findings) == (TRANSFER, True, ())
    return folder / "bondtrail.db"


@pytest.fixture
def mended(whole: Path, folder: Path) -> None:
    """A copy of that store in the folder where the commands run."""
    shutil.copy(whole, folder / "bondtrail.db")


@pytest.mark.usefixtures("mended")
def test_the_replay_says_what_was_overwritten(run: Run) -> None:
    out = " ".join(run("replay", TRANSFER).out.split())
    missing = out.partition("What is missing")[2].partition("What happened")[0]
    assert (
        "resistance: 30 readings were replaced on 2026-07-09T03:14:15.000Z: the earlier values are "
        "kept, open circuit, 2026-07-01 07:01:40"
    ) in missing


@pytest.mark.usefixtures("mended")
def test_programs_get_it_too(run: Run) -> None:
    (replaced,) = run("replay", TRANSFER, "--format", "json").json["replaced"]
    assert replaced == {
        "role": "resistance",
        "at": "2026-07-09T03:14:15.000Z",
        "count": 30,
        "first": "2026-07-01T06:01:40.000Z",
        "last": "2026-07-01T06:02:09.000Z",
        "lowest": None,
        "highest": None,
        "open": True,
    }


@pytest.mark.usefixtures("mended")
def test_the_earlier_values_are_in_the_store(folder: Path) -> None:
    time = [BEGIN + second * NS_PER_S for second in LOST]
    with open_store(f"sqlite:///{folder}/bondtrail.db") as store:
        (kept,) = store.replaced("bay-1.resistance")
        assert kept.samples == Samples.of(time, [math.inf] * 30)
        assert kept.at == MENDED


@pytest.mark.usefixtures("mended")
def test_check_says_of_which_points_readings_were_replaced(run: Run) -> None:
    out = " ".join(run("check").out.split())
    assert (
        "note 30 readings replaced by later ones that differ: bay-1.resistance 30; the earlier "
        "values are kept -> bondtrail replay tells when, and what they said first"
    ) in out


def test_check_says_nothing_where_nothing_was_replaced(
    run: Run, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_files(folder)
    monkeypatch.setattr(opening, "clock_ns", lambda: LOADED)
    run("load", "one.csv", "--site", "site.toml")
    run("load", "one.csv", "--site", "site.toml")
    assert "replaced" not in run("check").out
