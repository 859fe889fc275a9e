"""What every page shares: cautions, site, and pages that do not exist."""

from __future__ import annotations

import dash

from dashboard.frame import CAUTION, frame
from tests.dashboard.pages.conftest import Page, Shown


def test_the_cautions_stand_on_every_page() -> None:
    text = Shown(frame("Quay", "the page")).text
    assert CAUTION in text
    for word in ("not a safety function", "Local codes", "licensed practice", "estimates"):
        assert word in CAUTION


def test_the_site_is_named_or_said_to_be_missing() -> None:
    assert "Quay" in Shown(frame("Quay", "")).text
    assert "no site yet" in Shown(frame(None, "")).text


def test_an_address_that_leads_nowhere_has_a_page(page: Page, empty_url: str) -> None:
    assert "There is no such page" in page("not_found_404", empty_url).text


def test_every_page_has_its_own_path(app: dash.Dash) -> None:
    del app
    paths = [entry["path_template"] or entry["path"] for entry in dash.page_registry.values()]
    assert sorted(paths) == ["/", "/404", "/station/<station_id>", "/transfer"]
