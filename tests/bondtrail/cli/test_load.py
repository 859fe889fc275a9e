"""Loading: counts, exit status, and which site file holds."""

from __future__ import annotations

import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from bondtrail.cli import opening
from bondtrail.settings import SITE_VARIABLE
from bondtrail.times import parse_time
from store import open_store

Run = Callable[..., Any]

GOOD = """\
time,tag,value
2026-03-02T08:15:00Z,GND1,3.4
2026-03-02T08:15:00Z,FT1,0
2026-03-02T08:15:01Z,GND1,OL
"""
BAD = "2026-03-02T08:15:02Z,GND1,-4\n"


@pytest.fixture
def readings(folder: Path) -> str:
    (folder / "good.csv").write_text(GOOD, encoding="utf-8")
    return "good.csv"


def counts(text: str) -> dict[str, list[int]]:
    """Return the numbers of each row of the table that `load` prints."""
    lines = [line.split() for line in text.splitlines()[3:]]
    rows = (words for words in lines if len(words) == 6 and words[1].isdigit())
    return {name: [int(number) for number in numbers] for name, *numbers in rows}


def test_a_load_ends_with_its_counts(run: Run, site_file: str, readings: str) -> None:
    shown = run("load", readings, "--site", site_file)
    assert shown.status == 0
    assert counts(shown.out) == {"good.csv": [3, 3, 0, 0, 0]}


def test_loading_again_changes_nothing_and_says_so(run: Run, site_file: str, readings: str) -> None:
    run("load", readings, "--site", site_file)
    shown = run("load", readings)
    assert shown.status == 0
    assert counts(shown.out) == {"good.csv": [3, 0, 3, 0, 0]}
    assert "good.csv was loaded before: nothing changed." in shown.out


def test_several_files_have_a_total(run: Run, folder: Path, site_file: str, readings: str) -> None:
    (folder / "more.csv").write_text("time,tag,value\n2026-03-03T08:00:00Z,FT1,5\n")
    shown = run("load", "*.csv", "--site", site_file)
    assert shown.status == 0
    assert counts(shown.out)["total"] == [4, 4, 0, 0, 0]


def test_rejects_end_with_status_3_and_point_to_the_rows(
    run: Run, folder: Path, site_file: str
) -> None:
    (folder / "bad.csv").write_text(GOOD + BAD, encoding="utf-8")
    shown = run("load", "bad.csv", "--site", site_file)
    assert shown.status == 3
    assert counts(shown.out) == {"bad.csv": [4, 3, 0, 0, 1]}
    assert shown.err == "bondtrail: 1 row not taken, see: bondtrail show rejects\n"
    (reject,) = run("show", "rejects", "--format", "json").json
    assert (reject["source"], reject["where"]) == ("bad.csv", "line 5")


@pytest.mark.parametrize("form", ["table", "csv", "json"])
def test_a_reject_that_stands_for_many_rows_tells_how_many(
    run: Run, folder: Path, site_file: str, form: str
) -> None:
    rows = [f"2026-03-02T08:15:{second:02}Z,GND9,3.4\n" for second in range(50)]
    (folder / "strange.csv").write_text("time,tag,value\n" + "".join(rows), encoding="utf-8")
    assert run("load", "strange.csv", "--site", site_file).status == 3
    shown = run("show", "rejects", "--format", form).out
    assert "(50 rows from here on)" in " ".join(shown.split())


def test_a_file_that_is_not_there_does_not_stop_the_rest(
    run: Run, site_file: str, readings: str
) -> None:
    shown = run("load", "absent.csv", readings, "--site", site_file)
    assert shown.status == 3
    assert counts(shown.out) == {"good.csv": [3, 3, 0, 0, 0]}
    assert "absent.csv was not loaded: " in shown.err


def test_nothing_but_absent_files_is_wrong_use(run: Run, site_file: str) -> None:
    shown = run("load", "absent.csv", "--site", site_file)
    assert shown.status == 2
    assert "absent.csv" in shown.err
    assert shown.err.count("\n") <= 2


def test_a_zone_places_times_without_an_offset(run: Run, folder: Path, site_file: str) -> None:
    (folder / "local.csv").write_text("time,tag,value\n2026-07-02T08:15:00,GND1,3.4\n")
    assert run("load", "local.csv", "--site", site_file).status == 3
    assert run("load", "local.csv", "--zone", "Europe/Lisbon").status == 0
    point = run("show", "points", "--station", "bay-1", "--format", "json").json[0]
    assert point["last"] == "2026-07-02T07:15:00.000Z"  # Lisbon is an hour ahead in summer


def test_without_any_site_file_nothing_is_made(run: Run, folder: Path, readings: str) -> None:
    shown = run("load", readings)
    assert shown.status == 2
    assert "--site" in shown.err
    assert not list(folder.glob("*.db*"))


def test_the_environment_names_the_site_file(
    run: Run, site_file: str, readings: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(SITE_VARIABLE, site_file)
    assert run("load", readings).status == 0


def test_every_problem_of_a_site_file_is_told_at_once_and_nothing_is_made(
    run: Run, folder: Path, site_file: str, readings: str
) -> None:
    text = (folder / site_file).read_text(encoding="utf-8")
    wrong = text.replace("Europe/Lisbon", "Europe/Lisbn").replace("fixed_item", "fixd")
    (folder / "wrong.toml").write_text(wrong, encoding="utf-8")
    shown = run("load", readings, "--site", "wrong.toml")
    assert shown.status == 2
    first, *rest = shown.err.splitlines()
    assert first == "bondtrail: wrong.toml: 2 problems"
    assert len(rest) == 2
    assert "timezone" in rest[0]
    assert "kind" in rest[1]
    assert not list(folder.glob("*.db*"))


class TestWhichSiteFileHolds:
    def copies(self) -> list[int]:
        with open_store("sqlite:///bondtrail.db") as store:
            return [holds_from for holds_from, _ in store.sites()]

    def test_the_first_holds_from_the_beginning_and_a_change_from_now(
        self,
        run: Run,
        folder: Path,
        site_file: str,
        readings: str,
        monkeypatch: pytest.MonkeyPatch,
    ) -> None:
        now = parse_time("2026-03-10T00:00:00Z")
        monkeypatch.setattr(opening, "clock_ns", lambda: now)
        run("load", readings, "--site", site_file)
        run("load", readings, "--site", site_file)
        assert self.copies() == [0]
        text = (folder / site_file).read_text(encoding="utf-8")
        stricter = text.replace("[site]", "[limits]\nlimit_ohm = 8.0\n\n[site]")
        (folder / site_file).write_text(stricter, encoding="utf-8")
        shown = run("load", readings, "--site", site_file)
        assert self.copies() == [0, now]
        assert "holds for readings from now on" in shown.err
        assert "--by-present-limits" in shown.err

    def test_one_store_holds_one_site(
        self, run: Run, folder: Path, site_file: str, readings: str
    ) -> None:
        run("load", readings, "--site", site_file)
        other = (folder / site_file).read_text(encoding="utf-8").replace("test-site", "other")
        (folder / "other.toml").write_text(other, encoding="utf-8")
        shown = run("load", readings, "--site", "other.toml")
        assert shown.status == 2
        assert "'test-site'" in shown.err
        assert "'other'" in shown.err
        assert self.copies() == [0]


def test_a_store_that_cannot_be_made_is_told(run: Run, site_file: str, readings: str) -> None:
    shown = run("load", readings, "--site", site_file, "--db", "sqlite:///no/such/folder/x.db")
    assert shown.status == 2
    assert shown.err.count("\n") <= 2
    assert "folder" in shown.err


def test_standard_input_is_a_file_like_any_other(
    run: Run, shell: dict[str, Any], site_file: str
) -> None:
    shown = subprocess.run(
        [*shell["args"], "load", "-", "--site", site_file],
        env=shell["env"],
        input=GOOD + BAD,
        capture_output=True,
        text=True,
        check=False,
    )
    assert shown.returncode == 3
    assert shown.stdout.splitlines()[-1].split() == ["standard", "input", *"43001"]


def test_a_load_that_is_interrupted_says_what_is_kept(
    run: Run, site_file: str, readings: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("ingest.load_files", interrupted)
    shown = run("load", readings, "--site", site_file)
    assert shown.status == 130
    assert "committed so far is kept" in shown.err
