"""Figures that a station's points cannot give are told as not recorded, not as zero."""

from __future__ import annotations

import pytest

from bondtrail.site import Site
from dashboard.recorded import among, bypassed, in_flow


@pytest.mark.parametrize(
    ("station", "flow", "exposure", "bypass"),
    [
        pytest.param("rail-1", True, "0 s", "0 s", id="flow and bypass"),
        pytest.param("bowl", True, "0 s", "not recorded", id="running alone"),
        pytest.param("bay-9", False, "not recorded", "not recorded", id="neither"),
    ],
)
def test_nothing_seen_is_told_by_what_can_be_seen(
    site: Site, station: str, flow: bool, exposure: str, bypass: str
) -> None:
    judged = site.station(station)
    assert judged.tells_flow is flow
    assert in_flow(0.0, judged) == exposure
    assert bypassed(0.0, judged) == bypass


def test_what_an_earlier_site_file_could_tell_stays(site: Site) -> None:
    bay = site.station("bay-9")
    assert in_flow(4.0, bay) == bypassed(4.0, bay) == "4 s"
    assert among(0, 2, noted=False) == "0 of 2"


@pytest.mark.parametrize(("noted", "text"), [(True, "0 of 0"), (False, "not recorded")])
def test_none_of_none(noted: bool, text: str) -> None:
    assert among(0, 0, noted) == text
