"""What stands beside a replay: what is missing, and which limits held when."""

from __future__ import annotations

from collections.abc import Sequence
from types import SimpleNamespace
from typing import Any

from analytics.replay import Held, Missing
from bondtrail.site import parse_site
from dashboard.figures.steps import Clock
from dashboard.transfer_facts import MISSING_SHOWN, limits_part, missing_part
from tests.dashboard.pages.conftest import Shown
from tests.dashboard.quay import SITE

S = 1_000_000_000
CLOCK = Clock(0, "UTC")


def held(since: int, text: str = SITE) -> Held:
    site = parse_site(text)
    return Held(since, site, site.station("rail-1"))


def missing(*parts: Missing, damaged: Sequence[str] = ()) -> Any:
    told = SimpleNamespace(missing=parts, damaged=damaged, start=0, end=100 * S)
    return missing_part(told, CLOCK)  # type: ignore[arg-type]


def test_what_is_missing_is_told_with_its_span_and_why() -> None:
    text = Shown(
        missing(
            Missing("bond", 10 * S, 20 * S, "no reading came"),
            Missing("ticket", 0, 100 * S, "none overlaps"),
        )
    ).text
    assert "Bond, 00:00:10 to 00:00:20: no reading came" in text
    assert "Ticket, throughout: none overlaps" in text


def test_where_nothing_is_missing_that_is_said() -> None:
    text = Shown(missing()).text
    assert "Nothing of what the points of this station record in this span." in text


def test_what_cannot_be_read_is_missing() -> None:
    text = Shown(missing(damaged=["segment 7 of rail-1.flow is damaged"])).text
    assert "segment 7 of rail-1.flow is damaged" in text
    assert "Nothing of what" not in text


def test_a_long_list_of_what_is_missing_is_cut() -> None:
    part = Missing("flow", 0, S, "no reading came")
    shown = Shown(missing(*[part] * (MISSING_SHOWN + 2)))
    assert "2 more are not listed here." in shown.text


def test_limits_that_changed_within_are_told() -> None:
    later = SITE.replace("limit_ohm = 12.0", "limit_ohm = 25.0")
    text = Shown(limits_part([held(0), held(60 * S, later)], CLOCK)).text
    assert "limit 12 ohm" in text
    assert "From 00:01:00 on: limit 25 ohm instead of 12 ohm." in text


def test_another_file_with_the_same_limits_says_so() -> None:
    text = Shown(limits_part([held(0), held(60 * S, SITE + "\n")], CLOCK)).text
    assert "From 00:01:00 on: the same limits." in text
