"""What compliant transfers ran within the allowances, in words."""

from __future__ import annotations

import pytest

from analytics.allowances import in_words
from store import Allowed


@pytest.mark.parametrize(
    ("allowed", "compliant", "text"),
    [
        pytest.param(Allowed(), 0, "", id="no-transfers"),
        pytest.param(
            Allowed(),
            1200,
            "Of the 1,200 compliant, 0 ran for a while with the bond not verified, within the "
            "allowances (0 s in all), and 0 with it unknown (0 s in all).",
            id="none",
        ),
        pytest.param(
            Allowed(12, 90.0, 3, 7.5, 1),
            498,
            "Of the 498 compliant, 12 ran for a while with the bond not verified, within the "
            "allowances (90 s in all), and 3 with it unknown (7.5 s in all), 1 of them from "
            "first flow to last.",
            id="some",
        ),
    ],
)
def test_allowances_in_words(allowed: Allowed, compliant: int, text: str) -> None:
    assert in_words(allowed, compliant) == text
