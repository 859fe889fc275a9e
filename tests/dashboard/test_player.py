"""The parts of the player: what the browser fills, and what is there before it does."""

from __future__ import annotations

import plotly.graph_objects as go
import pytest

from analytics.core.events import Event, What
from dashboard.player import MARKS_SHOWN, SPEEDS, first_speed, player
from dashboard.tracks import Packed
from tests.dashboard.pages.conftest import Shown


def shown(curves: tuple[str, ...] = (), events: int = 2) -> Shown:
    told = [Event(k, What.BOND_LOST if k else What.FLOW_ON) for k in range(events)]
    record: Packed = {
        "base": 0,
        "length": 10_000,
        "tracks": {},
        "curves": dict.fromkeys(curves),
        "events": [5000 * k for k in range(events)],
        "at": 0,
        "link": "/transfer?id=a/b",
        "offset": 0,
    }
    return Shown(player(record, told, go.Figure(), "What was recorded"))


def named(page: Shown, attribute: str) -> list[str]:
    told = (part.to_plotly_json()["props"] for part in page.components if hasattr(part, "_type"))
    return [props[attribute] for props in told if attribute in props]


@pytest.mark.parametrize(
    ("seconds", "speed"),
    [(10, 1), (90, 1), (91, 2), (1200, 30), (6 * 3600, 300), (30 * 86_400, SPEEDS[-1])],
)
def test_the_first_speed_plays_the_whole_in_a_minute_and_a_half(seconds: int, speed: float) -> None:
    assert first_speed(seconds * 1000) == speed


def test_the_slider_says_what_it_is() -> None:
    props = shown().by_id("transfer-scrub").to_plotly_json()["props"]
    assert (props["role"], props["tabIndex"]) == ("slider", "0")
    assert (props["aria-valuemin"], props["aria-valuemax"]) == ("0", "10")
    assert props["aria-label"] == "Moment of the replay"


def test_each_event_has_its_mark_on_the_slider() -> None:
    marks = [p for p in shown().components if "player-mark " in f"{getattr(p, 'className', '')} "]
    assert [mark.style["left"] for mark in marks] == ["0.000%", "50.000%"]
    assert ["is-abnormal" in mark.className for mark in marks] == [False, True]


def test_marks_without_end_are_cut() -> None:
    page = shown(events=MARKS_SHOWN + 10)
    marks = [p for p in page.components if "player-mark " in f"{getattr(p, 'className', '')} "]
    assert len(marks) == MARKS_SHOWN


def test_every_signal_has_its_reading() -> None:
    assert named(shown(), "data-track") == ["bond", "resistance", "flow", "permissive", "bypass"]


def test_quantity_and_estimate_are_read_where_they_are_known() -> None:
    assert named(shown(), "data-curve") == []
    assert "Charge: no estimate. The reasons stand below." in shown().text
    names = [f"{kind}-{level}" for kind in ("potential", "energy") for level in
             ("low", "typical", "high")]  # fmt: skip
    page = shown(("volume", *names))
    assert sorted(named(page, "data-curve")) == sorted(["volume", *names])
    assert "Times what ignites" not in page.text  # that energy is not known
    assert "Times what ignites" in shown((*names, "ratio-low")).text


def test_the_link_works_before_the_browser_has_done_anything() -> None:
    assert shown().by_id("transfer-link").href == "/transfer?id=a/b"
