"""What every page shares: cautions, site, and pages that do not exist."""

from __future__ import annotations

import dash
import pytest

from dashboard.frame import BRIEFLY, CAUTION, Visitor, frame
from tests.dashboard.pages.conftest import Page, Shown
from tests.dashboard.quay import BAD_ID


def test_the_cautions_stand_on_every_page() -> None:
    text = Shown(frame("Quay", "the page")).text
    assert CAUTION in text
    for word in ("not a safety function", "Local codes", "licensed practice", "estimates"):
        assert word in CAUTION


@pytest.mark.parametrize(
    ("name", "query", "below"),
    [
        ("stations", {}, "Stations, worst first"),
        ("station", {"station_id": "rail-1"}, "Worst finding of each day"),
        ("transfer", {"id": BAD_ID}, "Previous event"),
    ],
)
def test_a_caution_stands_above_what_is_shown(
    page: Page, filled_url: str, name: str, query: dict[str, str], below: str
) -> None:
    text = page(name, filled_url, **query).text
    assert text.index(BRIEFLY) < text.index(below)
    for word in ("not a safety function", "Local codes", "licensed practice"):
        assert word in BRIEFLY


def test_the_site_is_named_or_said_to_be_missing() -> None:
    assert "Quay" in Shown(frame("Quay", "")).text
    assert "no site yet" in Shown(frame(None, "")).text


def test_an_address_that_leads_nowhere_has_a_page(page: Page, empty_url: str) -> None:
    assert "There is no such page" in page("not_found_404", empty_url).text


def test_every_page_has_its_own_path(app: dash.Dash) -> None:
    del app
    paths = [entry["path_template"] or entry["path"] for entry in dash.page_registry.values()]
    assert sorted(paths) == [
        *("/", "/404", "/alarms", "/compliance", "/data", "/station/<station_id>", "/transfer"),
    ]


def test_who_is_signed_in_stands_in_the_frame_with_a_way_out() -> None:
    shown = Shown(frame("Quay", "", Visitor("A. Reed", "the token")))
    assert "A. Reed" in shown.text
    assert "Sign out" in shown.text
    form = next(part for part in shown.components if type(part).__name__ == "Form")
    assert (form.action, form.method) == ("/sign-out", "post")
    assert shown.by_id("frame-token").value == "the token"


def test_where_nobody_signs_in_there_is_no_way_out() -> None:
    assert "Sign out" not in Shown(frame("Quay", "")).text
