"""What `show alarms` prints: figures per position against published levels, and the alarms."""

from __future__ import annotations

import csv
import datetime as dt
import io
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from bondtrail.cli import main
from bondtrail.times import parse_time
from tests.analytics.core.test_alarm_floods import TWO_HOURS

Run = Callable[..., Any]

SITE = """\
schema = 1
[site]
id = "quay"
name = "Test quay (invented)"
timezone = "Europe/Lisbon"
{settings}
[[station]]
id = "rail-1"
name = "Rail spot 1"
kind = "rail_tank_car"
position = "Loading desk"
[station.points]
bypass = {{ alias = ["KEY-1"], stale_after_s = 7200 }}

[[station]]
id = "bay-1"
name = "Road bay 1"
kind = "road_tanker"
[station.points]
bypass = {{ alias = ["KEY-2"], stale_after_s = 7200 }}
"""

START = dt.datetime(2026, 3, 1, 6, 0, tzinfo=dt.UTC)
TWO = ("--from", "2026-03-01T06:00:00Z", "--to", "2026-03-01T08:00:00Z")


def readings() -> str:
    """The bypass key of one station turned on for 3 s at each moment of the worked stream."""
    told = [(0.0, "KEY-1", 0), (0.0, "KEY-2", 0), (7000.0, "KEY-2", 1), (7200.0, "KEY-1", 0)]
    for minute in TWO_HOURS:
        told += [(60 * minute, "KEY-1", 1), (60 * minute + 3, "KEY-1", 0)]
    lines = [
        f"{(START + dt.timedelta(seconds=second)).isoformat()},{tag},{value}"
        for second, tag, value in sorted(told)
    ]
    return "\n".join(["time,tag,value", *lines, ""])


def judged(folder: Path, settings: str = "") -> Path:
    """Load the worked stream in a folder under some settings and judge it; return the store."""
    (folder / "site.toml").write_text(SITE.format(settings=settings), encoding="utf-8")
    (folder / "readings.csv").write_text(readings(), encoding="utf-8")
    files = [str(folder / "readings.csv"), "--site", str(folder / "site.toml")]
    db = ["--db", f"sqlite:///{folder / 'bondtrail.db'}"]
    assert main(["load", *files, *db]) == 0
    assert main(["analyse", *db]) == 0
    return folder / "bondtrail.db"


@pytest.fixture(scope="module")
def usual(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store of the worked stream, judged with the settings that are usual."""
    return judged(tmp_path_factory.mktemp("usual"))


@pytest.fixture
def analysed(usual: Path, folder: Path) -> None:
    shutil.copy(usual, folder / "bondtrail.db")


def figures(run: Run, *options: str) -> dict[str, Any]:
    rows = run("show", "alarms", *TWO, "--format", "json", *options).json
    return {row["position"]: row for row in rows}


def test_the_worked_stream_through_the_historian(run: Run, analysed: None) -> None:
    """Our own worked example, arithmetic by hand."""
    row = figures(run)["Loading desk"]
    assert row["alarms"] == 25
    assert row["hours"] == 2
    assert row["average_per_10_min"]["value"] == pytest.approx(2.0833, abs=0.00005)
    assert row["average_per_hour"]["value"] == 12.5
    assert row["average_per_day"]["value"] == pytest.approx(300)
    assert row["peak_per_10_min"]["value"] == 12
    assert row["peak_per_10_min"]["at"] == "2026-03-01T06:20:00.000Z"
    assert row["periods_over_10"]["value"] == pytest.approx(0.08333, abs=0.000005)
    assert (row["periods_over_10"]["count"], row["periods_over_10"]["of"]) == (1, 12)
    assert row["time_in_flood"]["value"] == pytest.approx(0.16667, abs=0.000005)
    assert row["floods"] == [
        {
            "start": "2026-03-01T06:20:00.000Z",
            "end": "2026-03-01T06:40:00.000Z",
            "seconds": 1200.0,
            "count": 18,
            "peak": 12,
        }
    ]
    assert row["settings"]["flood_begins"] == "above_10"


@pytest.mark.parametrize(
    ("settings", "start", "end"),
    [
        pytest.param('flood_begins = "10_or_more"', "06:20:00", "06:40:00", id="ten-or-more"),
        pytest.param("flood_ends_below = 3", "06:20:00", "06:50:00", id="ends-below-3"),
        pytest.param('flood_windows = "sliding"', "06:20:06", "06:45:00", id="sliding"),
    ],
)
def test_floods_by_other_settings(
    run: Run, folder: Path, settings: str, start: str, end: str
) -> None:
    judged(folder, f"[alarms]\n{settings}\n")
    (flood,) = figures(run)["Loading desk"]["floods"]
    assert (flood["start"][11:19], flood["end"][11:19]) == (start, end)


def test_each_figure_has_its_levels_and_their_source(run: Run, analysed: None) -> None:
    row = figures(run)["Loading desk"]
    per_day = row["average_per_day"]
    assert (per_day["acceptable"], per_day["manageable"]) == (144, 288)
    assert (per_day["source"], per_day["judgement"]) == ("IEC 62682:2014", "over")
    assert "ISA-18.2-2009 had 150 and 300" in per_day["remark"]
    assert row["hours_over_30"] == {
        "value": 0.0,
        "count": 0,
        "of": 2,
        "acceptable": 0.01,
        "acceptable_is": "below",
        "manageable": None,
        "judgement": "within acceptable",
        "source": "IEC 62682, ISA-18.2-2016",
    }
    assert row["shorter_than_30_days"] is True
    assert row["coverage"] == 0  # only the key of the bypass is recorded


def test_each_alarm_and_what_stands_at_the_end(run: Run, analysed: None) -> None:
    found = figures(run)
    (one,) = found["Loading desk"]["top_ten"]
    assert (one["station"], one["kind"], one["count"], one["share"]) == (
        "rail-1",
        "bypass_on",
        25,
        1.0,
    )
    assert (one["chattering"], one["chattering_episodes"], one["fleeting"]) == (4, 1, 25)
    assert found["Loading desk"]["standing_alarms"] == []
    assert found["(no position)"]["standing_alarms"] == [
        {"station": "bay-1", "kind": "bypass_on", "start": "2026-03-01T07:56:40.000Z"}
    ]


def test_the_table_names_settings_levels_and_the_caution(run: Run, analysed: None) -> None:
    shown = run("show", "alarms", *TWO).out
    told = " ".join(shown.split())
    for said in (
        "Average per day 300 25 in 2 h up to 144 up to 288 OVER",
        "0 % known",
        "Known: share of the time on record with the bond state known",
        "Hours with over 30 0 % 0 of 2 below 1 % - acceptable",
        "Most in 10 min 12 2026-03-01 06:20 up to 10 - OVER",
        "Flood: from above 10 alarms in 10 minutes to fewer than 5",
        "By common practice levels are held against at least 30 days; this period has 2 h.",
        "Share of top ten 100 % of 1 different below 1 % up to 5 % not judged",
        "Not judged: standing alarms",
        "of ten or fewer different alarms it is 100 %",
        "IEC 62682 and ISA-18.2-2016",
        "it is not a safety function",
        "Local codes and licensed practice govern.",
    ):
        assert said in told, said
    assert max(map(len, shown.splitlines())) <= 100


def test_a_period_beyond_the_results_says_so(run: Run, analysed: None) -> None:
    assert "on record of the period" not in run("show", "alarms", *TWO).out
    shown = " ".join(run("show", "alarms", "--to", "2026-03-05").out.split())
    assert "Only what is on record of the period counts" in shown


def test_csv_has_a_row_a_position_and_a_column_a_figure(run: Run, analysed: None) -> None:
    shown = run("show", "alarms", *TWO, "--format", "csv").out
    rows = {row["position"]: row for row in csv.DictReader(io.StringIO(shown))}
    assert rows["Loading desk"]["average_per_hour"] == "12.5"
    assert rows["Loading desk"]["average_per_hour_judgement"] == "over"
    assert rows["Loading desk"]["floods"] == "1"
    assert rows["Loading desk"]["flood_windows"] == "fixed"
    assert rows["(no position)"]["alarms"] == "1"


def test_the_alarms_themselves(run: Run, analysed: None) -> None:
    rows = run("show", "alarms", "--list", *TWO, "--format", "json").json
    assert len(rows) == 26
    assert rows[0] == {
        "station": "rail-1",
        "kind": "bypass_on",
        "position": "Loading desk",
        "start": "2026-03-01T06:01:00.000Z",
        "end": "2026-03-01T06:01:03.000Z",
        "seconds": 3.0,
    }
    assert [parse_time(row["start"]) for row in rows] == sorted(
        parse_time(row["start"]) for row in rows
    )
    shown = run("show", "alarms", "--list", *TWO).out
    assert "2026-03-01 06:01:00  rail-1   bypass_on  Loading desk" in shown


@pytest.mark.parametrize(
    ("options", "count"),
    [
        pytest.param(["--position", "Loading desk"], 25, id="position"),
        pytest.param(["--station", "bay-1"], 1, id="station"),
        pytest.param(["--kind", "monitor_fault"], 0, id="kind"),
        pytest.param(["--kind", "bypass_on", "--position", "(no position)"], 1, id="both"),
        pytest.param(["--position", "(not in the site file)"], 0, id="none-gone"),
    ],
)
def test_the_list_is_narrowed(run: Run, analysed: None, options: list[str], count: int) -> None:
    assert len(run("show", "alarms", "--list", "--format", "json", *options).json) == count


def test_figures_of_one_position_or_station(run: Run, analysed: None) -> None:
    assert list(figures(run, "--position", "Loading desk")) == ["Loading desk"]
    row = figures(run, "--station", "bay-1")["(no position)"]
    assert (row["stations"], row["alarms"]) == (["bay-1"], 1)
    assert "Only alarms of bay-1" in run("show", "alarms", *TWO, "--station", "bay-1").out


@pytest.mark.parametrize(
    ("options", "said"),
    [
        pytest.param(["--position", "Loading dsk"], "Loading desk", id="a-near-miss-is-named"),
        pytest.param(["--kind", "bypass_on"], "--list", id="kinds-go-with-the-list"),
        pytest.param(["--list", "--kind", "flood"], "bypass_on", id="kinds-are-named"),
    ],
)
def test_what_cannot_be_asked_is_said(
    run: Run, analysed: None, options: list[str], said: str
) -> None:
    outcome = run("show", "alarms", *options)
    assert outcome.status == 2
    assert said in outcome.err
    assert "Traceback" not in outcome.err


def test_nothing_analysed_is_told(run: Run, folder: Path) -> None:
    (folder / "site.toml").write_text(SITE.format(settings=""), encoding="utf-8")
    (folder / "readings.csv").write_text(readings(), encoding="utf-8")
    assert run("load", "readings.csv", "--site", "site.toml").status == 0
    assert "No alarms" in run("show", "alarms").out
    assert run("show", "alarms", "--format", "json").json == []
