"""The compliance page: what it says, what its address narrows it to, and states without data."""

from __future__ import annotations

import pytest

from tests.dashboard.pages.conftest import Page
from tests.dashboard.quay import BAD_ID


def test_the_figure_stands_with_its_count_and_interval(page: Page, filled_url: str) -> None:
    """Wilson's interval of 2 of 3, by its formula: 20.8 to 93.9 %."""
    text = page("compliance", filled_url).text
    assert "66.7 %" in text
    assert "2 of 3 transfers" in text
    assert "between 20.8 % and 93.9 %" in text
    assert "Caution." in text


def test_what_is_bad_is_told_from_what_is_not_known(page: Page, filled_url: str) -> None:
    text = page("compliance", filled_url).text
    for words in ("◆ Bad bond 1", "▲ Bypassed 0", "? Not verifiable 0", "No record at all"):
        assert words in text


def test_holes_are_named_in_plain_words(page: Page, filled_url: str) -> None:
    text = page("compliance", filled_url).text
    assert "The records have holes at 4 stations." in text
    assert "Road bay 9: no record for 3 d 00 h; much is missing of 2026-03-01 to 2026-03-03" in text


def test_stations_are_ranked_worst_first_and_few_are_not(page: Page, filled_url: str) -> None:
    rows = page("compliance", filled_url).rows("compliance-stations")
    assert {(row["name"], row["rank"]) for row in rows} == {
        ("Rail spot 1", "too few to rank"),
        ("Dryer bowl", "too few to rank"),
        ("Drum filler 1", "not recorded"),
        ("Road bay 9", "not recorded"),
    }
    rail = next(row for row in rows if row["name"] == "Rail spot 1")
    assert (rail["compliant_text"], rail["share_text"]) == ("1 of 2", "50.0 %")
    assert rail["interval"] == "9.5 to 90.5 %"
    assert rail["href"] == "/station/rail-1?from=2026-03-01&to=2026-03-03"


def test_areas_and_shifts_lead_to_their_own_view(page: Page, filled_url: str) -> None:
    shown = page("compliance", filled_url)
    areas = {row["name"]: row["href"] for row in shown.rows("compliance-areas")}
    assert areas["Rails"] == "/compliance?from=2026-03-01&to=2026-03-03&area=Rails"
    shifts = {row["name"]: row["href"] for row in shown.rows("compliance-shifts")}
    assert shifts == {"early": "/compliance?from=2026-03-01&to=2026-03-03&shift=early"}
    links = shown.links()
    assert links["outside the shifts"].endswith("shift=%28outside%29")


def test_the_address_narrows_to_an_area_and_a_shift(page: Page, filled_url: str) -> None:
    shown = page("compliance", filled_url, area="Rails", shift="early")
    assert "Area Rails, shift early" in shown.text
    assert [row["name"] for row in shown.rows("compliance-stations")] == ["Rail spot 1"]
    assert not shown.has("compliance-areas")
    assert not shown.has("compliance-shifts")
    assert "not narrowed to the shift" in shown.text


def test_a_failing_transfer_has_its_cause_and_leads_to_its_page(
    page: Page, filled_url: str
) -> None:
    (row,) = page("compliance", filled_url).rows("compliance-failed")
    assert row["href"] == f"/transfer?id={BAD_ID}"
    assert row["time"] == "2026-03-02 10:00:00"
    assert row["worst"] == "◆ Bad bond"
    assert "bond lost in flow for 20 s" in row["cause"]
    assert row["review"] == "not reviewed"


def test_the_course_is_drawn_and_told_in_words(page: Page, filled_url: str) -> None:
    shown = page("compliance", filled_url)
    assert shown.has("compliance-course")
    assert "No week lies outside its limits." in shown.text
    assert "too few were expected for good limits" in shown.text


def test_nuisance_trips_by_station(page: Page, filled_url: str) -> None:
    shown = page("compliance", filled_url)
    (row,) = shown.rows("compliance-nuisances")
    assert (row["name"], row["count"], row["cumulative_text"]) == ("Drum filler 1", 3, "100 %")
    assert (row["per_100_text"], row["rank"]) == ("-", "too few to rank")
    assert list(shown.by_id("compliance-pareto").figure.data[0].y) == ["Drum filler 1"]


def test_a_period_without_transfers_is_told_in_words(page: Page, filled_url: str) -> None:
    text = page("compliance", filled_url, **{"from": "2026-03-01", "to": "2026-03-01"}).text
    assert "No transfers in this period" in text
    assert "Every transfer is compliant, or there was none" in text
    assert "No nuisance trips in this period" in text


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ({"from": "soon"}, "That period cannot be shown"),
        ({"from": "2026-03-03", "to": "2026-03-01"}, "That period cannot be shown"),
        ({"area": "Nowhere"}, "The site file in force names no area 'Nowhere'"),
        ({"shift": "<b>"}, "The site file in force names no shift '<b>'"),
    ],
)
def test_an_address_that_leads_nowhere_is_answered_in_words(
    page: Page, filled_url: str, query: dict[str, str], said: str
) -> None:
    assert said in page("compliance", filled_url, **query).text


def test_an_empty_store_is_answered_in_words(page: Page, empty_url: str) -> None:
    assert "Nothing to show yet" in page("compliance", empty_url).text


def test_a_store_that_is_gone_is_answered_in_words(page: Page, gone_url: str) -> None:
    assert "The history cannot be read" in page("compliance", gone_url).text
