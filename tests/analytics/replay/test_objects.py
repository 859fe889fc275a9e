"""What programs get of a replay: its keys, its times, and nothing that JSON cannot hold."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from typing import Any

import pytest

from analytics.core.electrostatics.hazard import NoEstimate
from analytics.core.electrostatics.unseen import UNSEEN
from analytics.core.typical import Typical
from analytics.replay import Held
from analytics.replay.objects import CAUTION, hazard_object, replay_object
from bondtrail.site import parse_site
from tests.analytics.replay.by_hand import FINDING, HAZARD, LATE, SITE, TRANSFER, a_replay, at

NINE = [
    "peak_potential_V",
    "peak_charge_uC",
    "peak_energy_mJ",
    "mie_ratio",
    "first_over_mie",
    "seconds_over_mie",
    "relaxation_time_s",
    "velocity_m_s",
    "velocity_limit_m_s",
]


def told(**changes: Any) -> Any:
    """The object after a way through JSON, which must take it as it is."""
    return json.loads(json.dumps(replay_object(a_replay(**changes)), allow_nan=False))


def test_the_keys_of_a_replay() -> None:
    assert list(told()) == [
        "station", "start", "end", "transfer", "in_words", "product", "limits", "events", "typical",
        "missing", "findings", "trips", "hookups", "work", "tickets", "hazard", "replaced",
        "rejected", "damaged", "waiting", "clocks", "caution",
    ]  # fmt: skip


def test_a_moment_is_utc_with_milliseconds() -> None:
    found = told()
    assert (found["start"], found["end"]) == (
        "2026-07-01T06:00:00.000Z",
        "2026-07-01T06:03:20.000Z",
    )
    assert found["events"][2]["time"] == "2026-07-01T06:00:11.250Z"
    assert found["missing"] == [
        {
            "about": "bypass",
            "start": "2026-07-01T06:00:00.000Z",
            "end": "2026-07-01T06:03:20.000Z",
            "why": "no point records it",
        }
    ]


def test_an_event_says_what_it_rests_on_and_whether_its_order_is_certain() -> None:
    events = told()["events"]
    assert events[1] == {
        "time": "2026-07-01T06:00:10.000Z",
        "what": "contact_made",
        "basis": "known",
        "role": "resistance",
        "detail": "3.4 ohm",
        "since": "2026-07-01T06:00:09.000Z",
        "order_certain": True,
        "bond": "low",
        "ohm": 3.4,
        "flow": 0.0,
        "volume": 0.0,
        "volume_is_least": False,
        "finding": None,
    }
    assert [event["basis"] for event in events[2:5]] == ["inferred", "known", "missing"]
    assert [event["order_certain"] for event in events[5:7]] == [True, False]
    assert events[7]["finding"] == FINDING.id
    assert events[0]["ohm"] is None
    assert events[5]["detail"].startswith("open circuit")


def test_rows_are_as_show_tells_them() -> None:
    found = told()
    assert found["transfer"]["id"] == TRANSFER.id
    assert found["transfer"]["findings"] == [FINDING.id]
    assert found["findings"][0]["id"] == FINDING.id
    assert found["trips"][0]["class"] == "genuine"
    assert found["hookups"][0]["time_to_bond_s"] == 1.25
    assert found["work"] == [
        {
            "station": "bay-1",
            "start": "2026-07-01T05:59:00.000Z",
            "end": "2026-07-01T06:00:05.000Z",
            "what": "clamp changed",
        }
    ]
    assert found["tickets"][0]["operator"] == "A. Reed"


def test_every_limit_that_held_is_told_and_from_when() -> None:
    tighter = parse_site(SITE.replace("pipe_diameter_m = 0.08", "limit_ohm = 5.0"))
    held = [*a_replay().held, Held(at(50), tighter, tighter.station("bay-1"))]
    first, second = told(held=held)["limits"]
    assert (first["since"], second["since"]) == (
        "2026-07-01T06:00:00.000Z",
        "2026-07-01T06:00:50.000Z",
    )
    assert (first["limits"]["limit_ohm"], second["limits"]["limit_ohm"]) == (10.0, 5.0)
    assert len(first["limits"]) == 21


def test_how_far_clocks_are_trusted_is_told_by_the_worst_of_the_files_that_held() -> None:
    trusting, wary = (
        parse_site(SITE.replace("[product", f"clock_error_s = {error}\n[product", 1))
        for error in ("0.0", "1.5")
    )
    held = [Held(at(n * 50), each, each.stations[0]) for n, each in enumerate((wary, trusting))]
    assert told(held=held[1:])["clocks"].endswith("agree to within 0 s (clock_error_s).")
    assert told(held=held)["clocks"].endswith("agree to within 1.5 s (clock_error_s).")


def test_the_estimate_has_its_nine_figures_at_three_levels() -> None:
    hazard = told()["hazard"]
    for level in ("low", "typical", "high"):
        assert list(hazard[level]) == NINE
    assert hazard["typical"]["first_over_mie"] == "2026-07-01T06:00:45.500Z"
    assert hazard["low"]["first_over_mie"] is None
    assert hazard["high"]["peak_potential_V"] is None
    assert hazard["typical"]["relaxation_time_s"] == 5.9028
    assert hazard["conductivity_class"] == "low"
    assert hazard["notes"] == ["The vessel held no charge at the start of the span."]
    assert hazard["reasons"] == []


def test_every_input_has_its_value_unit_and_source() -> None:
    inputs = told()["hazard"]["inputs"]
    assert list(inputs) == list(HAZARD.inputs)
    assert inputs["capacitance_pF"] == {
        "value": 2000.0,
        "low": 1000.0,
        "typical": 2000.0,
        "high": 5000.0,
        "unit": "pF",
        "source": "IEC TS 60079-32-1, from memory",
        "taken": None,
    }
    assert told()["hazard"]["wait_s"]["value"] == 60.0


def test_no_leak_at_all_is_told_apart_from_one_that_is_not_known() -> None:
    leak = told()["hazard"]["inputs"]["leakage_ohm"]
    assert (leak["low"], leak["typical"], leak["high"]) == (1e5, 1e9, "infinite")
    assert leak["taken"] == {"low": 1e5, "typical": 1e9, "high": "infinite"}


def test_without_an_estimate_the_same_keys_hold_nothing_and_say_why() -> None:
    hazard = told(hazard=NoEstimate(("The bore of the pipe is not known.",)))["hazard"]
    assert list(hazard) == list(told()["hazard"])
    assert hazard["inputs"] == {}
    assert [hazard[level] for level in ("low", "typical", "high", "wait_s")] == [None] * 4
    assert hazard["reasons"] == ["The bore of the pipe is not known."]


@pytest.mark.parametrize(
    ("unseen", "expected"),
    [
        pytest.param((), list(UNSEEN), id="left-out"),
        pytest.param(("People.",), ["People."], id="given"),
    ],
)
def test_what_cannot_be_seen_is_told_without_an_estimate_too(
    unseen: tuple[str, ...], expected: list[str]
) -> None:
    assert hazard_object(NoEstimate(("No flow.",), unseen))["unseen"] == expected


def test_the_typical_transfer_and_where_this_one_differed_first() -> None:
    typical = told()["typical"]
    assert typical["product"] == "naphtha"
    assert len(typical["transfers"]) == 9
    assert [row["name"] for row in typical["comparisons"]] == ["time_to_bond_s", "bond_lead_s"]
    assert typical["first_difference"] == {
        "name": "bond_lead_s",
        "time": "2026-07-01T06:00:20.000Z",
        "value": 8.75,
        "low": 35.0,
        "median": 61.5,
        "high": 90.0,
        "of": 12,
        "differs": True,
        "open": False,
    }
    assert told(typical=Typical(None, ()))["typical"]["first_difference"] is None


def test_an_open_circuit_is_told_apart_from_a_figure_that_never_came() -> None:
    gone, never = (replace(LATE, name="resistance_ohm", value=v) for v in (math.inf, None))
    rows = told(typical=Typical("naphtha", ("a",), (gone, never)))["typical"]["comparisons"]
    assert [(row["value"], row["open"]) for row in rows] == [(None, True), (None, False)]


def test_a_span_has_no_transfer_and_no_typical_one() -> None:
    found = told(transfer=None, typical=None)
    assert (found["transfer"], found["typical"]) == (None, None)
    assert found["events"]


def test_what_makes_a_replay_less_than_whole_is_told() -> None:
    found = told(damaged=["bay-1.flow: segment 3 is damaged"], waiting=True)
    assert (found["damaged"], found["waiting"]) == (["bay-1.flow: segment 3 is damaged"], True)


def test_the_caution_calls_nothing_safe() -> None:
    assert told()["caution"] == CAUTION
    assert "not a safety function and calls nothing safe" in CAUTION
    assert "Local codes and licensed practice govern" in CAUTION


def test_no_number_is_left_that_json_cannot_hold() -> None:
    text = json.dumps(replay_object(a_replay()), allow_nan=False)
    assert math.isinf(HAZARD.inputs["leakage_ohm"].high)
    assert "Infinity" not in text
