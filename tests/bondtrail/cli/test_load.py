"""Loading: counts, exit status, and which site file holds."""

from __future__ import annotations

import datetime as dt
import io
import sys
from itertools import count
from pathlib import Path

import pytest

from bondtrail.cli import opening
from bondtrail.settings import SITE_VARIABLE
from bondtrail.times import parse_time
from store import Floor, Store, open_store
from tests.bondtrail.cli.conftest import Run

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


def test_readings_arrive_by_the_clock_of_their_commit_and_only_once(
    run: Run, site_file: str, readings: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    for _ in range(2):
        moments = count(parse_time("2026-03-10T00:00:00Z"), 10**9)
        monkeypatch.setattr(opening, "clock_ns", moments.__next__)
        run("load", readings, "--site", site_file)
        with open_store("sqlite:///bondtrail.db") as store:
            told = store.arrivals("bay-1.resistance", store.read("bay-1.resistance").time)
        moment = parse_time("2026-03-10T00:00:01Z")  # the first was when the load began
        assert ((told.first <= moment) & (moment <= told.last)).all()
        assert (told.last - told.first <= 60 * 10**9).all()


def test_readings_of_before_what_retention_left_are_told(
    run: Run, site_file: str, readings: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """They are stored as new and never judged: whoever loads them must hear that."""
    kept = parse_time("2026-04-01T00:00:00Z")
    late = iter((4, 7))

    def floors(_: Store) -> dict[str, Floor]:
        day = dt.date(2026, 4, 1)
        return {"bay-1": Floor("bay-1", day, kept, kept, kept, kept, 9, next(late))}

    monkeypatch.setattr(Store, "floors", floors)
    shown = run("load", readings, "--site", site_file)
    assert shown.status == 0
    assert "3 readings of times of which retention has removed others: not judged" in shown.err


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

    NOW = parse_time("2026-03-10T00:00:00Z")
    OLD = "time,tag,value\n2026-03-0{}T08:15:00Z,GND1,3.4\n"

    @pytest.fixture
    def changed(
        self, run: Run, folder: Path, site_file: str, monkeypatch: pytest.MonkeyPatch
    ) -> str:
        """A file of older readings, and a stricter site file that came after another one."""
        monkeypatch.setattr(opening, "clock_ns", lambda: self.NOW)
        for day in (2, 3, 4):
            (folder / f"old-{day}.csv").write_text(self.OLD.format(day), encoding="utf-8")
        assert run("load", "old-2.csv", "--site", site_file).err == ""
        text = (folder / site_file).read_text(encoding="utf-8")
        stricter = text.replace("[site]", "[limits]\nlimit_ohm = 2.0\n\n[site]")
        (folder / "stricter.toml").write_text(stricter, encoding="utf-8")
        return "stricter.toml"

    @pytest.mark.parametrize(
        ("time", "moment"),
        [
            ("2026-03-03", "2026-03-03T00:00:00Z"),
            ("2026-07-02T08:15", None),
            ("2026-03-03T06:00:00+01:00", "2026-03-03T05:00:00Z"),
            ("1970-01-01T00:00:00Z", "1970-01-01T00:00:00Z"),
        ],
    )
    def test_the_user_can_say_since_when(
        self, run: Run, changed: str, time: str, moment: str | None
    ) -> None:
        shown = run("load", "old-3.csv", "--site", changed, "--holds-from", time)
        if moment is None:
            assert (shown.status, self.copies()) == (2, [0])
            assert "yet to come" in shown.err
        else:
            assert shown.status == 0
            assert self.copies() == sorted({0, parse_time(moment)})
            assert "the site file holds from " in shown.err

    def test_a_time_without_offset_is_on_the_clock_of_the_site(
        self, run: Run, changed: str, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(opening, "clock_ns", lambda: parse_time("2026-08-01T00:00:00Z"))
        run("load", "old-3.csv", "--site", changed, "--holds-from", "2026-07-02T08:15")
        assert self.copies() == [0, parse_time("2026-07-02T07:15:00Z")]  # Lisbon, in summer

    @pytest.mark.parametrize("words", [["load", "old-3.csv"], ["analyse"]])
    def test_since_when_needs_a_site_file(self, run: Run, changed: str, words: list[str]) -> None:
        shown = run(*words, "--holds-from", "2026-03-03")
        assert shown.status == 2
        assert "--holds-from goes with --site" in shown.err
        assert shown.err.count("\n") <= 2
        assert run(*words, "--site", changed, "--holds-from", "lately").status == 2
        assert self.copies() == [0]

    def test_what_holds_then_already_is_told(self, run: Run, changed: str) -> None:
        asked = ("load", "old-3.csv", "--site", changed, "--holds-from", "2026-03-03")
        run(*asked)
        shown = run(*asked)
        assert "holds at 2026-03-03 00:00:00 (Europe/Lisbon) already: nothing changed" in shown.err
        assert len(self.copies()) == 2

    def test_one_that_another_follows_is_told_until_when_it_holds(
        self, run: Run, site_file: str, changed: str
    ) -> None:
        run("load", "old-3.csv", "--site", changed)
        between = Path(changed).read_text(encoding="utf-8").replace("2.0", "3.0")
        Path("between.toml").write_text(between, encoding="utf-8")
        shown = run("analyse", "--site", "between.toml", "--holds-from", "2026-03-03")
        assert "from 2026-03-03 00:00:00 (Europe/Lisbon) until 2026-03-10 00:00:00" in shown.err

    def test_a_first_one_holds_for_all_before_it_too(
        self, run: Run, site_file: str, readings: str
    ) -> None:
        shown = run("load", readings, "--site", site_file, "--holds-from", "2026-03-05")
        assert "as the first one, for all before it" in shown.err
        assert self.copies() == [parse_time("2026-03-05T00:00:00Z")]
        assert "limits of its day" not in shown.err

    def test_every_load_of_older_readings_says_whose_limits_judge_them(
        self, run: Run, changed: str, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        first = run("load", "old-3.csv", "--site", changed)
        assert first.err.count("--by-present-limits") == 1
        monkeypatch.setattr(opening, "clock_ns", lambda: self.NOW + 10**15)
        second = run("load", "old-4.csv")
        assert "began before 2026-03-10 00:00:00 (Europe/Lisbon)" in second.err
        assert "limits of its day" in second.err
        assert "--holds-from TIME" in second.err
        assert "--by-present-limits" in second.err
        assert run("load", "old-4.csv").err == ""  # nothing new
        new = self.OLD.format(4).replace("03-04", "03-11")
        Path("new.csv").write_text(new, encoding="utf-8")
        run("analyse")
        assert run("load", "new.csv").err == ""

    def test_a_site_file_that_changed_no_limit_is_no_matter(
        self, run: Run, site_file: str, changed: str, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        text = Path(site_file).read_text(encoding="utf-8").replace("Road bay", "Lorry bay")
        Path("renamed.toml").write_text(text, encoding="utf-8")
        run("load", "old-3.csv", "--site", "renamed.toml")
        monkeypatch.setattr(opening, "clock_ns", lambda: self.NOW + 10**15)
        assert run("load", "old-4.csv").err == ""

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
    run: Run, site_file: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO((GOOD + BAD).encode())))
    shown = run("load", "-", "--site", site_file)
    assert shown.status == 3
    assert shown.out.splitlines()[-1].split() == ["standard", "input", *"43001"]


def test_a_load_that_is_interrupted_says_what_is_kept(
    run: Run, site_file: str, readings: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("ingest.load_files", interrupted)
    shown = run("load", readings, "--site", site_file)
    assert shown.status == 130
    assert "committed so far is kept" in shown.err
