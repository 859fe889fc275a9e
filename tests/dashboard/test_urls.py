"""Every view is an address, and an address leads back to its view."""

from __future__ import annotations

import datetime as dt
from urllib.parse import parse_qs, urlsplit

from dashboard.period import Period
from dashboard.urls import compliance_url, station_url, stations_url, transfer_url

PERIOD = Period(dt.date(2026, 3, 1), dt.date(2026, 3, 28))


def test_stations() -> None:
    assert stations_url() == "/"
    assert stations_url(PERIOD) == "/?from=2026-03-01&to=2026-03-28"


def test_station() -> None:
    assert station_url("rail-1") == "/station/rail-1"
    url = station_url("rail-1", PERIOD, {"b", "a"}, {"critical"})
    assert url == "/station/rail-1?from=2026-03-01&to=2026-03-28&kind=a,b&severity=critical"


def test_an_odd_id_stays_inside_its_part_of_the_address() -> None:
    assert station_url("a/b?c") == "/station/a%2Fb%3Fc"
    odd = "rail-1/20260301T000000.000Z&id=other#x"
    assert parse_qs(urlsplit(transfer_url(odd)).query) == {"id": [odd]}


def test_compliance_of_an_area_and_a_shift() -> None:
    assert compliance_url() == "/compliance"
    url = compliance_url(PERIOD, "Road bays", "night")
    assert url == "/compliance?from=2026-03-01&to=2026-03-28&area=Road+bays&shift=night"


def test_the_time_outside_any_shift_has_a_word_in_an_address() -> None:
    assert parse_qs(urlsplit(compliance_url(shift="")).query) == {"shift": ["(outside)"]}
