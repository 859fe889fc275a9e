"""After signing in one gets to a page of the board, whatever an address asks for."""

from __future__ import annotations

import pytest

from dashboard.access.addresses import LONGEST, own_page, sign_in_address


@pytest.mark.parametrize(
    ("asked", "page"),
    [
        (None, "/"),
        ("", "/"),
        ("/", "/"),
        ("/data", "/data"),
        ("/station/rail-1?from=2026-03-01&kind=a,b", "/station/rail-1?from=2026-03-01&kind=a,b"),
        ("/transfer?id=rail-1/20260301T061530.000Z", "/transfer?id=rail-1/20260301T061530.000Z"),
        ("data", "/"),
        ("https://elsewhere.example/", "/"),
        ("//elsewhere.example/data", "/"),
        ("///elsewhere.example/data", "/"),
        ("/\\elsewhere.example", "/"),
        ("\\\\elsewhere.example", "/"),
        ("/\t/elsewhere.example", "/"),
        ("/data\r\nSet-Cookie: a=b", "/"),
        (" //elsewhere.example", "/"),
        ("javascript:alert(1)", "/"),
        ("//[", "/"),
        ("/sign-in?next=/data", "/"),
        ("/sign-out", "/"),
        ("/" + "x" * LONGEST, "/"),
    ],
)
def test_own_page(asked: str | None, page: str) -> None:
    assert own_page(asked) == page


@pytest.mark.parametrize(
    ("back_to", "address"),
    [
        ("/", "/sign-in"),
        ("/data?show=silent", "/sign-in?next=/data%3Fshow%3Dsilent"),
        ("//elsewhere.example", "/sign-in"),
    ],
)
def test_sign_in_address(back_to: str, address: str) -> None:
    assert sign_in_address(back_to) == address
