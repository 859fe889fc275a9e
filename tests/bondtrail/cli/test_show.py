"""What `show` prints of results that were put into the store by hand."""

from __future__ import annotations

import csv
import datetime as dt
import io
import math
import shutil
import sys
from pathlib import Path

import pytest

from bondtrail.cli import main, opening
from bondtrail.results import (
    DaySums,
    Finding,
    Hookup,
    HookupCause,
    Kind,
    Outcome,
    Reject,
    Severity,
    StationResults,
    Transfer,
    Trip,
    TripCause,
    TripClass,
)
from bondtrail.samples import Samples
from bondtrail.site import parse_site
from bondtrail.times import parse_time
from dashboard.urls import transfer_url
from store import open_store
from tests.bondtrail.cli.conftest import SITE, Run

NOW = "2026-03-10T00:00:00Z"
BEGIN = parse_time("2026-03-01T06:15:30Z")
SECOND = 10**9
HOUR = 3600 * SECOND

TRANSFER = Transfer(
    station="bay-1",
    start=BEGIN,
    end=BEGIN + HOUR,
    flow_s=3540.5,
    volume=47_200.25,
    unit="L",
    batch="B-17",
    product="toluene",
    operator=None,
    compliant=False,
    not_bonded_s=12.5,
    no_data_s=0.0,
    bypassed_s=0.0,
    not_bonded_volume=166.0,
    no_data_volume=0.0,
    bypassed_volume=0.0,
    trips=1,
    time_to_bond_s=4.25,
    bond_lead_s=-2.0,
    findings=("bay-1/bond_lost_in_flow/20260301T063000.000Z",),
)
FINDING = Finding(
    kind=Kind.BOND_LOST_IN_FLOW,
    severity=Severity.CRITICAL,
    station="bay-1",
    transfer="bay-1/20260301T061530.000Z",
    start=parse_time("2026-03-01T06:30:00Z"),
    end=parse_time("2026-03-01T06:30:12.500Z"),
    summary="Flow went on for 12.5 s after the bond was lost.",
    evidence={"seconds": 12.5, "lowest_ohm": 34.0},
    limits={"stop_allowance_s": 5.0, "limit_ohm": 10.0},
)
FAILED = Finding(
    kind=Kind.FAILED_HOOKUP,
    severity=Severity.MINOR,
    station="bay-1",
    transfer=None,
    start=parse_time("2026-03-02T08:00:00Z"),
    end=parse_time("2026-03-02T08:00:30Z"),
    summary="The hookup of 30.0 s never achieved ground.",
    evidence={},
    limits={"limit_ohm": 10.0},
)
HOOKUPS = (
    Hookup("bay-1", BEGIN - 60 * SECOND, BEGIN + HOUR, Outcome.VERIFIED, 4.25, 2.1, 3.4, None),
    Hookup("bay-1", FAILED.start, FAILED.end, Outcome.FAILED, None, 25.0, 31.5, HookupCause.LAYER),
)
TRIPS = (
    Trip(
        "bay-1",
        FINDING.start,
        TRANSFER.id,
        TripClass.GENUINE,
        TripCause.CLAMP_OFF,
        False,
        12.5,
        3.5,
    ),
    Trip(
        "bay-1",
        FINDING.start + HOUR // 2,
        TRANSFER.id,
        TripClass.NUISANCE,
        TripCause.BRIEF_CONTACT_LOSS,
        True,
        0.4,
        None,
    ),
)
DAYS = (
    DaySums(
        "bay-1",
        dt.date(2026, 3, 1),
        transfers=2,
        compliant_transfers=1,
        flow_s=3540.5,
        not_bonded_s=12.5,
        volume=47_200.25,
        hookups=1,
        low_s=3600.0,
        known_s=80_000.0,
        unknown_s=6_400.0,
        trips={"genuine/clamp_off": 1, "nuisance/brief_contact_loss": 1},
        findings={"bond_lost_in_flow": 1},
        alarms={"bond_lost": 1},
        time_to_stop={200: 1, 701: 1},
    ),
    DaySums(
        "bay-1", dt.date(2026, 3, 2), hookups=1, failed_hookups=1, findings={"failed_hookup": 1}
    ),
)


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with two days of one station."""
    file = tmp_path_factory.mktemp("show") / "bondtrail.db"
    with open_store(f"sqlite:///{file}") as store:
        store.put_site(parse_site(SITE), 0)
        store.write(
            {
                "bay-1.resistance": Samples.of([BEGIN, BEGIN + SECOND], [3.4, math.inf], [0, 1]),
                "bay-1.flow": Samples.of([BEGIN], [812.0]),
                "old-1.status": Samples.of([BEGIN], [1.0]),
            }
        )
        store.put_rejects(
            [Reject("a.csv", "line 4", "resistance '-4'", "x,\x1b[2J,-4", parse_time(NOW))]
        )
        store.save_results(
            StationResults("bay-1", (TRANSFER,), HOOKUPS, TRIPS, (FINDING, FAILED), days=DAYS),
            since=-(2**63),
            since_day=dt.date.min,
            touch=store.touched()["bay-1"],
        )
    return file


@pytest.fixture
def filled(whole: Path, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A copy of that store in the folder where the commands run, and a clock that stands still."""
    shutil.copy(whole, folder / "bondtrail.db")
    monkeypatch.setattr(opening, "clock_ns", lambda: parse_time(NOW))


@pytest.mark.usefixtures("filled")
class TestObjects:
    """The keys, their order and their values are what other programs rely on."""

    def test_a_finding(self, run: Run) -> None:
        first, _ = run("show", "findings", "--format", "json").json
        assert list(first.items()) == [
            ("id", "bay-1/bond_lost_in_flow/20260301T063000.000Z"),
            ("kind", "bond_lost_in_flow"),
            ("severity", "critical"),
            ("station", "bay-1"),
            ("transfer", "bay-1/20260301T061530.000Z"),
            ("start", "2026-03-01T06:30:00.000Z"),
            ("end", "2026-03-01T06:30:12.500Z"),
            ("seconds", 12.5),
            ("summary", "Flow went on for 12.5 s after the bond was lost."),
            ("evidence", {"lowest_ohm": 34.0, "seconds": 12.5}),
            ("limits", {"limit_ohm": 10.0, "stop_allowance_s": 5.0}),
            ("rules", "2"),
            ("review", None),
        ]

    def test_a_transfer(self, run: Run) -> None:
        (only,) = run("show", "transfers", "--format", "json").json
        assert list(only.items()) == [
            ("id", "bay-1/20260301T061530.000Z"),
            ("station", "bay-1"),
            ("start", "2026-03-01T06:15:30.000Z"),
            ("end", "2026-03-01T07:15:30.000Z"),
            ("flow_s", 3540.5),
            ("volume", 47_200.25),
            ("unit", "L"),
            ("batch", "B-17"),
            ("product", "toluene"),
            ("operator", None),
            ("compliant", False),
            ("not_bonded_s", 12.5),
            ("no_data_s", 0.0),
            ("bypassed_s", 0.0),
            ("trips", 1),
            ("time_to_bond_s", 4.25),
            ("bond_lead_s", -2.0),
            ("findings", ["bay-1/bond_lost_in_flow/20260301T063000.000Z"]),
        ]

    def test_a_hookup(self, run: Run) -> None:
        _, failed = run("show", "hookups", "--format", "json").json
        assert list(failed.items()) == [
            ("station", "bay-1"),
            ("start", "2026-03-02T08:00:00.000Z"),
            ("end", "2026-03-02T08:00:30.000Z"),
            ("outcome", "failed"),
            ("time_to_bond_s", None),
            ("lowest_ohm", 25.0),
            ("median_ohm", 31.5),
            ("cause", "layer"),
        ]

    def test_a_trip(self, run: Run) -> None:
        first, _ = run("show", "trips", "--format", "json").json
        assert list(first.items()) == [
            ("station", "bay-1"),
            ("time", "2026-03-01T06:30:00.000Z"),
            ("transfer", "bay-1/20260301T061530.000Z"),
            ("class", "genuine"),
            ("cause", "clamp_off"),
            ("marginal", False),
            ("loss_s", 12.5),
            ("stop_s", 3.5),
        ]

    def test_a_point(self, run: Run) -> None:
        first = run("show", "points", "--format", "json").json[0]
        assert list(first.items()) == [
            ("point", "bay-1.resistance"),
            ("station", "bay-1"),
            ("role", "resistance"),
            ("samples", 2),
            ("first", "2026-03-01T06:15:30.000Z"),
            ("last", "2026-03-01T06:15:31.000Z"),
            ("value", None),  # an open circuit: JSON has no infinity
            ("quality", 1),
            ("age_s", 755_069.0),
        ]

    def test_a_reject(self, run: Run) -> None:
        (only,) = run("show", "rejects", "--format", "json").json
        assert list(only.items()) == [
            ("source", "a.csv"),
            ("where", "line 4"),
            ("reason", "resistance '-4'"),
            ("raw", "x,\x1b[2J,-4"),
            ("at", "2026-03-10T00:00:00.000Z"),
            ("last_at", None),
        ]

    def test_nothing_is_an_empty_array(self, run: Run) -> None:
        shown = run("show", "findings", "--from", "2027-01-01", "--format", "json")
        assert (shown.status, shown.json) == (0, [])


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


@pytest.mark.usefixtures("filled")
@pytest.mark.parametrize(
    "what", ["findings", "transfers", "hookups", "trips", "points", "rejects", "kpis"]
)
class TestEveryKindOfRow:
    def test_the_same_question_has_the_same_answer_byte_for_byte(self, run: Run, what: str) -> None:
        for form in ("table", "csv", "json"):
            asked = ("show", what, "--format", form)
            assert run(*asked).out == run(*asked).out

    def test_csv_has_the_rows_of_json(self, run: Run, what: str) -> None:
        objects = run("show", what, "--format", "json").json
        rows = rows_of(run("show", what, "--format", "csv").out)
        assert len(rows) == len(objects) > 0
        if what != "kpis":  # whose counts and figures have a column each
            assert list(objects[0]) == list(rows[0])

    def test_a_table_fits_and_names_its_zone_once(self, run: Run, what: str) -> None:
        shown = run("show", what)
        assert max(map(len, shown.out.splitlines())) <= 100
        assert shown.out.count("Europe/Lisbon") == 1
        assert "\x1b" not in shown.out

    def test_what_speaks_of_a_hazard_carries_the_caution(self, run: Run, what: str) -> None:
        cautioned = "not a safety function" in run("show", what).out
        assert cautioned == (what not in {"points", "rejects"})


@pytest.mark.usefixtures("filled")
class TestSelection:
    @pytest.mark.parametrize(
        ("asked", "starts"),
        [
            ("findings", ["2026-03-01T06:30", "2026-03-02T08:00"]),
            ("findings --from 2026-03-02", ["2026-03-02T08:00"]),
            ("findings --to 2026-03-02", ["2026-03-01T06:30"]),
            ("findings --to 2026-03-02T08:00:00Z", ["2026-03-01T06:30"]),
            ("findings --kind failed_hookup", ["2026-03-02T08:00"]),
            (
                "findings --kind failed_hookup --kind bond_lost_in_flow",
                ["2026-03-01T06:30", "2026-03-02T08:00"],
            ),
            ("findings --kind chattering", []),
            ("findings --station dryer", []),
            ("findings --station bay-1", ["2026-03-01T06:30", "2026-03-02T08:00"]),
            ("hookups --kind failed", ["2026-03-02T08:00"]),
            ("hookups --kind layer", ["2026-03-02T08:00"]),
            ("hookups --kind verified", ["2026-03-01T06:14"]),
            ("hookups --kind marginal", []),
            ("trips --kind nuisance", ["2026-03-01T07:00"]),
            ("trips --kind clamp_off", ["2026-03-01T06:30"]),
            ("trips --kind undetermined", []),
            ("transfers --from 2026-03-01T07:00:00Z", ["2026-03-01T06:15"]),
            ("transfers --from 2026-03-01T07:15:30Z", []),
        ],
    )
    def test_rows(self, run: Run, asked: str, starts: list[str]) -> None:
        found = run("show", *asked.split(), "--format", "json").json
        assert [row.get("start", row.get("time"))[:16] for row in found] == starts

    def test_points_of_one_station(self, run: Run) -> None:
        shown = run("show", "points", "--station", "bay-1", "--format", "csv")
        rows = rows_of(shown.out)
        assert [row["role"] for row in rows] == ["resistance", "permissive", "flow"]
        assert rows[0]["value"] == "open"

    def test_points_that_never_reported_or_left_the_site_file_are_there(self, run: Run) -> None:
        found = run("show", "points", "--format", "json").json
        assert {row["point"]: row["samples"] for row in found} == {
            "bay-1.resistance": 2,
            "bay-1.permissive": 0,
            "bay-1.flow": 1,
            "dryer.resistance": 0,
            "old-1.status": 1,
        }

    def test_an_unknown_station_is_told_with_what_was_meant(self, run: Run) -> None:
        shown = run("show", "findings", "--station", "bay-2")
        assert shown.status == 2
        assert shown.err == "bondtrail: no station 'bay-2'\n  Did you mean bay-1?\n"

    def test_a_station_that_left_the_site_file_can_still_be_asked_for(self, run: Run) -> None:
        assert len(run("show", "points", "--station", "old-1", "--format", "json").json) == 1

    @pytest.mark.parametrize(
        ("options", "said"),
        [
            (["--from", "yesterday"], "--from: time 'yesterday'"),
            (["--to", "2026-13-01"], "--to: time '2026-13-01'"),
            (["--from", "9999-01-01"], "outside the years"),
            (["--to", "99999999999999999999"], "outside the years"),
            (["--to", "-9999999999999999999"], "outside the years"),
            # Clocks go forward in Lisbon at 01:00 on 29 March 2026.
            (["--from", "2026-03-29T01:30:00"], "does not say which moment"),
            (["--from", "2026-03-02", "--to", "2026-03-01"], "--to must be later than --from"),
            (["--from", "2026-03-02", "--to", "2026-03-02"], "--to must be later than --from"),
        ],
    )
    def test_a_time_that_cannot_be_is_told(self, run: Run, options: list[str], said: str) -> None:
        shown = run("show", "findings", *options)
        assert shown.status == 2
        assert said in shown.err
        assert shown.err.count("\n") <= 2


@pytest.mark.usefixtures("filled")
class TestTables:
    def test_a_finding_reads_as_a_sentence_below_its_kind(self, run: Run) -> None:
        lines = run("show", "findings", "--to", "2026-03-02").out.splitlines()
        assert lines[0] == "Findings"
        assert lines[3].split() == [
            *("2026-03-01", "06:30:00", "critical", "bay-1", "bond_lost_in_flow,", "12.5", "s"),
        ]
        assert lines[4].strip() == "Flow went on for 12.5 s after the bond was lost."

    def test_what_was_said_of_a_finding_stands_beside_it(self, run: Run) -> None:
        with open_store("sqlite:///bondtrail.db") as store:
            store.reviews.add(FINDING, "explained", "hose pulled", "A. Reed", parse_time(NOW))
        lines = run("show", "findings", "--to", "2026-03-02").out.splitlines()
        assert lines[4].split()[0] == "explained"
        first, second = run("show", "findings", "--format", "json").json
        assert (first["review"], second["review"]) == ("explained", None)

    def test_transfers_tell_where_the_id_is_that_the_board_takes(self, run: Run) -> None:
        assert "--format csv and json have the id" in run("show", "transfers").out
        address = transfer_url("ID")
        assert f"at {address}." in run("show", "transfers").out

    def test_what_goes_wrong_for_years_is_told_of_each_day_the_newest_last(self, run: Run) -> None:
        days = [parse_time(f"{year}-05-01T08:00:00Z") for year in (2029, 2028, 2026)]
        wrong = [
            Reject("mqtt://broker", "topic a/b", "no number", "x", day, 7, last_at=day + SECOND)
            for day in days
        ]
        with open_store("sqlite:///bondtrail.db") as store:
            store.write({}, rejects=wrong)
        found = run("show", "rejects", "--from", "2028-01-01", "--format", "json").json
        assert [(each["at"][:4], each["last_at"]) for each in found] == [
            ("2028", "2028-05-01T08:00:01.000Z"),
            ("2029", "2029-05-01T08:00:01.000Z"),
        ]
        assert "2028-05-01 09:00:01" in run("show", "rejects").out

    def test_control_characters_of_a_reject_stay_out_of_the_terminal(self, run: Run) -> None:
        assert "\x1b" not in run("show", "rejects").out

    def test_an_empty_answer_says_so(self, run: Run) -> None:
        assert run("show", "trips", "--kind", "undetermined").out == "No trips that fit.\n"
        assert run("show", "trips", "--from", "2027-01-01").out == "No trips that fit.\n"

    def test_results_that_are_not_up_to_date_are_told(self, run: Run) -> None:
        # The fixture settled bay-1 alone.
        shown = run("show", "findings", "--format", "json")
        assert "are not up to date yet: bondtrail analyse" in shown.err
        assert run("show", "points").err == ""
        run("analyse")
        assert run("show", "findings").err == ""

    def test_a_terminal_without_unicode_gets_what_it_can_show(
        self, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        with open_store("sqlite:///bondtrail.db") as store:
            store.put_rejects([Reject("a.csv", "line 5", "Bühne", "x", parse_time(NOW))])
        shown = io.BytesIO()
        monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(shown, encoding="ascii"))
        assert main(["show", "rejects"]) == 0
        assert b"B?hne" in shown.getvalue()
