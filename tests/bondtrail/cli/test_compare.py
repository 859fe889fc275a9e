"""What `compare` takes, prints and refuses."""

from __future__ import annotations

import csv
import datetime as dt
import io
import shutil
from pathlib import Path

import pytest

from bondtrail.cli import bondtrail, compare
from bondtrail.results import DaySums
from bondtrail.samples import Samples
from bondtrail.site import parse_site
from bondtrail.times import parse_time
from store import open_store
from tests.analytics.made import DAY, a_hookup, a_transfer, a_trip, put
from tests.bondtrail.cli.conftest import SITE, Run

NOON = parse_time("2026-03-09T12:00:00Z")
FIGURES = [
    "compliance",
    "nuisance_per_100_transfers",
    "nuisance_per_1000_flow_h",
    "failed_hookup_share",
]


@pytest.fixture(autouse=True)
def _command(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(bondtrail.commands, "compare", compare.command)


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Twenty days of trouble at a bay, then twenty without: a clamp was changed at noon."""
    file = tmp_path_factory.mktemp("compare") / "bondtrail.db"
    days = range(-20, 20)
    with open_store(f"sqlite:///{file}") as store:
        store.put_site(parse_site(SITE), 0)
        put(
            store,
            "bay-1",
            transfers=[a_transfer("bay-1", NOON + n * DAY, compliant=n >= -5) for n in days],
            hookups=[a_hookup("bay-1", NOON + n * DAY, failed=n < -10) for n in days],
            trips=[a_trip("bay-1", NOON + n * DAY) for n in days if n < 0],
        )
    return file


@pytest.fixture
def filled(whole: Path, folder: Path) -> None:
    """A copy of that store in the folder where the commands run."""
    shutil.copy(whole, folder / "bondtrail.db")


@pytest.mark.usefixtures("filled")
class TestBeforeAndAfter:
    def test_the_keys_and_values(self, run: Run) -> None:
        asked = ["compare", "--station", "bay-1", "--at", "2026-03-09T12:00", "--format", "json"]
        found = run(*asked).json
        assert [row["figure"] for row in found] == FIGURES
        compliance, trips, _, _ = found
        assert list(compliance) == [
            *("figure", "first", "second", "compared_by", "value", "low", "high", "p_value"),
            *("method", "verdict", "words"),
        ]
        assert list(compliance["first"]) == [
            *("name", "stations", "from", "to", "known", "on_record_from", "on_record_to"),
            *("value", "low", "high", "count", "of"),
        ]
        before, after = compliance["first"], compliance["second"]
        assert (before["name"], before["to"], before["from"]) == (
            *("before", "2026-03-09T12:00:00.000Z", None),
        )
        assert (before["count"], before["of"], after["count"], after["of"]) == (5, 20, 20, 20)
        assert (compliance["compared_by"], compliance["value"]) == ("difference", 0.75)
        assert compliance["verdict"] == "higher"
        assert "Newcombe" in compliance["method"]
        assert (trips["compared_by"], trips["value"], trips["low"]) == ("ratio", 0, 0)
        # All of 20 trips on one of two equal sides: 2 * 0.5 ** 20.
        assert trips["p_value"] == pytest.approx(2 * 0.5**20)
        assert "exact conditional test" in trips["method"]
        assert trips["verdict"] == "lower"

    def test_so_many_days_on_either_side(self, run: Run) -> None:
        asked = ["compare", "--at", "2026-03-09T12:00:00Z", "--days", "4.5", "--format", "json"]
        compliance = run(*asked).json[0]
        assert (compliance["first"]["of"], compliance["second"]["of"]) == (4, 5)
        assert compliance["first"]["from"] == "2026-03-05T00:00:00.000Z"
        assert compliance["second"]["to"] == "2026-03-14T00:00:00.000Z"
        assert compliance["verdict"] == "no sign of a difference"

    def test_csv_is_flat_and_says_what_json_says(self, run: Run) -> None:
        asked = ["compare", "--at", "2026-03-09T12:00", "--format"]
        objects = run(*asked, "json").json
        rows = list(csv.DictReader(io.StringIO(run(*asked, "csv").out)))
        assert [row["figure"] for row in rows] == FIGURES
        assert rows[0]["first_count"] == str(objects[0]["first"]["count"])
        assert float(rows[0]["high"]) == objects[0]["high"]

    @pytest.mark.parametrize(
        ("way", "p_value", "said"),
        [
            # Four trips in 4 transfers, none in the 5 after: (4/9)**4 on the one side, and on
            # the other at most as likely ones or as much again.
            ("minlike", (4 / 9) ** 4, "two-sided by minimum likelihood"),
            ("doubled", 2 * (4 / 9) ** 4, "two-sided by doubling the smaller tail"),
        ],
    )
    def test_the_way_of_p_is_asked_for_and_named(
        self, run: Run, way: str, p_value: float, said: str
    ) -> None:
        asked = ["compare", "--at", "2026-03-09T12:00:00Z", "--days", "4.5", "--two-sided", way]
        trips = run(*asked, "--format", "json").json[1]
        assert said in trips["method"]
        assert trips["p_value"] == pytest.approx(p_value)
        assert said in " ".join(run(*asked).out.split())

    def test_a_table_tells_counts_intervals_methods_and_cautions(self, run: Run) -> None:
        shown = run("compare", "--station", "bay-1", "--at", "2026-03-09T12:00")
        assert (shown.status, shown.out.splitlines()[0]) == (0, "bay-1: before and after")
        assert max(map(len, shown.out.splitlines())) <= 100
        for said in (
            *("5/20", "20/20", "+75.0 points", "20 in 20 transfers", "higher", "p < 0.001"),
            *("before: to 2026-03-09 12:00:00; 20 transfers", "after: from 2026-03-09 12:00:00"),
            *("Newcombe", "exact conditional test, two-sided by minimum likelihood"),
            *("A difference is no proof of its cause", "not a safety function"),
            "the flow of a transfer across its edge is split evenly",
        ):
            assert said in " ".join(shown.out.split())
        assert shown.out.count("Europe/Lisbon") == 1


@pytest.mark.usefixtures("filled")
def test_two_stations(run: Run) -> None:
    asked = ["--station", "bay-1", "--station", "dryer", "--from", "2026-03-01"]
    found = run("compare", *asked, "--format", "json").json
    assert [found[0][key]["name"] for key in ("first", "second")] == ["bay-1", "dryer"]
    assert (found[0]["first"]["of"], found[0]["second"]["of"]) == (28, 0)
    assert {row["verdict"] for row in found} == {"nothing to compare"}
    assert found[0]["value"] is None


@pytest.mark.usefixtures("filled")
def test_two_periods(run: Run) -> None:
    periods = ["--from", "2026-03-01", "--to", "2026-03-05"]
    others = ["--and-from", "2026-03-05", "--and-to", "2026-03-08"]
    found = run("compare", *periods, *others, "--format", "json").json
    assert (found[0]["first"]["of"], found[0]["second"]["of"]) == (4, 3)
    assert found[0]["second"]["from"] == "2026-03-05T00:00:00.000Z"


WRONG = [
    ("", "name a moment (--at)"),
    ("--station bay-1", "name a moment (--at)"),
    ("--from 2026-03-01 --to 2026-03-02", "name a moment (--at)"),
    ("--days 3", "--days goes with --at"),
    ("--at 2026-03-09 --days 0", "--days"),
    ("--at 2026-03-09 --from 2026-03-01", "name a moment (--at)"),
    ("--at yesterday", "--at: time 'yesterday'"),
    ("--station bay-1 --station dryer --at 2026-03-09", "over one period"),
    ("--station bay-1 --station bay-1", "the two stations are the same"),
    ("--station bay-1 --station dryer --station bay-1", "twice at most"),
    ("--station bay-2 --at 2026-03-09", "no station 'bay-2'"),
    ("--from 2026-03-02 --to 2026-03-01 --and-from 2026-04-01 --and-to 2026-04-02", "--to must be"),
    (
        "--from 2026-03-01 --to 2026-03-02 --and-from 2026-04-01 --and-to 2026-04-01",
        "--and-to must",
    ),
    ("--from 2026-03-01 --to 2026-03-05 --and-from 2026-03-04 --and-to 2026-04-01", "overlap"),
]


@pytest.mark.usefixtures("filled")
@pytest.mark.parametrize(("options", "said"), WRONG)
def test_what_cannot_be_compared_is_told(run: Run, options: str, said: str) -> None:
    shown = run("compare", *options.split())
    assert (shown.status, shown.out) == (2, "")
    assert said in shown.err
    assert shown.err.count("\n") <= 2


@pytest.mark.usefixtures("filled")
def test_results_that_are_not_up_to_date_are_told(run: Run) -> None:
    assert "not up to date yet" not in run("compare", "--at", "2026-03-09").err
    with open_store("sqlite:///bondtrail.db") as store:
        store.write({"bay-1.flow": Samples.of([parse_time("2026-03-10T06:00:00Z")], [0.0])})
    assert "not up to date yet" in run("compare", "--at", "2026-03-09").err


@pytest.fixture(scope="module")
def whole_record(whole: Path) -> Path:
    """Readings for all of the forty days; on the days after the change the state is unknown."""
    file = shutil.copy(whole, whole.with_name("recorded.db"))
    first = dt.date(2026, 2, 17)
    with open_store(f"sqlite:///{file}") as store:
        put(
            store,
            "bay-1",
            days=[
                DaySums(
                    "bay-1",
                    first + dt.timedelta(days=n),
                    known_s=86_400 if n < 21 else 0,
                    unknown_s=0 if n < 21 else 86_400,
                )
                for n in range(41)
            ],
        )
        times = [NOON - 20 * DAY, NOON + 20 * DAY]
        store.write({"bay-1.resistance": Samples.of(times, [2.0, 2.0])})
    return file


@pytest.fixture
def recorded(whole_record: Path, folder: Path) -> None:
    shutil.copy(whole_record, folder / "bondtrail.db")


@pytest.mark.usefixtures("recorded")
class TestOnRecord:
    def test_each_side_tells_how_much_of_it_is_known(self, run: Run) -> None:
        asked = ["compare", "--station", "bay-1", "--at", "2026-03-09T12:00", "--days", "10"]
        row = run(*asked, "--format", "json").json[0]
        before, after = row["first"], row["second"]
        assert before["known"] == 1.0
        assert after["known"] == pytest.approx(1 / 11)  # the day of the change is known
        assert before["on_record_from"] == "2026-02-27T12:00:00.000Z"
        assert after["on_record_to"] == "2026-03-19T12:00:00.000Z"
        told = " ".join(run(*asked).out.split())
        assert "all on record, bond state known for 100 % of its time" in told
        assert "CAUTION, after: the bond state is known for less than 90 %" in told
        assert "CAUTION, before" not in told

    def test_a_side_that_is_not_all_on_record_tells_its_first_and_last_reading(
        self, run: Run
    ) -> None:
        asked = ["compare", "--station", "bay-1", "--at", "2026-03-09T12:00", "--days", "40"]
        told = " ".join(run(*asked).out.split())
        assert "on record from 2026-02-17 12:00:00 to 2026-03-09 11:59:59" in told
        assert "CAUTION, before" in told  # half of its forty days lie before the first reading

    @pytest.mark.parametrize(
        ("at", "said"),
        [
            ("2026-04-01", "is after the last reading (2026-03-29 13:00:00)"),
            ("2026-02-01", "is not after the first reading (2026-02-17 12:00:00)"),
        ],
    )
    def test_a_moment_beyond_the_record_is_told(self, run: Run, at: str, said: str) -> None:
        shown = run("compare", "--station", "bay-1", "--at", at, "--format", "json")
        assert shown.status == 0
        assert f"--at {at} {said}" in " ".join(shown.err.split())
        assert {row["verdict"] for row in shown.json} == {"nothing to compare"}
