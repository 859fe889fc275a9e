"""The list of events: what happened, what it rests on, and how sure its order is."""

from __future__ import annotations

import pytest

from analytics.core.events import Basis, Event, What
from analytics.core.resolution import clocks_words
from dashboard.event_list import EVENTS_SHOWN, event_list
from dashboard.figures.steps import Clock
from tests.dashboard.pages.conftest import Shown

S = 1_000_000_000
CLOCK = Clock(3600 * S, "Europe/Lisbon, UTC+01:00")
CLOCKS = clocks_words(0.25)


def listed(*events: Event) -> Shown:
    return Shown(event_list(events, CLOCK, CLOCKS))


@pytest.mark.parametrize(
    ("event", "said", "not_said"),
    [
        pytest.param(Event(S, What.FLOW_ON, "600 L/min"), "Flow on  600 L/min", "!", id="plain"),
        pytest.param(Event(S, What.BOND_LOST), "! Bond lost", "inferred", id="abnormal"),
        pytest.param(
            Event(S, What.VERIFIED, basis=Basis.INFERRED), "inferred", "nothing", id="by a rule"
        ),
        pytest.param(
            Event(S, What.BOND_UNKNOWN, basis=Basis.MISSING), "nothing known", "inferred", id="gap"
        ),
        pytest.param(
            Event(S, What.FLOW_OFF, order_certain=False), "order not certain", "!", id="too close"
        ),
    ],
)
def test_an_event_says_what_it_rests_on(event: Event, said: str, not_said: str) -> None:
    (item,) = listed(event).by_id("transfer-event-list").children
    text = Shown(item).text
    assert "01:00:01.000" in text
    assert said in text
    assert not_said not in text


def test_how_far_the_clocks_are_trusted_stands_beside_it() -> None:
    assert "taken to agree to within 0.25 s (clock_error_s)." in listed().text


def test_the_list_is_reached_and_named_for_the_keyboard() -> None:
    ol = listed(Event(S, What.FLOW_ON)).by_id("transfer-event-list")
    assert ol.tabIndex == "0"
    assert "arrows step through it" in getattr(ol, "aria-label")


def test_a_very_long_list_is_cut_and_says_so() -> None:
    shown = listed(*(Event(k * S, What.FLOW_ON) for k in range(EVENTS_SHOWN + 3)))
    assert len(shown.by_id("transfer-event-list").children) == EVENTS_SHOWN
    assert "3 later events are not listed here." in shown.text
