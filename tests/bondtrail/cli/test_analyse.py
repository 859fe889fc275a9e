"""From loaded readings to what `show` finds, and judging again."""

from __future__ import annotations

import shutil
from contextlib import chdir
from pathlib import Path

import pytest

from bondtrail.cli import main
from bondtrail.times import NS_PER_S, format_time, parse_time
from tests.bondtrail.cli.conftest import SITE, Run

DB = "sqlite:///bondtrail.db"
RESULTS = ("findings", "transfers", "hookups", "trips", "kpis")

BEGIN = parse_time("2026-03-02T08:00:00Z")


def transfer_csv(ohm: float) -> str:
    """A transfer of two minutes, second by second, at one bond resistance throughout."""
    lines = ["time,tag,value"]
    for second in range(180):
        at = format_time(BEGIN + second * NS_PER_S)
        flow = 600 if 30 <= second < 150 else 0
        lines += [f"{at},GND1,{ohm}", f"{at},PERM1,1", f"{at},FT1,{flow}"]
    return "\n".join(lines) + "\n"


def stricter(folder: Path, site_file: str) -> str:
    """Write the site file with a limit that the readings do not meet."""
    text = (folder / site_file).read_text(encoding="utf-8")
    text = text.replace("[site]", "[limits]\nlimit_ohm = 2.0\n\n[site]")
    (folder / "stricter.toml").write_text(text, encoding="utf-8")
    return "stricter.toml"


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with a transfer that was not judged yet."""
    folder = tmp_path_factory.mktemp("analyse")
    for name, text in (("site.toml", SITE), ("good.csv", transfer_csv(3.4))):
        (folder / name).write_text(text, encoding="utf-8")
    with chdir(folder):
        assert main(["load", "good.csv", "--site", "site.toml", "--db", DB]) == 0
    return folder / "bondtrail.db"


@pytest.fixture
def loaded(whole: Path, folder: Path) -> None:
    """A copy of that store in the folder where the commands run."""
    shutil.copy(whole, folder / "bondtrail.db")


@pytest.mark.usefixtures("loaded")
class TestAnalyse:
    def test_a_bonded_transfer_is_found_and_compliant(self, run: Run) -> None:
        shown = run("analyse")
        assert (shown.status, shown.err) == (0, "")
        assert shown.out.startswith("Judged 2 stations: 0 findings")
        assert "not a safety function" in shown.out
        (transfer,) = run("show", "transfers", "--format", "json").json
        assert transfer["id"] == "bay-1/20260302T080030.000Z"
        assert transfer["compliant"] is True
        assert transfer["flow_s"] == pytest.approx(120)
        assert transfer["volume"] == pytest.approx(1200)  # 600 L/min for two minutes
        (sums, _) = run("show", "kpis", "--format", "json").json
        assert (sums["transfers"], sums["compliant_transfers"]) == (1, 1)

    def test_a_second_run_has_nothing_to_do(self, run: Run) -> None:
        run("analyse")
        shown = run("analyse")
        assert (shown.status, shown.out) == (0, "Nothing new to judge.\n")

    def test_all_judges_again_and_finds_the_same(self, run: Run) -> None:
        run("analyse")
        before = run("show", "transfers", "--format", "json").out
        assert run("analyse", "--all").out.startswith("Judged ")
        assert run("show", "transfers", "--format", "json").out == before

    def test_history_is_judged_by_the_limits_of_its_day_unless_told_otherwise(
        self, run: Run, folder: Path, site_file: str
    ) -> None:
        run("analyse")
        text = (folder / site_file).read_text(encoding="utf-8")
        stricter = text.replace("[site]", "[limits]\nlimit_ohm = 2.0\n\n[site]")
        (folder / site_file).write_text(stricter, encoding="utf-8")
        changed = run("analyse", "--all", "--site", site_file)
        assert "holds for readings from now on" in changed.err
        assert run("show", "findings", "--format", "json").json == []
        assert run("analyse", "--by-present-limits").status == 0
        kinds = {row["kind"] for row in run("show", "findings", "--format", "json").json}
        assert "no_bond_transfer" in kinds

    def test_by_present_limits_is_this_once_and_says_so(
        self, run: Run, folder: Path, site_file: str
    ) -> None:
        assert "this once" not in run("analyse", "--by-present-limits").out  # of one file only
        run("analyse", "--site", stricter(folder, site_file))
        shown = run("analyse", "--by-present-limits")
        assert "the next plain bondtrail analyse judges all history" in shown.out
        assert run("show", "findings", "--format", "json").json
        again = run("analyse")
        assert again.out.startswith("Judged ")
        assert "this once" not in again.out
        assert run("show", "findings", "--format", "json").json == []
        assert "next plain" in " ".join(run("analyse", "--help").out.split())

    def test_history_is_judged_by_a_site_file_since_when_the_user_says_it_holds(
        self, run: Run, folder: Path, site_file: str
    ) -> None:
        run("analyse")
        changed = stricter(folder, site_file)
        run("analyse", "--site", changed)
        assert run("show", "findings", "--format", "json").json == []
        assert run("analyse", "--site", changed, "--holds-from", "2026-03-01").status == 0
        kinds = {row["kind"] for row in run("show", "findings", "--format", "json").json}
        assert "no_bond_transfer" in kinds
        run("analyse", "--site", site_file, "--holds-from", "2026-03-02")
        assert run("show", "findings", "--format", "json").json == []

    def test_the_same_readings_have_the_same_findings_byte_for_byte(
        self, run: Run, folder: Path, site_file: str
    ) -> None:
        (folder / "bad.csv").write_text(transfer_csv(34.0), encoding="utf-8")
        shown = []
        for db in ("sqlite:///one.db", "sqlite:///two.db"):
            run("load", "bad.csv", "--site", site_file, "--db", db)
            run("analyse", "--db", db)
            shown.append(run("show", "findings", "--format", "json", "--db", db).out)
        assert shown[0] == shown[1]
        assert "no_bond_transfer" in shown[0]

    def test_postgresql_gives_what_sqlite_gives(
        self, run: Run, folder: Path, site_file: str, postgres_url: str
    ) -> None:
        (folder / "bad.csv").write_text(transfer_csv(34.0), encoding="utf-8")
        answers = []
        for db in ("sqlite:///one.db", postgres_url):
            assert run("load", "bad.csv", "--site", site_file, "--db", db).status == 0
            assert run("analyse", "--db", db).status == 0
            assert run("check", "--db", db).status == 0
            shown = [run("show", what, "--format", "json", "--db", db) for what in RESULTS]
            answers.append([answer.out for answer in shown])
        assert answers[0] == answers[1]
