"""Every view is an address, and an address leads back to its view."""

from __future__ import annotations

import datetime as dt
from urllib.parse import parse_qs, urlsplit

from dashboard.period import Period
from dashboard.urls import station_url, stations_url, transfer_url

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
