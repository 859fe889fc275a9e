"""The application: everything from this machine, compressed, and served where it was asked to."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from flask.testing import FlaskClient

import dashboard
from dashboard import create_app
from dashboard.app import _page


@pytest.fixture
def client(empty_url: str) -> FlaskClient:
    return create_app(empty_url).server.test_client()


def test_the_first_page_asks_nothing_of_other_machines(client: FlaskClient) -> None:
    page = client.get("/").get_data(as_text=True)
    asked = re.findall(r'(?:src|href)="([^"]+)"', page)
    assert any("dash_ag_grid" in address for address in asked)
    assert [address for address in asked if not address.startswith("/")] == []


def test_style_sheets_and_scripts_of_our_own_ask_nothing_of_other_machines() -> None:
    assets = list((Path(dashboard.__file__).parent / "assets").iterdir())
    assert {path.suffix for path in assets} == {".css", ".js"}
    for path in assets:
        text = path.read_text()
        assert "http:" not in text
        assert "https:" not in text
        assert "@import" not in text


@pytest.mark.parametrize("way", ["gzip", "br"])
def test_scripts_are_compressed(client: FlaskClient, way: str) -> None:
    page = client.get("/").get_data(as_text=True)
    (script,) = re.findall(r'src="([^"]+dash_ag_grid[^"]+)"', page)
    plain = client.get(script)
    small = client.get(script, headers={"Accept-Encoding": way})
    assert small.headers["Content-Encoding"] == way
    assert len(small.data) < len(plain.data) / 2.5


def test_every_address_of_the_board_loads(client: FlaskClient) -> None:
    for address in ("/", "/station/rail-1", "/transfer?id=x", "/no/such/page"):
        assert client.get(address).status_code == 200


def test_a_page_is_not_hidden_while_a_part_of_it_is_asked_for(client: FlaskClient) -> None:
    loading = _page().children
    assert loading.target_components == {"_pages_content": "children"}
