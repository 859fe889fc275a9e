"""What `show trends`, `show drift` and `show wear` print."""

from __future__ import annotations

import csv
import datetime as dt
import io
import shutil
from pathlib import Path

import pytest

from bondtrail.cli import opening
from bondtrail.results import DaySums, TripCause, TripClass, WorkWindow
from bondtrail.samples import Samples
from bondtrail.site import parse_site
from bondtrail.times import parse_time
from store import open_store
from tests.analytics.made import DAY, HOUR, a_hookup, a_trip, put
from tests.bondtrail.cli.conftest import SITE, Run

START = parse_time("2026-01-01T00:00:00Z")
HANDBOOK = [5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478]
"""NIST/SEMATECH e-Handbook 8.4.5.2: failures in h, tested for 1500 h."""
WATCHED = ["--from", "2026-01-01T00:00:00Z", "--to", "2026-03-04T12:00:00Z"]
"""1500 h."""


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A bay with the trips of the handbook, resistance that drifts, and clamps replaced."""
    file = tmp_path_factory.mktemp("trends") / "bondtrail.db"
    genuine = a_trip("bay-1", START + 1400 * HOUR, TripClass.GENUINE, TripCause.CLAMP_OFF)
    with open_store(f"sqlite:///{file}") as store:
        store.put_site(parse_site(SITE), 0)
        put(
            store,
            "bay-1",
            trips=[*(a_trip("bay-1", START + hour * HOUR) for hour in HANDBOOK), genuine],
            hookups=[a_hookup("bay-1", START + n * DAY, 2 + 0.1 * n) for n in range(40)],
            days=[
                DaySums("bay-1", dt.date(2026, 1, 1) + dt.timedelta(days=n), known_s=86_400.0)
                for n in range(351)
            ],
        )
        store.write({"bay-1.resistance": Samples.of([START, START + 380 * DAY], [2.0, 2.0])})
        moments = [START + n * 50 * DAY for n in range(7)]
        store.put_work([WorkWindow("bay-1", t, t + HOUR, "replaced clamp") for t in moments])
    return file


@pytest.fixture
def filled(whole: Path, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A copy of that store in the folder where the commands run."""
    shutil.copy(whole, folder / "bondtrail.db")
    monkeypatch.setattr(opening, "clock_ns", lambda: START + 400 * DAY)


@pytest.mark.usefixtures("filled")
class TestTrends:
    def test_the_handbook_through_the_command(self, run: Run) -> None:
        asked = ["show", "trends", "--kind", "nuisance", *WATCHED, "--confidence", "80"]
        whole, bay = run(*asked, "--format", "json").json
        assert list(whole) == [
            *("station", "stations", "from", "to", "known", "trips", "verdict", "words"),
            "confidence",
            *("mtbf_h", "laplace", "mil_hdbk_189", "reverse_arrangements", "power_law", "mcf"),
        ]
        assert (whole["station"], whole["stations"], bay["station"]) == (None, 1, "bay-1")
        assert (bay["trips"], bay["confidence"]) == (10, 0.8)
        # NIST/SEMATECH e-Handbook 8.4.5.2; Laplace's U by its formula, with scipy.
        modified = bay["power_law"]["modified"]
        assert modified["beta"] == pytest.approx(0.483506, abs=1e-6)
        assert modified["mtbf_h"] == pytest.approx(310.234, abs=1e-3)
        assert modified["mtbf_low_h"] == pytest.approx(157.7138, rel=1e-6)
        assert modified["mtbf_high_h"] == pytest.approx(548.5566, rel=1e-6)
        assert bay["laplace"]["u"] == pytest.approx(-1.326949, abs=1e-6)
        assert bay["mil_hdbk_189"]["chi_squared"] == pytest.approx(37.22808, abs=1e-5)
        assert bay["mil_hdbk_189"]["below"] == pytest.approx(0.989014, abs=1e-6)
        assert bay["reverse_arrangements"]["count"] == 33
        assert bay["verdict"] == "no sign of a trend"
        assert "Laplace test" in bay["words"]
        assert bay["mtbf_h"] == {
            "value": 150.0,
            "low": pytest.approx(97.37, abs=0.01),  # 3000 / chi2(0.9; 22), scipy
            "high": pytest.approx(241.1, abs=0.1),  # 3000 / chi2(0.1; 20), scipy
            "count": 10,
            "of": 1500.0,
        }
        assert [point["mean"] for point in whole["mcf"]] == list(range(1, 11))
        assert bay["mcf"] is None

    def test_kinds_narrow_it_down(self, run: Run) -> None:
        asked = ["show", "trends", "--station", "bay-1", *WATCHED, "--format", "json"]
        assert run(*asked).json[0]["trips"] == 11
        (few,) = run(*asked, "--kind", "clamp_off").json
        assert (few["trips"], few["verdict"]) == (1, "too few to tell")

    def test_csv_is_flat(self, run: Run) -> None:
        asked = ["show", "trends", *WATCHED, "--format", "csv"]
        rows = list(csv.DictReader(io.StringIO(run(*asked).out)))
        assert [row["station"] for row in rows] == ["", "bay-1"]
        assert "mcf" not in rows[0]
        assert float(rows[1]["power_law.maximum_likelihood.beta"]) > 0
        assert rows[0]["reverse_arrangements.z"] == rows[1]["reverse_arrangements.z"]

    def test_a_table_names_its_tests(self, run: Run) -> None:
        shown = run("show", "trends", *WATCHED).out
        assert max(map(len, shown.splitlines())) <= 100
        for said in (
            *("(all stations)", "Laplace", "MIL-HDBK-189", "Crow-AMSAA", "modified", "95 %"),
            *("100 % known", "over X: no trip, one-sided 95 %", "one in 20 shows a trend by"),
            "a station that is used twice as much trips twice as often",
        ):
            assert said in " ".join(shown.split())

    def test_few_trips_have_no_beta_and_no_test_in_a_table(self, run: Run) -> None:
        asked = ["show", "trends", "--kind", "clamp_off", "--station", "bay-1", *WATCHED]
        (line,) = (line for line in run(*asked).out.splitlines() if "too few to tell" in line)
        assert line.split()[-2:] == ["-", "-"]
        assert "MIL-HDBK-189: p" not in run(*asked).out

    def test_no_trip_is_told_as_one_sided(self, run: Run) -> None:
        shown = run("show", "trends", "--kind", "no_data", "--station", "bay-1", *WATCHED).out
        # NIST/SEMATECH e-Handbook 8.4.5.1: T / -ln(0.05), 1500 h / 2.9957 = 500.7 h = 20.9 d.
        assert "over 20.9 d" in shown

    def test_a_watch_that_ends_with_the_last_trip(self, run: Run) -> None:
        asked = ["show", "trends", "--kind", "nuisance", "--ends-with-trip", "--format", "json"]
        whole, bay = run(*asked).json
        assert (bay["to"], bay["mtbf_h"]["of"]) == ("2026-03-03T14:00:00.000Z", 1478)
        assert whole["mcf"] is None
        shown = run("show", "trends", "--ends-with-trip").out
        assert "from its first reading to its last trip, which ends it" in " ".join(shown.split())
        refused = run("show", "drift", "--ends-with-trip")
        assert (refused.status, "--ends-with-trip" in refused.err) == (2, True)

    @pytest.mark.parametrize("share", ["0", "100", "-5"])
    def test_an_interval_of_nothing_or_all_is_refused(self, run: Run, share: str) -> None:
        shown = run("show", "trends", "--confidence", share)
        assert shown.status == 2
        assert "--confidence" in shown.err


@pytest.mark.usefixtures("filled")
class TestDrift:
    def test_the_keys_and_values(self, run: Run) -> None:
        (row,) = run("show", "drift", "--format", "json").json
        assert list(row) == [
            *("station", "kind", "latest", "within_90_days", "from", "to", "hookups"),
            *("failed_since", "level_ohm", "limit_ohm", "slope_ohm_per_day", "p_value"),
            *("change_point", "reaches_limit", "limit_date_is_past", "words"),
        ]
        assert (row["kind"], row["within_90_days"], row["hookups"]) == ("drift", True, 40)
        assert row["slope_ohm_per_day"]["value"] == pytest.approx(0.1)
        assert row["level_ohm"] == pytest.approx(5.9)
        # From 5.9 ohm on 9 February at 0.1 ohm a day: 10 ohm 41 days later.
        assert row["reaches_limit"]["days"] == pytest.approx(41)
        assert row["reaches_limit"]["on"][:10] in {"2026-03-21", "2026-03-22"}
        assert row["limit_date_is_past"] is True  # the clock stands in February 2027
        assert "rising by 0.1 ohm a day" in row["words"]
        assert "by the line the limit of 10 ohm was reached about 2026-03-2" in row["words"]

    def test_a_day_to_come_is_a_forecast(self, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(opening, "clock_ns", lambda: START + 41 * DAY)
        (row,) = run("show", "drift", "--format", "json").json
        assert row["limit_date_is_past"] is False
        assert "reaches the limit of 10 ohm about 2026-03-2" in row["words"]
        assert "95 % of the slope alone" in row["words"]

    def test_csv_is_flat(self, run: Run) -> None:
        (row,) = csv.DictReader(io.StringIO(run("show", "drift", "--format", "csv").out))
        assert float(row["reaches_limit.days"]) == pytest.approx(41)
        assert float(row["slope_ohm_per_day.low"]) == pytest.approx(0.1)

    def test_a_table_says_what_to_watch(self, run: Run) -> None:
        shown = run("show", "drift").out
        assert max(map(len, shown.splitlines())) <= 100
        assert "WATCH: rising" in shown
        assert "It is no promise" in shown
        assert "about one in 100 shows a drift by chance" in shown
        assert run("show", "drift", "--station", "dryer").out == "No drift that fit.\n"


@pytest.mark.usefixtures("filled")
class TestWear:
    def test_the_keys_and_values(self, run: Run) -> None:
        clamp, cable = run("show", "wear", "--format", "json").json
        assert list(clamp) == [
            *("part", "replaced", "running", "words", "shape", "b10_days", "median_days"),
            *("scale_days", "lives"),
        ]
        assert (clamp["part"], clamp["replaced"], clamp["running"]) == ("clamp", 6, 1)
        assert clamp["lives"][0] == {
            "station": "bay-1",
            "start": "2026-01-01T01:00:00.000Z",
            "end": "2026-02-20T00:00:00.000Z",
            "days": pytest.approx(50 - 1 / 24),
            "replaced": True,
        }
        assert clamp["shape"]["low"] < clamp["shape"]["value"] < clamp["shape"]["high"]
        assert (cable["replaced"], cable["shape"], cable["lives"]) == (0, None, [])
        assert "too few to tell" in cable["words"]

    def test_csv_and_table(self, run: Run) -> None:
        clamp, _ = csv.DictReader(io.StringIO(run("show", "wear", "--format", "csv").out))
        assert (clamp["part"], clamp["replaced"]) == ("clamp", "6")
        assert "lives" not in clamp
        shown = run("show", "wear").out
        assert max(map(len, shown.splitlines())) <= 100
        assert "Every replacement counts as a failure" in shown
        assert "Work that has not begun yet does not count" in shown
        assert "not a safety function" in shown
