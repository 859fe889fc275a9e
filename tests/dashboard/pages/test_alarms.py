"""The alarms page: positions, figures beside levels, what calls most, and states without data."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from bondtrail.results import Alarm, AlarmKind
from dashboard.frame import BRIEFLY
from store import open_store
from tests.dashboard.conftest import sqlite_url
from tests.dashboard.desks import HOUR, MIN, at, fill
from tests.dashboard.pages.conftest import Page, Shown

STREAM_DAY = {"from": "2026-03-02", "to": "2026-03-02"}


def level_rows(shown: Shown) -> dict[str, list[str]]:
    """The cells of the table of levels by the name of the figure."""
    body = shown.by_id("alarms-levels").children[1]
    rows = [[Shown(cell).text for cell in row.children] for row in body.children]
    return {row[0]: row[1:] for row in rows}


def test_positions_are_compared(page: Page, desks_url: str) -> None:
    rows = page("alarms", desks_url).rows("alarms-positions")
    told = {row["position"]: (row["stations"], row["alarms"], row["floods"]) for row in rows}
    assert told == {
        "Loading desk": (1, 25, 1),
        "Bay desk": (1, 2, 0),
        "(no position)": (1, 0, 0),
        "(not in the site file)": (1, 1, 0),
    }
    assert rows[0]["position"] == "Loading desk"
    assert rows[0]["href"] == "/alarms?from=2026-03-01&to=2026-03-03&position=Loading+desk"


def test_figures_stand_beside_their_levels_and_source(page: Page, desks_url: str) -> None:
    rows = level_rows(page("alarms", desks_url, **STREAM_DAY, position="Loading desk"))
    assert rows["Average per day"] == [
        "25", "25 in 24 h", "up to 144", "up to 288", "within acceptable", "IEC 62682:2014",
    ]  # fmt: skip
    assert rows["Most in 10 min"][:2] == ["12", "2026-03-02 06:20"]
    assert rows["Most in 10 min"][4] == "↑ over"
    assert rows["10 min with over 10"][:2] == ["0.7 %", "1 of 144"]
    assert rows["Time in flood"][:2] == ["1.4 %", "1 flood"]
    assert len(rows) == 12


def test_what_is_above_the_acceptable_level_has_a_mark_and_a_word(
    page: Page, tmp_path: Path
) -> None:
    url = sqlite_url(tmp_path)
    start = at("02T00:00:00")
    busy = [
        Alarm("rail-1", AlarmKind.BOND_LOST, start + n * 7 * MIN, start + n * 7 * MIN + HOUR)
        for n in range(200)
    ]
    busy[0] = Alarm("rail-1", AlarmKind.BOND_LOST, start, start + MIN // 12)
    with open_store(url) as store:
        fill(store, {"rail-1": busy})
    shown = page("alarms", url, **STREAM_DAY, position="Loading desk")
    rows = level_rows(shown)
    assert rows["Average per day"][4] == "↗ within manageable"
    assert rows["Fleeting alarms"][4] == "↑ over"
    assert rows["Share of top ten"][4] == "not judged: ten or fewer different alarms"
    assert rows["Standing, average"][4] == "not judged: the level is not verified"
    assert rows["Most in 10 min"][4] == "within acceptable"
    marks = {
        Shown(part).text: part.className
        for part in shown.components
        if (getattr(part, "className", None) or "").startswith("mark ")
    }
    assert marks == {"↗ within manageable": "mark mark-minor", "↑ over": "mark mark-major"}


def test_settings_and_cautions_are_told(page: Page, desks_url: str) -> None:
    text = page("alarms", desks_url).text
    for said in (
        "The bond state was known for 100 % of the time on record",
        "Flood: from above 10 alarms in 10 minutes to fewer than 5",
        "Chattering: 3 or more of one alarm within 60 s",
        "By common practice levels are held against at least 30 days",
        "These are settings of the site file",
        BRIEFLY,
    ):
        assert said in text, said
    assert text.index(BRIEFLY) < text.index("Positions")


def test_the_top_ten_lead_to_their_stations(page: Page, desks_url: str) -> None:
    rows = page("alarms", desks_url, position="Loading desk").rows("alarms-each")
    (row,) = rows
    assert (row["station"], row["kind"], row["count"], row["share_text"]) == (
        "Rail spot 1",
        "bond lost",
        25,
        "100 %",
    )
    assert (row["episodes"], row["chattering"], row["fleeting"]) == (1, 4, 25)
    assert row["href"] == "/station/rail-1?from=2026-03-01&to=2026-03-03"


def test_a_station_that_is_gone_has_no_address(page: Page, desks_url: str) -> None:
    rows = page("alarms", desks_url, position="(not in the site file)").rows("alarms-each")
    assert [(row["station"], row["href"]) for row in rows] == [("old-7", None)]


def test_floods_are_listed_with_start_and_end(page: Page, desks_url: str) -> None:
    (flood,) = page("alarms", desks_url, position="Loading desk").rows("alarms-floods")
    assert (flood["start"], flood["end"], flood["count"], flood["peak"]) == (
        "2026-03-02 06:20:00",
        "2026-03-02 06:40:00",
        18,
        12,
    )


def test_standing_and_stale_alarms_are_told(page: Page, desks_url: str) -> None:
    shown = page("alarms", desks_url, position="Bay desk")
    (standing,) = shown.rows("alarms-standing")
    assert (standing["station"], standing["kind"], standing["since"], standing["so_far"]) == (
        "Road bay 1",
        "bypass on",
        "2026-03-01 06:00:00",
        "2 d 14 h",
    )
    assert "Standing on 2026-03-03 20:00:00" in shown.text
    assert level_rows(shown)["Stale, most on a day"][:2] == ["1", "1 in all"]


def test_the_chart_is_of_the_chosen_position(page: Page, desks_url: str) -> None:
    figure = page("alarms", desks_url, **STREAM_DAY, position="Loading desk").by_id("alarms-bars")
    names = [trace.name for trace in figure.figure.data]
    assert names == ["Alarms", "Over 10 per 10 minutes", "Flood"]


def test_a_quiet_position_says_so(page: Page, desks_url: str) -> None:
    shown = page("alarms", desks_url, position="(no position)")
    for said in (
        "(no position): 0 alarms of 1 station",
        "No alarm began in this period.",
        "No flood in this period.",
        "No alarm was active then.",
    ):
        assert said in shown.text, said
    assert not shown.has("alarms-bars")


def test_a_site_without_positions_shows_its_alarms_at_once(page: Page, filled_url: str) -> None:
    shown = page("alarms", filled_url)
    assert "(no position): 0 alarms of 4 stations" in shown.text
    assert not shown.has("alarms-positions")


def test_a_period_beyond_the_results_says_so(page: Page, desks_url: str) -> None:
    text = page("alarms", desks_url, **{"from": "2026-03-02", "to": "2026-03-06"}).text
    assert "Only what is on record of the period counts" in text
    assert "on record of the period" not in page("alarms", desks_url).text


def test_a_period_without_a_record_shows_no_figures(page: Page, desks_url: str) -> None:
    text = page("alarms", desks_url, **{"from": "2026-03-05", "to": "2026-03-06"}).text
    assert "Nothing on record in this period" in text
    assert "2026-03-03 20:00" in text


@pytest.mark.parametrize(
    ("query", "said"),
    [
        pytest.param({"position": "Moon desk"}, "No such position", id="position"),
        pytest.param({"from": "soon"}, "That period cannot be shown", id="date"),
        pytest.param({"from": "2026-03-03", "to": "2026-03-01"}, "cannot be shown", id="order"),
    ],
)
def test_what_cannot_be_shown_is_told_in_words(
    page: Page, desks_url: str, query: dict[str, str], said: str
) -> None:
    assert said in page("alarms", desks_url, **query).text


def test_an_empty_store_says_what_to_do(page: Page, empty_url: str) -> None:
    assert "bondtrail load" in page("alarms", empty_url).text


def test_a_database_that_is_gone_is_told_in_words(page: Page, gone_url: str) -> None:
    assert "The history cannot be read" in page("alarms", gone_url).text


def test_long_lists_are_cut_and_say_so(
    page: Page, desks_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys.modules["dashboard.pages.alarms"], "LISTED", 1)
    shown = page("alarms", desks_url, position="Bay desk")
    assert len(shown.rows("alarms-each")) == 1
    assert "Listed are 1 of 2 different alarms." in shown.text
