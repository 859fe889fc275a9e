"""A request that names another host than this machine is refused, in words."""

from __future__ import annotations

import pytest

from dashboard import create_app
from dashboard.hosts import MARKS_OF_A_PROXY, PROXIED, REFUSAL, is_loopback, is_named


@pytest.mark.parametrize(
    ("host", "expected"),
    [
        ("127.0.0.1", True),
        ("127.0.0.1:8050", True),
        ("127.8.9.1:80", True),
        ("localhost", True),
        ("LocalHost:8050", True),
        ("[::1]", True),
        ("[::1]:8050", True),
        ("", False),
        ("elsewhere.example", False),
        ("elsewhere.example:8050", False),
        ("localhost.elsewhere.example", False),
        ("127.0.0.1.elsewhere.example", False),
        ("elsewhere.example@127.0.0.2.example", False),
        ("192.0.2.7", False),
        ("0.0.0.0", False),
        ("[2001:db8::1]", False),
        ("[::1", False),
    ],
)
def test_is_loopback(host: str, expected: bool) -> None:
    assert is_loopback(host) is expected


@pytest.mark.parametrize("path", ["/", "/_dash-layout", "/assets/board.css", "/no/such/page"])
def test_another_host_reads_nothing_of_the_board(empty_url: str, path: str) -> None:
    client = create_app(empty_url).server.test_client()
    with client.get(path) as answer:
        assert answer.status_code == 200
    refused = client.get(path, headers={"Host": "elsewhere.example"})
    assert refused.status_code == 403
    assert refused.get_data(as_text=True) == REFUSAL


def test_another_host_calls_nothing_of_the_board(empty_url: str) -> None:
    client = create_app(empty_url).server.test_client()
    headers = {"Host": "elsewhere.example:8050"}
    answer = client.post("/_dash-update-component", json={}, headers=headers)
    assert answer.status_code == 403


@pytest.mark.parametrize("mark", MARKS_OF_A_PROXY)
def test_what_a_proxy_passed_on_is_refused_where_nobody_signs_in(empty_url: str, mark: str) -> None:
    client = create_app(empty_url).server.test_client()
    answer = client.get("/", headers={mark: "192.0.2.7"})
    assert answer.status_code == 403
    assert answer.get_data(as_text=True) == PROXIED


@pytest.mark.parametrize(
    ("host", "expected"),
    [
        ("board.example", True),
        ("BOARD.example:443", True),
        ("[2001:db8::1]:8710", True),
        ("127.0.0.1", True),
        ("board.example.elsewhere.example", False),
        ("elsewhere.example", False),
        ("", False),
        ("board.example:no-port", True),
    ],
)
def test_names_that_were_given_are_ours_too(host: str, expected: bool) -> None:
    assert is_named(host, {"board.example", "2001:db8::1"}) is expected
