"""What `check` says of a site file, a store and its readings; it changes nothing."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from analytics.runs import analyse
from bondtrail.cli import opening
from bondtrail.samples import Samples
from bondtrail.site import load_site
from bondtrail.times import parse_time
from store import open_store
from store.schema import VERSION_TABLE

Run = Callable[..., Any]

NOW = parse_time("2026-03-10T00:00:00Z")
SECOND = 10**9
DB = "sqlite:///bondtrail.db"


@pytest.fixture(autouse=True)
def still_clock(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(opening, "clock_ns", lambda: NOW)


def fill(site_file: str, **last: int) -> None:
    """Store one good reading of each point of the road bay, at the moment given."""
    with open_store(DB) as store:
        store.put_site(load_site(Path(site_file)), 0)
        store.write({f"bay-1.{role}": Samples.of([at], [1.0]) for role, at in last.items()})


def remarks(text: str) -> dict[str, str]:
    """Return the remarks by their first words, each with its level."""
    lines = text.replace("\n       ", " ").splitlines()
    found = (line.split("  ", 1) for line in lines if line.startswith(("ok", "note", "WRONG")))
    return {said.strip(): level for level, said in found}


def said(shown: Any, words: str) -> str:
    (level,) = [level for said, level in remarks(shown.out).items() if words in said]
    return level


@pytest.mark.parametrize(("judged_ago_s", "notes"), [(30, 0), (90, 1)])
def test_what_went_on_holding_since_it_was_judged_is_not_up_to_date(
    run: Run, site_file: str, judged_ago_s: int, notes: int
) -> None:
    with Path(site_file).open("a", encoding="utf-8") as file:
        file.write("\n[limits]\nstale_after_s = 600\n")
    judged = NOW - judged_ago_s * SECOND
    fill(site_file, resistance=judged - 20 * SECOND)
    with open_store(DB) as store:
        analyse(store, now=judged)
    shown = run("check").out
    assert shown.count("results of 1 station are not up to date yet: bay-1") == notes


def test_a_site_file_alone_is_enough_and_no_store_is_made(
    run: Run, folder: Path, site_file: str
) -> None:
    shown = run("check", "--site", site_file)
    assert shown.status == 0
    assert said(shown, "Test site (invented), 2 stations, 4 points, Europe/Lisbon") == "ok"
    assert said(shown, "no store yet") == "note"
    assert [path.name for path in folder.iterdir()] == [site_file]


def test_it_says_what_each_station_can_and_cannot_be_judged_on(run: Run, site_file: str) -> None:
    lines = run("check", "--site", site_file).out.splitlines()
    bay = next(line for line in lines if line.startswith("bay-1"))
    assert "yes: bond, " in bay
    assert any(line.strip().startswith("no: bypass") for line in lines)
    assert any("not a safety function" in line for line in lines)


ESTIMATED = """\
schema = 1
[site]
id = "test"
name = "Test site (invented)"
timezone = "UTC"
[product.solvent]
phase = "liquid"
substance = "MEK"
[product.unheard-of]
phase = "liquid"
[product.sugar]
phase = "liquid"
[[station]]
id = "s-1"
name = "One"
kind = "drum"
product = "{product}"
pipe_diameter = "2 in"
pipe_length = "20 ft"
{own}
[station.points]
resistance = {{}}
flow = {{}}
"""


@pytest.mark.parametrize(
    ("product", "own", "reach", "words"),
    [
        pytest.param("solvent", 'capacitance = "0.1 nF"', "yes", "", id="by-the-table"),
        pytest.param("solvent", "", "in part", "(add: capacitance_pF)", id="by-its-kind"),
        pytest.param("sugar", "", "in part", "mie_mJ of the product)", id="of-another-phase"),
        pytest.param("unheard-of", "", "in part", "mie_mJ of the product)", id="not-in-the-table"),
    ],
)
def test_it_says_whether_a_hazard_can_be_estimated(
    run: Run, folder: Path, product: str, own: str, reach: str, words: str
) -> None:
    (folder / "site.toml").write_text(ESTIMATED.format(product=product, own=own), encoding="utf-8")
    shown = run("check", "--site", "site.toml")
    assert shown.status == 0
    parts = re.split(r"\b(yes|in part|no): ", " ".join(shown.out.split()))
    ((found, text),) = [
        pair for pair in zip(parts[1::2], parts[2::2], strict=True) if "hazard estimate" in pair[1]
    ]
    assert found == reach
    assert words in text


def test_a_wrong_site_file_does_not_keep_it_from_looking_at_the_store(
    run: Run, folder: Path, site_file: str
) -> None:
    fill(site_file, flow=NOW)
    (folder / "wrong.toml").write_text("schema = 1\n[sites]\n", encoding="utf-8")
    shown = run("check", "--site", "wrong.toml")
    assert shown.status == 2
    assert "wrong.toml" in shown.err
    assert said(shown, "store sqlite:///bondtrail.db: 1 samples") == "ok"


def test_beside_a_wrong_site_file_no_other_one_is_judged(
    run: Run, folder: Path, site_file: str
) -> None:
    fill(site_file, flow=NOW)
    (folder / "wrong.toml").write_text("schema = 1\n[sites]\n", encoding="utf-8")
    assert "Can be judged on" in run("check").out
    shown = run("check", "--site", "wrong.toml")
    assert "Can be judged on" not in shown.out
    assert said(shown, "site file in the store: ") == "ok"


@pytest.mark.parametrize(
    ("ages_s", "status", "words", "level"),
    [
        ({"resistance": 1, "flow": 1, "permissive": 1}, 0, "matches its checksum", "ok"),
        ({"resistance": 1, "flow": 1}, 0, "1 point never seen: bay-1.permissive", "note"),
        ({"resistance": 1, "flow": 6}, 0, "1 point silent", "note"),
        ({"resistance": 86400, "flow": 90000}, 0, "the newest reading is 1 d old", "note"),
        (
            {"resistance": 1, "flow": -60},
            0,
            "results of 1 station are not up to date yet: bay-1",
            "note",
        ),
        ({"resistance": 1, "flow": -61}, 3, "1 point with the last reading in the future", "WRONG"),
    ],
)
def test_readings(
    run: Run, site_file: str, ages_s: dict[str, int], status: int, words: str, level: str
) -> None:
    text = Path(site_file).read_text(encoding="utf-8")
    Path(site_file).write_text(text.partition('[[station]]\nid = "dryer"')[0], encoding="utf-8")
    fill(site_file, **{role: NOW - age * SECOND for role, age in ages_s.items()})
    shown = run("check")
    assert shown.status == status
    assert said(shown, words) == level


def test_a_damaged_block_is_named_and_wrong(run: Run, folder: Path, site_file: str) -> None:
    fill(site_file, flow=NOW)
    with open_store(DB) as store:
        store.fold()
    with sqlite3.connect("bondtrail.db") as raw:
        raw.execute("update segment set block = zeroblob(length(block))")
    raw.close()
    shown = run("check")
    assert shown.status == 3
    assert said(shown, "bay-1.flow") == "WRONG"


def test_a_changed_site_file_is_noted_and_left_for_the_next_load(
    run: Run, folder: Path, site_file: str
) -> None:
    fill(site_file, flow=NOW)
    text = (folder / site_file).read_text(encoding="utf-8").replace("Dryer bowl", "Dryer")
    (folder / site_file).write_text(text, encoding="utf-8")
    shown = run("check", "--site", site_file)
    assert shown.status == 0
    assert said(shown, "differs from the copy that the store holds") == "note"
    with open_store(DB) as store:
        assert len(store.sites()) == 1


def test_the_file_of_another_site_is_wrong(run: Run, folder: Path, site_file: str) -> None:
    fill(site_file, flow=NOW)
    text = (folder / site_file).read_text(encoding="utf-8").replace("test-site", "other")
    (folder / site_file).write_text(text, encoding="utf-8")
    shown = run("check", "--site", site_file)
    assert shown.status == 3
    assert said(shown, "the store belongs to site test-site") == "WRONG"


def test_points_that_left_the_site_file_are_noted(run: Run, site_file: str) -> None:
    fill(site_file, flow=NOW, status=NOW)
    assert said(run("check"), "in the store but not in the site file: bay-1.status") == "note"


def hold(why: str, number: int = 1) -> None:
    with open_store(DB) as store:
        for _ in range(number):
            store.holds.add(
                "bay-1", NOW - 60 * SECOND, NOW, why=why, author="A. Reed (invented)", at=NOW
            )


def test_holds_in_force_are_listed(run: Run, site_file: str) -> None:
    fill(site_file, flow=NOW)
    hold("Claim 7.", 2)
    with open_store(DB) as store:
        store.holds.release(1, "B. Moss (invented)", "Settled.", NOW)
    shown = run("check")
    assert shown.status == 0
    assert said(
        shown,
        "hold 2, by A. Reed (invented): readings of bay-1 from 2026-03-09 23:59:00 to "
        "2026-03-10 00:00:00 are kept: Claim 7.",
    ) == "ok"  # fmt: skip
    assert "hold 1" not in shown.out


@pytest.mark.parametrize(
    ("holds", "listed", "left"),
    [(6, range(1, 7), None), (7, range(2, 8), "1 older hold in force too"),
     (9, range(4, 10), "3 older holds in force too")],
)  # fmt: skip
def test_of_many_holds_the_newest_are_listed(
    run: Run, site_file: str, holds: int, listed: range, left: str | None
) -> None:
    fill(site_file, flow=NOW)
    hold("x" * 50 + " y" * 1900, holds)
    shown = run("check")
    numbers = [int(line.split()[2].strip(",")) for line in shown.out.splitlines()
               if " hold " in line and ", by " in line]  # fmt: skip
    assert numbers == list(listed)[::-1]
    assert ("in force too" in shown.out) is (left is not None)
    assert left is None or said(shown, left) == "ok"
    assert len(shown.out) < 5000


def test_every_line_fits(run: Run, site_file: str) -> None:
    fill(site_file, resistance=NOW + 10**12, permissive=NOW + 10**12, flow=NOW + 10**12)
    assert max(map(len, run("check").out.splitlines())) <= 100


def test_what_is_no_store_is_told(run: Run, folder: Path, site_file: str) -> None:
    (folder / "bondtrail.db").write_bytes(b"no database at all, but long enough to look at" * 99)
    shown = run("check", "--site", site_file)
    assert shown.status == 2
    assert "no database" in shown.err
    assert (folder / "bondtrail.db").read_bytes().startswith(b"no database at all")


@pytest.mark.parametrize("command", [["check"], ["show", "findings"], ["analyse"], ["serve"]])
def test_the_store_of_a_newer_bondtrail_is_left_alone(
    run: Run, site_file: str, command: list[str]
) -> None:
    fill(site_file, flow=NOW)
    with sqlite3.connect("bondtrail.db") as raw:
        raw.execute(f"update {VERSION_TABLE} set version_num = '9999'")
    raw.close()
    shown = run(*command)
    assert shown.status == 2
    assert "install the newer Bondtrail" in shown.err
    assert shown.err.count("\n") <= 2
