"""The data page: what comes in, what is out of order, and states without data."""

from __future__ import annotations

import re
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from bondtrail.results import Reject
from bondtrail.running import Source
from bondtrail.samples import Samples
from bondtrail.site import Site
from dashboard import data_rows
from dashboard.frame import BRIEFLY
from store import open_store
from tests.dashboard.conftest import sqlite_url
from tests.dashboard.live import NOW, run_for_a_while
from tests.dashboard.pages.conftest import Page, Shown
from tests.dashboard.quay import S


@pytest.fixture(scope="module")
def live_url(tmp_path_factory: pytest.TempPathFactory, site: Site) -> str:
    url = sqlite_url(tmp_path_factory.mktemp("live"))
    with open_store(url) as store:
        run_for_a_while(store, site)
    return url


@pytest.fixture(autouse=True)
def still_clock(page: Page, monkeypatch: pytest.MonkeyPatch) -> None:
    del page  # Dash imports the module when it makes the board
    monkeypatch.setattr(sys.modules["dashboard.pages.data"], "now_ns", lambda: NOW)


def by(rows: list[dict[str, object]], field: str) -> dict[object, dict[str, object]]:
    return {row[field]: row for row in rows}


def test_what_is_out_of_order_is_said_first_with_a_sign(page: Page, live_url: str) -> None:
    text = page("data", live_url).text
    told = re.findall(r"([▲●]) ([^▲●]+?)(?= [▲●]| Clocks and lag)", text)
    assert [(sign, said.split(":")[0]) for sign, said in told] == [
        ("▲", "1 job failing"),
        ("▲", "1 source with a clock that seems wrong"),
        ("▲", "1 point with a reading in the future"),
        ("●", next(said.split(":")[0] for sign, said in told if sign == "●")),
        ("●", "4,124 rows not taken, the last of them within a day"),
    ]
    assert told[-2][1].split()[1:3] == ["points", "silent:"]
    assert text.index(BRIEFLY) < text.index("1 job failing")


def test_readings_that_are_all_to_come_are_not_called_none(
    page: Page, live_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys.modules["dashboard.pages.data"], "now_ns", lambda: NOW // 2)
    assert "Newest reading in the future" in page("data", live_url).text


def test_the_time_is_that_of_the_site(page: Page, live_url: str) -> None:
    # 1780000000 s is 2026-05-28T20:26:40Z; Lisbon keeps summer time then, UTC+1.
    assert "As of 2026-05-28 21:26:40 (Europe/Lisbon)" in page("data", live_url).text


def test_points_are_listed_with_state_and_last_reading(page: Page, live_url: str) -> None:
    rows = by(page("data", live_url).rows("data-points"), "point")
    ahead, silent, heard = (
        rows[name] for name in ("bowl.running", "rail-1.flow", "rail-1.resistance")
    )
    assert (ahead["state"], ahead["gravity"]) == ("▲ ahead of the clock", "major")
    assert (ahead["age"], ahead["value"]) == ("1 min 30 s ahead", "off")
    assert (silent["state"], silent["gravity"]) == ("● silent", "minor")
    assert (heard["state"], heard["gravity"], heard["age"]) == ("heard", None, "1 s")
    assert (heard["value"], heard["last_text"]) == ("0 ohm", "2026-05-28 21:26:39")
    assert heard["href"] == "/station/rail-1"
    assert rows["bay-9.resistance"]["age"] == "never"
    assert rows["gone.flow"]["href"] is None


def test_a_view_of_one_state_has_an_address(page: Page, live_url: str) -> None:
    shown = page("data", live_url, show="silent", **{"from": "2026-03-01", "to": "2026-03-01"})
    assert {row["state"] for row in shown.rows("data-points")} == {"● silent"}
    links = shown.links()
    never = next(href for text, href in links.items() if text.startswith("Never seen"))
    assert never == "/data?from=2026-03-01&to=2026-03-01&show=never"
    assert any(text.startswith("All ") for text in links)


def test_a_state_without_points_says_so(page: Page, filled_url: str) -> None:
    assert "No point is in that state now." in page("data", filled_url, show="ahead").text


def test_stations_lead_to_their_page_with_their_coverage(page: Page, live_url: str) -> None:
    rows = page("data", live_url).rows("data-stations")
    told = by(rows, "station")["Rail spot 1"]
    assert str(told["href"]).startswith("/station/rail-1?from=")
    assert re.fullmatch(r"[\d.]+ %", str(told["coverage_text"]))
    assert (told["heard"], told["silent"]) == (1, 3)
    assert by(rows, "station")["Road bay 9"]["coverage_text"] == "no record"


def test_sources_and_jobs_say_what_is_wrong_in_words(page: Page, live_url: str) -> None:
    shown = page("data", live_url)
    gate, rail = shown.rows("data-sources")
    assert (gate["state"], gate["median"]) == ("▲ clock ahead of ours", "-42 s")
    assert (rail["state"], rail["median"], rail["gravity"]) == ("agrees with ours", "+0.1 s", None)
    retention, analyse = shown.rows("data-jobs")
    assert (retention["state"], retention["succeeded"], retention["took"]) == (
        "▲ failing",
        "never",
        "2 s",
    )
    assert retention["said"] == "retention said this"
    assert (analyse["state"], analyse["gravity"]) == ("well", None)


def test_rejects_are_told_with_their_reason(page: Page, live_url: str) -> None:
    rows = page("data", live_url).rows("data-rejects")
    assert [(row["reason"], row["count_text"], row["last_at"]) for row in rows] == [
        ("no number", "4,123", "2026-05-28 21:26:40"),
        ("no such tag", "1", "-"),
    ]


def test_where_readings_came_in_files_silence_is_nothing_abnormal(
    page: Page, filled_url: str
) -> None:
    shown = page("data", filled_url)
    silent = [row for row in shown.rows("data-points") if row["state"] == "silent"]
    assert silent
    assert {row["gravity"] for row in silent} == {None}
    assert "No point speaks now" in shown.text
    assert "No job ever ran" in shown.text
    assert "No source has published yet" in shown.text
    assert "All that came in was taken." in shown.text


def test_a_running_site_in_order_says_so(page: Page, tmp_path: Path, site: Site) -> None:
    url = sqlite_url(tmp_path)
    with open_store(url) as store:
        store.put_site(site, 0)
        names = [point.name for point in site.points()]
        store.write({name: Samples.of([NOW - S], [1.0]) for name in names})
    shown = page("data", url)
    assert "Nothing is out of order." in shown.text
    assert "No day is judged yet" in shown.text
    assert not shown.has("period-picker")


def test_a_site_that_publishes_and_went_quiet_is_told(
    page: Page, tmp_path: Path, site: Site
) -> None:
    """Silence is usual where readings come in files, and nowhere else."""
    url = sqlite_url(tmp_path)
    with open_store(url) as store:
        store.put_site(site, 0)
        store.write(
            {"rail-1.flow": Samples.of([NOW - 300_000 * S], [1.0])},
            sources=[
                Source("mqtt rail-1", 5, NOW - 259_200 * S),
                Source("mqtt rail-2", 5, NOW - 300_000 * S),
            ],
        )
    shown = page("data", url)
    assert "▲ No source heard for 3 d 00 h: look whether bondtrail listen runs" in shown.text
    assert "● 1 point silent" in shown.text
    assert "Nothing is out of order" not in shown.text
    assert "last heard 3 d 00 h ago" in shown.text
    assert by(shown.rows("data-points"), "point")["rail-1.flow"]["gravity"] == "minor"


@pytest.mark.parametrize(
    ("ago_s", "said"),
    [(86_399, "7 rows not taken, the last of them within a day"), (86_401, "Nothing is out")],
)
def test_what_was_not_taken_within_a_day_is_out_of_order(
    page: Page, tmp_path: Path, site: Site, ago_s: int, said: str
) -> None:
    url = sqlite_url(tmp_path)
    with open_store(url) as store:
        store.put_site(site, 0)
        store.write({"rail-1.flow": Samples.of([NOW - S], [1.0])})
        first = NOW - 90_000 * S
        wrong = Reject("mqtt://broker", "topic a/b", "no number", "x", first, 7)
        store.write({}, rejects=[replace(wrong, last_at=NOW - ago_s * S)])
    assert said in page("data", url).text


def test_a_schedule_that_stopped_is_told_once(page: Page, tmp_path: Path, site: Site) -> None:
    url = sqlite_url(tmp_path)
    with open_store(url) as store:
        store.put_site(site, 0)
        for name in ("fold", "analyse"):
            store.jobs.begin(name, NOW - 9000 * S, "host 7")
            store.jobs.end(name, NOW - 9000 * S, "done", False)
    shown = page("data", url)
    assert shown.text.count("The schedule does not run") == 1
    assert {row["state"] for row in shown.rows("data-jobs")} == {"● not done for long"}


@pytest.mark.parametrize(
    ("url", "query", "said"),
    [
        ("empty_url", {}, "Nothing to show yet"),
        ("gone_url", {}, "The history cannot be read"),
        ("filled_url", {"from": "tomorrow"}, "That period cannot be shown"),
        ("filled_url", {"from": "2026-03-02", "to": "2026-03-01"}, "That period cannot be shown"),
    ],
)
def test_states_without_data(
    page: Page, request: pytest.FixtureRequest, url: str, query: dict[str, str], said: str
) -> None:
    assert said in page("data", request.getfixturevalue(url), **query).text


@pytest.mark.parametrize(
    ("role", "value", "text"),
    [
        ("resistance", 2.345, "2.35 ohm"),
        ("resistance", float("inf"), "open"),
        ("status", 0.0, "not bonded"),
        ("status", 7.0, "7"),
        ("permissive", 1.0, "closed"),
        ("permissive", 0.0, "open"),
        ("bypass", 1.0, "on"),
        ("running", 0.0, "off"),
        ("flow", 812.34, "812"),
    ],
)
def test_a_value_is_told_in_the_words_of_its_role(role: str, value: float, text: str) -> None:
    assert data_rows.value_text(role, value) == text


@pytest.mark.parametrize(
    ("lag_s", "text"), [(None, "-"), (0.0, "+0 s"), (0.25, "+0.25 s"), (-75.0, "-1 min 15 s")]
)
def test_a_lag_has_its_sign(lag_s: float | None, text: str) -> None:
    assert data_rows.signed(lag_s) == text


def test_a_long_rejected_text_is_cut(page: Page, tmp_path: Path, site: Site) -> None:
    url = sqlite_url(tmp_path)
    with open_store(url) as store:
        store.put_site(site, 0)
        store.put_rejects([Reject("a.csv", "line 1", "too long", "x" * 4000, NOW)])
    (row,) = page("data", url).rows("data-rejects")
    assert row["raw"] == "x" * data_rows.RAW_SHOWN + "..."


def test_the_page_of_a_station_is_not_offered_where_there_is_none(
    page: Page, live_url: str
) -> None:
    shown: Shown = page("data", live_url, show="unlisted")
    assert [(row["point"], row["href"]) for row in shown.rows("data-points")] == [
        ("gone.flow", None)
    ]
