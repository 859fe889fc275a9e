"""Figures as people read them."""

from __future__ import annotations

import math

import pytest

from dashboard.figures.wording import duration, ohms, plural, share, significant, words


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (None, "-"),
        (0.0, "0 ohm"),
        (2.345, "2.35 ohm"),
        (999.0, "999 ohm"),
        (1000.0, "1 kohm"),
        (1.25e6, "1.25 Mohm"),
        (2e9, "2 Gohm"),
        (math.inf, "open"),
    ],
)
def test_ohms(value: float | None, text: str) -> None:
    assert ohms(value) == text


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (None, "-"),
        (0, "0 s"),
        (0.25, "0.25 s"),
        (59.4, "59.4 s"),
        (60, "1 min 00 s"),
        (3599, "59 min 59 s"),
        (3600, "1 h 00 min"),
        (90_061, "25 h 01 min"),
        (200_000, "2 d 07 h"),
    ],
)
def test_duration(seconds: float | None, text: str) -> None:
    assert duration(seconds) == text


@pytest.mark.parametrize(
    ("value", "text"),
    [(None, "-"), (0, "0 %"), (1, "100 %"), (0.9234, "92.3 %"), (0.99999, "99.9 %")],
)
def test_share_never_rounds_up_to_all(value: float | None, text: str) -> None:
    assert share(value) == text


def test_words_and_plural() -> None:
    assert words("no_bond_transfer") == "no bond transfer"
    assert plural(1, "trip") == "1 trip"
    assert plural(1200, "trip") == "1,200 trips"


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (None, "-"),
        (0.0, "0"),
        (0.00024, "0.00024"),
        (0.1, "0.1"),
        (1.0, "1"),
        (9.96, "10"),
        (21.13, "21"),
        (1692.1, "1,700"),
        (123_456.0, "120,000"),
        (-3.21, "-3.2"),
        (math.inf, "no upper end"),
    ],
)
def test_significant(value: float | None, text: str) -> None:
    assert significant(value) == text


def test_significant_digits_are_chosen() -> None:
    assert significant(2.38663, 3) == "2.39"
    assert significant(5000.0, 3) == "5,000"
