"""Pieces of pages: shares with counts, figures side by side, facts."""

from __future__ import annotations

import pytest

from analytics.core.rates import Rate, poisson_rate
from analytics.core.shares import wilson
from bondtrail.results import Severity
from dashboard.parts import (
    aria,
    calendar_legend,
    facts,
    interval_text,
    rate_text,
    severity_counts,
    severity_mark,
    severity_word,
    share_text,
    tally,
)


@pytest.mark.parametrize(
    ("count", "of", "text", "beside"),
    [
        pytest.param(0, 0, "no transfers", "no transfers", id="none at all"),
        pytest.param(4, 4, "too few to rank", "4 of 4: too few to rank", id="four"),
        # R. G. Newcombe, Statistics in Medicine 17 (1998) 857-872, Table I, method 3: 15 of 148
        # has the interval 0.0624 to 0.1605.
        pytest.param(
            15,
            148,
            "10.1 % (6.2 to 16.0)",
            "15 of 148, 95 %: 6.2 % to 16.0 %",
            id="newcombe-1998-table-i-15-of-148",
        ),
        # 5 of 5, z = 1.959964: the lower end is 5 / (5 + z^2) = 0.5655.
        pytest.param(5, 5, "100 % (56.6 to 100)", "5 of 5, 95 %: 56.6 % to 100 %", id="five"),
    ],
)
def test_a_share_stands_beside_its_count_and_interval(
    count: int, of: int, text: str, beside: str
) -> None:
    share = wilson(count, of)
    assert share_text(share) == text
    assert interval_text(share) == beside


def test_no_share_is_no_transfers() -> None:
    assert share_text(None) == interval_text(None) == "no transfers"


@pytest.mark.parametrize("severity", list(Severity))
def test_a_severity_is_colour_sign_and_word(severity: Severity) -> None:
    mark = severity_mark(severity)
    assert mark.className == f"mark mark-{severity}"
    sign, word = mark.children.split()
    assert word == severity.capitalize()
    assert sign != word


def test_signs_of_severities_differ() -> None:
    assert len({severity_word(severity)[0] for severity in Severity}) == 3


def test_severity_counts_name_all_three_even_when_there_are_none() -> None:
    counts = severity_counts({Severity.MAJOR: 1200}, {})
    assert [value for _, value, _ in counts] == ["0", "1,200", "0"]
    assert {beside for _, _, beside in counts} == {"findings"}


def test_facts_leave_out_what_is_not_known() -> None:
    listed = facts([("Batch", "B-1"), ("Quantity", None), ("Trips", "0")])
    assert [part.children for part in listed.children] == ["Batch", "B-1", "Trips", "0"]


def test_a_tally_is_a_list_of_names_and_values() -> None:
    (only,) = tally([("Trips", "3", "of 5")]).children
    name, value = only.children
    assert name.children == "Trips"
    assert value.children[0] == "3"
    assert value.children[1].children == "of 5"


def test_the_legend_tells_every_sign_that_a_calendar_shows() -> None:
    words = [item.children[1] for item in calendar_legend().children]
    assert len(words) == len(set(words)) == 6
    assert "critical finding" in words


def test_names_for_screen_readers() -> None:
    assert aria("Pages") == {"aria-label": "Pages"}


@pytest.mark.parametrize(
    ("rate", "expected"),
    [
        # F. Garwood, Biometrika 28 (1936) 437-442, his tables from memory: 3 events have the
        # limits 0.619 to 8.77, 10 events 4.80 to 18.39.
        (poisson_rate(3, 100, 100), "3.0 (0.62 to 8.8)"),
        (poisson_rate(10, 1, 100), "1,000 (480 to 1,839)"),
        (poisson_rate(4, 0), "-"),
    ],
)
def test_a_rate_is_told_with_its_interval(rate: Rate, expected: str) -> None:
    assert rate_text(rate) == expected
