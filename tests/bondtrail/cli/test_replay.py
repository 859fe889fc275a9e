"""What `replay` takes, prints and refuses, from a store of scripted readings."""

from __future__ import annotations

import csv
import io
import math
import re
import shutil
import sqlite3
import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, get_args

import numpy as np
import pytest

from analytics.core.electrostatics.streaming import FORMS
from analytics.core.events import Basis, What
from analytics.replay.spans import LONGEST_DAYS
from analytics.runs import analyse
from bondtrail.cli import opening, replay
from bondtrail.results import Ticket, WorkWindow
from bondtrail.samples import Samples
from bondtrail.site import parse_site
from bondtrail.site_tables import HazardRules
from bondtrail.times import NS_PER_S, parse_time
from store import Store, open_store

Run = Callable[..., Any]

DB = "sqlite:///bondtrail.db"
NOW = parse_time("2026-07-02T12:00:00Z")
BEGIN = parse_time("2026-07-01T06:00:00Z")
HOUR_S = 3600
BAD = "bay-1/20260701T120020.000Z"
"""The seventh transfer: its bond is lost in flow."""
NINE = {
    "peak_potential_V",
    "peak_charge_uC",
    "peak_energy_mJ",
    "mie_ratio",
    "first_over_mie",
    "seconds_over_mie",
    "relaxation_time_s",
    "velocity_m_s",
    "velocity_limit_m_s",
}

SITE = """\
schema = 1

[site]
id = "test-site"
name = "Test site (invented)"
timezone = "Europe/Lisbon"

[product.naphtha]
phase = "liquid"
conductivity_pS_m = 3.0
relative_permittivity = 2.0
mie_mJ = 0.24
source = "conductivity: CSB 2007-06-I-KS as a secondary article tells it; the rest a test's own"

[[station]]
id = "bay-1"
name = "Road bay 1"
kind = "road_tanker"
product = "naphtha"
pipe_diameter_m = 0.08

[station.points]
resistance = { unit = "ohm" }
permissive = {}
flow = {}

[[station]]
id = "drum-1"
name = "Drum filler"
kind = "drum"

[station.points]
resistance = { unit = "ohm" }
flow = {}
"""


@pytest.fixture(autouse=True)
def _clock(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(opening, "clock_ns", lambda: NOW)


def transfer_at(hour: int, *, lost_s: int = 0) -> dict[str, Samples]:
    """Return the readings of ten minutes, one a second: on at 10 s, flow from 20 s to 200 s.

    ``lost_s``: for so long the bond is open in flow, from 100 s on.
    """
    second = np.arange(600)
    time = BEGIN + (hour * HOUR_S + second) * NS_PER_S
    bonded = (second >= 10) & (second < 230) & ~((second >= 100) & (second < 100 + lost_s))
    flow = np.where((second >= 20) & (second < 200), 812.0, 0.0)
    return {
        "bay-1.resistance": Samples.of(time, np.where(bonded, 3.4, math.inf)),
        "bay-1.permissive": Samples.of(time, bonded),
        "bay-1.flow": Samples.of(time, flow),
    }


@contextmanager
def opened() -> Iterator[Store]:
    with open_store(DB) as store:
        yield store


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Six good transfers of naphtha, an hour apart, and one whose bond is lost for 15 s."""
    file = tmp_path_factory.mktemp("replay") / "bondtrail.db"
    with open_store(f"sqlite:///{file}") as store:
        store.put_site(parse_site(SITE), 0)
        for hour in range(6):
            store.write(transfer_at(hour))
        store.write(transfer_at(6, lost_s=15))
        begin = BEGIN + 6 * HOUR_S * NS_PER_S
        store.put_tickets(
            [Ticket("bay-1", begin, begin + 300 * NS_PER_S, "B-17", "naphtha", "A. Reed")]
        )
        store.put_work([WorkWindow("bay-1", begin - NS_PER_S, begin, "clamp changed")])
        analyse(store, now=NOW)
    return file


@pytest.fixture
def filled(whole: Path, folder: Path) -> None:
    """A copy of that store in the folder where the commands run."""
    shutil.copy(whole, folder / "bondtrail.db")


@pytest.mark.usefixtures("filled")
class TestForPeople:
    def test_what_was_asked_for_stands_first(self, run: Run) -> None:
        shown = run("replay", BAD)
        assert (shown.status, shown.err) == (0, "")
        lines = shown.out.splitlines()
        assert lines[0] == f"Replay of {BAD}"
        assert "Road bay 1 (bay-1), road tanker; Test site (invented)" in shown.out
        assert "batch B-17; operator A. Reed" in shown.out
        assert "the transfer is NOT compliant" in shown.out
        assert "limit_ohm 10, open_ohm 100000, hold_s 1" in shown.out
        assert "Times are Europe/Lisbon." in shown.out

    def test_events_stand_in_order_on_the_sites_clock_with_milliseconds(self, run: Run) -> None:
        out = run("replay", BAD).out
        marks = [
            "13:00:10.000  known",
            "flow on: ",
            "! bond lost: open circuit",
            "flow off: ",
            "Each event stands at the moment it was seen",
        ]
        places = [out.index(mark) for mark in marks]
        assert places == sorted(places)
        assert re.search(r"13:00:11.000 +~ inferred +bond verified", out)

    def test_every_part_is_there_and_the_caution_last(self, run: Run) -> None:
        out = run("replay", BAD).out
        heads = [
            "What is missing",
            "What happened",
            "Beside the typical transfer",
            "What the charge could have been",
            "What this cannot see",
            "Caution",
        ]
        places = [out.index(f"\n{head}") for head in heads]
        assert places == sorted(places)
        assert "Local codes and licensed practice govern" in out[places[-1] :]

    def test_the_lines_fit_a_report(self, run: Run) -> None:
        assert max(map(len, run("replay", BAD).out.splitlines())) <= 100

    def test_what_would_steer_a_terminal_is_taken_out(self, run: Run) -> None:
        begin = BEGIN + 6 * HOUR_S * NS_PER_S
        with opened() as store:
            store.put_tickets(
                [Ticket("bay-1", begin, begin + 300 * NS_PER_S, "B\x1b[31m", "n\x07a", "A\x1bB")]
            )
        assert run("analyse").status == 0
        shown = run("replay", BAD)
        assert shown.status == 0
        assert not re.search(r"[\x00-\x08\x0b-\x1f\x7f-\x9f]", shown.out)

    def test_a_span_needs_no_transfer(self, run: Run) -> None:
        asked = ["--from", "2026-07-01T13:02", "--to", "2026-07-01T13:04"]
        shown = run("replay", "--station", "bay-1", *asked)
        assert (shown.status, shown.err) == (0, "")
        assert "Transfer    none: this is a span of the record" in shown.out
        assert "Beside the typical transfer" not in shown.out
        assert "What this cannot see" in shown.out


@pytest.mark.usefixtures("filled")
class TestForPrograms:
    def test_json_is_one_object(self, run: Run) -> None:
        found = run("replay", BAD, "--format", "json").json
        assert found["transfer"]["id"] == BAD
        assert found["product"] == "naphtha"
        assert [row["batch"] for row in found["tickets"]] == ["B-17"]
        assert [row["kind"] for row in found["findings"]] == ["bond_lost_in_flow"]
        whats = [event["what"] for event in found["events"]]
        assert whats.index("flow_on") < whats.index("bond_lost") < whats.index("flow_off")
        times = [event["time"] for event in found["events"]]
        assert times == sorted(times)
        assert all(re.fullmatch(r"2026-07-01T\d\d:\d\d:\d\d\.\d{3}Z", time) for time in times)

    def test_the_hazard_has_inputs_with_sources_and_nine_figures_at_three_levels(
        self, run: Run
    ) -> None:
        hazard = run("replay", BAD, "--format", "json").json["hazard"]
        assert hazard["inputs"]
        for told in hazard["inputs"].values():
            assert {"value", "unit", "source"} <= set(told)
            assert told["source"]
        for level in ("low", "typical", "high"):
            assert set(hazard[level]) == NINE
        peaks = [hazard[level]["peak_potential_V"] for level in ("low", "typical", "high")]
        assert peaks == sorted(peaks)
        assert peaks[-1] > 0
        assert hazard["unseen"]

    def test_csv_has_the_events(self, run: Run) -> None:
        shown = run("replay", BAD, "--format", "csv")
        rows = list(csv.DictReader(io.StringIO(shown.out)))
        events = run("replay", BAD, "--format", "json").json["events"]
        assert [row["time"] for row in rows] == [event["time"] for event in events]
        assert list(rows[0]) == list(events[0])
        lost = next(row for row in rows if row["what"] == "bond_lost")
        assert (lost["ohm"], lost["role"], lost["order_certain"]) == ("open", "resistance", "true")

    def test_text_that_a_spreadsheet_takes_for_a_formula_is_disarmed(self, run: Run) -> None:
        begin = BEGIN + 6 * HOUR_S * NS_PER_S
        with opened() as store:
            store.put_work([WorkWindow("bay-1", begin + NS_PER_S, begin + 9 * NS_PER_S, "=cmd()")])
        cells = [
            cell
            for row in csv.reader(io.StringIO(run("replay", BAD, "--format", "csv").out))
            for cell in row
        ]
        assert not [cell for cell in cells if cell.startswith(("=", "+", "@"))]

    def test_a_moment_within_a_transfer_gives_the_whole_of_it(self, run: Run) -> None:
        asked = ["--station", "bay-1", "--at", "2026-07-01T13:01:00", "--format", "json"]
        assert run("replay", *asked).json == run("replay", BAD, "--format", "json").json

    def test_a_moment_between_transfers_gives_the_time_around_it(self, run: Run) -> None:
        asked = ["--station", "bay-1", "--at", "2026-07-01T12:08:00Z", "--format", "json"]
        found = run("replay", *asked).json
        assert found["transfer"] is None
        assert found["start"] < "2026-07-01T12:08:00.000Z" < found["end"]

    def test_the_form_of_the_streaming_current_can_be_named(self, run: Run) -> None:
        peaks = {}
        for form in replay.FORMS:
            asked = ["replay", BAD, "--format", "json", "--streaming-form", form]
            hazard = run(*asked).json["hazard"]
            peaks[form] = [
                hazard["inputs"]["streaming_coefficient"][end] for end in ("low", "high")
            ]
        assert peaks["spread"] == [peaks["schon"][0], peaks["nfpa_77"][1]]
        assert all(peaks[form][0] == peaks[form][1] for form in FORMS)


def test_the_forms_that_can_be_named_are_those_of_the_site_file() -> None:
    field = HazardRules.model_fields["streaming_form"]
    assert get_args(field.annotation) == replay.FORMS == ("spread", *FORMS)


NAPHTHA_S = 5.9028
"""Relaxation time at 3 pS/m and a permittivity of 2: eps_0 eps_r / kappa by hand."""
SAID_OF_SAFE = (
    "not a safety function",
    "calls nothing safe",
    "U.S. Chemical Safety Board",
    "Chemical Process Safety",
)
"""All that may be said of safety: what Bondtrail is not, whose case study it is, and a title."""


@pytest.mark.usefixtures("filled")
class TestTheTruckWasBondedAndTheFloatWasNot:
    """CSB case study 2007-06-I-KS: the tank fire at Valley Center, Kansas, 17 July 2007.

    A tank was filled with VM&P naphtha from a tank trailer that was bonded and grounded; a loosely
    linked level float inside the tank sparked. A good bond at the clamp does not remove a float.
    """

    GOOD = "bay-1/20260701T060020.000Z"

    def test_the_bond_was_good_throughout(self, run: Run) -> None:
        found = run("replay", self.GOOD, "--format", "json").json
        assert found["transfer"]["compliant"] is True
        assert (found["findings"], found["transfer"]["not_bonded_s"]) == ([], 0.0)

    def test_the_liquid_relaxes_as_worked_by_hand(self, run: Run) -> None:
        hazard = run("replay", self.GOOD, "--format", "json").json["hazard"]
        assert hazard["conductivity_class"] == "low"
        for level in ("low", "typical", "high"):
            assert hazard[level]["relaxation_time_s"] == pytest.approx(NAPHTHA_S, rel=1e-4)

    def test_the_text_keeps_the_caution_of_the_float(self, run: Run) -> None:
        out = " ".join(run("replay", self.GOOD).out.split())
        assert "2007-06-I-KS" in out
        assert re.search(r"good bond at the clamp does not earth", out)
        assert "level float" in out

    def test_json_keeps_it(self, run: Run) -> None:
        unseen = " ".join(run("replay", self.GOOD, "--format", "json").json["hazard"]["unseen"])
        assert re.search(r"good bond at the clamp does not earth", unseen)
        assert "2007-06-I-KS" in unseen

    @pytest.mark.parametrize("form", ["table", "json", "csv"])
    def test_nothing_says_that_it_was_safe(self, run: Run, form: str) -> None:
        out = " ".join(run("replay", self.GOOD, "--format", form).out.split())
        for said in SAID_OF_SAFE:
            out = out.replace(said, "")
        assert not re.search(r"safe|harmless|no (hazard|danger|risk)", out, re.IGNORECASE)

    def test_it_is_kept_where_there_is_no_estimate(self, run: Run) -> None:
        with opened() as store:
            time = BEGIN + np.arange(600) * NS_PER_S
            store.write(
                {
                    "drum-1.resistance": Samples.of(time, np.full(600, 3.4)),
                    "drum-1.flow": Samples.of(time, np.full(600, 60.0)),
                }
            )
        asked = ["replay", "--station", "drum-1", "--at", "2026-07-01T06:05:00Z"]
        out = run(*asked).out
        assert "What the charge could have been: no estimate" in out
        assert "2007-06-I-KS" in out
        hazard = run(*asked, "--format", "json").json["hazard"]
        assert [hazard[level] for level in ("low", "typical", "high")] == [None] * 3
        assert hazard["reasons"]
        assert any("2007-06-I-KS" in line for line in hazard["unseen"])


@pytest.mark.usefixtures("filled")
class TestLessThanWhole:
    def test_readings_that_wait_for_an_analysis_are_told(self, run: Run) -> None:
        with opened() as store:
            store.write(transfer_at(6, lost_s=20))
        shown = run("replay", BAD, "--format", "json")
        assert shown.status == 0
        assert "bay-1 are not up to date" in shown.err
        assert "bondtrail analyse" in shown.err
        assert shown.json["waiting"] is True

    def test_readings_that_are_damaged_are_told(self, run: Run, folder: Path) -> None:
        with opened() as store:
            store.fold()
        with sqlite3.connect("bondtrail.db") as conn:
            conn.execute("update segment set block = zeroblob(length(block))")
        conn.close()
        shown = run("replay", BAD, "--format", "json")
        assert shown.status == 0
        assert "bay-1.flow" in shown.err
        assert "bondtrail check" in shown.err
        assert shown.json["damaged"]
        assert "damage" in run("replay", BAD).out.partition("What happened")[0]


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        pytest.param([], "TRANSFER is needed", id="nothing"),
        pytest.param([BAD, "--station", "bay-1"], "--station does not go with TRANSFER", id="both"),
        pytest.param([BAD, "--at", "2026-07-01"], "--at does not go with TRANSFER", id="both-at"),
        pytest.param(["--at", "2026-07-01"], "--at needs --station", id="at-alone"),
        pytest.param(["--from", "2026-07-01"], "--from needs --station", id="from-alone"),
        pytest.param(["--station", "bay-1"], "goes with --at", id="station-alone"),
        pytest.param(["--station", "bay-1", "--to", "2026-07-01"], "both --from and --to", id="to"),
        pytest.param(
            ["--station", "bay-1", "--at", "2026-07-01", "--from", "2026-07-01"],
            "goes with --at",
            id="at-and-from",
        ),
        pytest.param(
            ["--station", "bay-1", "--from", "2026-07-01T09", "--to", "2026-07-01T09"],
            "--to must be later than --from",
            id="an-empty-span",
        ),
        pytest.param(
            ["--station", "bay-1", "--from", "2026-07-01T09", "--to", "2026-07-01T08"],
            "--to must be later than --from",
            id="a-span-that-ends-before-it-begins",
        ),
        pytest.param(
            ["--station", "bay-1", "--from", "2026-07-01", "--to", "2026-07-08T00:00:00.001"],
            "a replay takes 7 days at most",
            id="too-long",
        ),
        pytest.param(["--station", "bay-1", "--at", "soon"], "--at: time 'soon'", id="not-a-time"),
        pytest.param(["--station", "bay-2", "--at", "2026-07-01"], "mean bay-1", id="no-station"),
        pytest.param(
            ["--station", "bay-1", "--at", "soon"],
            "A time without an offset, such as 2026-03-01, is on the clock of Europe/Lisbon.",
            id="not-a-time: how-it-is-read",
        ),
        pytest.param(
            ["--station", "bay-1", "--at", "2026-06-01"],
            "nothing is recorded from 2026-05-31 23:55:00 to 2026-06-01 00:05:00 (Europe/Lisbon)",
            id="no-readings",
        ),
        pytest.param(
            ["--station", "bay-1", "--at", "2027-06-01"],
            "from 2027-05-31 23:55:00 (Europe/Lisbon) on: yet to come",
            id="in-the-future",
        ),
        pytest.param(
            ["bay-1/20260701T120021.000Z"], "The nearest: bay-1/20260701T120020.000Z", id="near"
        ),
        pytest.param(["bay-1"], "named STATION/START", id="a-station-for-a-transfer"),
        pytest.param(["bay-1/when"], "bondtrail show transfers --station bay-1", id="no-stamp"),
        pytest.param(["bay-x/20260701T120021.000Z"], "No station 'bay-x'", id="other-station"),
        pytest.param([""], "named STATION/START", id="empty"),
        pytest.param([BAD, "--streaming-form", "mine"], "'mine'", id="no-such-form"),
        pytest.param([BAD, "--format", "xml"], "'xml'", id="no-such-format"),
    ],
)
@pytest.mark.usefixtures("filled")
def test_wrong_use_is_told_in_two_lines(run: Run, arguments: list[str], told: str) -> None:
    shown = run("replay", *arguments)
    assert (shown.status, shown.out) == (2, "")
    assert told in shown.err
    assert len(shown.err.splitlines()) <= 2


def test_the_help_names_the_longest_span(run: Run) -> None:
    assert f"at most {LONGEST_DAYS} days" in " ".join(run("replay", "--help").out.split())


def test_a_span_of_seven_days_is_taken(run: Run, filled: None) -> None:
    asked = ["--from", "2026-06-28", "--to", "2026-07-05"]
    assert run("replay", "--station", "bay-1", *asked).status == 0


def test_without_a_store_none_is_made(run: Run, folder: Path) -> None:
    shown = run("replay", BAD)
    assert shown.status == 2
    assert "no store at" in shown.err
    assert list(folder.iterdir()) == []


def test_a_store_without_a_site_file_says_what_to_do(run: Run, folder: Path) -> None:
    with opened() as store:
        store.write(transfer_at(0))
    shown = run("replay", BAD)
    assert shown.status == 2
    assert "the store has no site file" in shown.err


ODD: dict[str, tuple[str, str, dict[str, Samples]]] = {
    "one-reading": (
        "drum",
        "resistance = {}\nflow = {}",
        {"resistance": Samples.of([BEGIN], [3.4])},
    ),
    "bad-throughout": (
        "drum",
        "resistance = {}\nflow = {}",
        {
            "resistance": Samples.of(BEGIN + np.arange(60) * NS_PER_S, np.ones(60), np.full(60, 2)),
            "flow": Samples.of(BEGIN + np.arange(60) * NS_PER_S, np.full(60, 50.0), np.full(60, 2)),
        },
    ),
    "permissive-alone": (
        "ibc",
        "permissive = {}",
        {"permissive": Samples.of(BEGIN + np.arange(60) * NS_PER_S, np.arange(60) % 2)},
    ),
    "status-and-running": (
        "fixed_item",
        "status = {}\nrunning = {}",
        {
            "status": Samples.of(BEGIN + np.arange(60) * NS_PER_S, np.arange(60) % 4),
            "running": Samples.of(BEGIN + np.arange(60) * NS_PER_S, np.ones(60)),
        },
    ),
    "open-throughout": (
        "flexible_bulk_bag",
        "resistance = {}",
        {"resistance": Samples.of(BEGIN + np.arange(60) * NS_PER_S, np.full(60, math.inf))},
    ),
}


@pytest.mark.parametrize("name", ODD)
def test_whatever_little_is_recorded_is_told(run: Run, name: str) -> None:
    kind, points, told = ODD[name]
    head = SITE.partition("[[station]]")[0]
    station = f'[[station]]\nid = "odd-1"\nname = "Odd"\nkind = "{kind}"\n\n[station.points]\n'
    with opened() as store:
        store.put_site(parse_site(f"{head}{station}{points}\n"), 0)
        store.write({f"odd-1.{role}": samples for role, samples in told.items()})
        analyse(store, now=NOW)
    asked = ("replay", "--station", "odd-1", "--at", "2026-07-01T06:00:30Z", "--format")
    for form, said in (("table", "at start"), ("json", "at_start"), ("csv", "at_start")):
        shown = run(*asked, form)
        assert (shown.status, shown.err) == (0, ""), form
        assert said in shown.out, form


PAGE = (Path(__file__).parents[3] / "docs" / "replay.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", [*What, *Basis, *replay.FORMS])
def test_the_page_on_replay_covers_every_event_basis_and_form(name: str) -> None:
    assert f"`{name}`" in PAGE


@pytest.mark.usefixtures("filled")
def test_the_page_on_replay_covers_every_key_and_figure(run: Run) -> None:
    found = run("replay", BAD, "--format", "json").json
    named = [*found, *found["events"][0], *found["hazard"], *found["hazard"]["typical"]]
    compared = [row["name"] for row in found["typical"]["comparisons"]]
    assert len(compared) >= 10
    assert [name for name in [*named, *compared] if f"`{name}`" not in PAGE] == []


SLOW = ("pandas", "scipy", "statsmodels", "matplotlib", "pint", "dash", "plotly", "pyarrow")


@pytest.mark.usefixtures("filled")
def test_it_does_not_wait_for_what_it_does_not_need(shell: dict[str, Any]) -> None:
    """A replay is asked for one at a time: what it imports is what one waits for."""
    script = (
        "import sys; from bondtrail.cli import main;"
        f"main(['replay', {BAD!r}, '--format', 'json']);"
        f"print(sorted({set(SLOW)!r} & set(sys.modules)))"
    )
    program = shell["args"][0]
    shown = subprocess.run(
        [program, "-c", script], env=shell["env"], capture_output=True, text=True, check=True
    )
    assert shown.stdout.splitlines()[-1] == "[]"
