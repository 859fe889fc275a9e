"""What flow and contacts do: on, settled, off, and silences of points that others stand in for."""

from __future__ import annotations

import pytest

from analytics.core.bursts import MOST_CHANGES
from analytics.core.drafts import Draft, Scene
from analytics.core.events import Basis, What
from analytics.core.flow_events import contact_events, flow_events, silence_events
from analytics.core.situation import situation
from bondtrail.site import Role
from tests.analytics.core.build import BAD, GAP, OPEN, Stretch, ns, station, told


def scene(seconds: float, **signals: list[Stretch]) -> Scene:
    where = station(*map(Role, signals))
    samples, span = told(**signals), (0, ns(seconds))
    return Scene.of(where, samples, span, situation(where, samples, span))


def shown(found: list[Draft]) -> list[tuple[float, What, str]]:
    return [(draft.time / ns(1), draft.what, draft.detail) for draft in found]


@pytest.mark.parametrize(
    ("flow", "expected"),
    [
        pytest.param([(60, 0)], [], id="never"),
        pytest.param([(60, 800)], [], id="throughout"),
        pytest.param(
            [(5, 0), (20, 800), (35, 0)],
            [(5, What.FLOW_ON, "800 L/min"), (25, What.FLOW_OFF, "after 20 s")],
            id="on-at-once-at-its-rate",
        ),
        pytest.param(
            [(5, 0), (2, 100), (20, 800), (33, 0)],
            [
                (5, What.FLOW_ON, "100 L/min"),
                (7, What.FLOW_RATE, "at about 800 L/min"),
                (27, What.FLOW_OFF, "after 22 s"),
            ],
            id="settles-after-a-ramp",
        ),
        pytest.param(
            [(5, 0), (20, 800), (5, GAP), (30, 800)],
            [
                (5, What.FLOW_ON, "800 L/min"),
                (25, What.FLOW_UNKNOWN, "flow: silent, last reading 1 s before, for 5 s"),
                (30, What.FLOW_ON, "800 L/min, on as before"),
            ],
            id="silent-within",
        ),
        pytest.param(
            [(30, 800), (30, BAD)],
            [(30, What.FLOW_UNKNOWN, "flow: bad quality, for at least 30 s")],
            id="bad",
        ),
    ],
)
def test_flow(flow: list[Stretch], expected: list[tuple[float, What, str]]) -> None:
    found = sorted(flow_events(scene(60, flow=flow)), key=lambda draft: draft.time)
    assert shown(found) == expected


def test_a_rate_that_settles_is_inferred_and_on_and_off_are_known() -> None:
    found = flow_events(scene(60, flow=[(5, 0), (2, 100), (20, 800), (33, 0)]))
    assert {draft.what: draft.basis for draft in found} == {
        What.FLOW_ON: Basis.KNOWN,
        What.FLOW_RATE: Basis.INFERRED,
        What.FLOW_OFF: Basis.KNOWN,
    }


def test_running_tells_flow_where_no_meter_does() -> None:
    found = list(flow_events(scene(30, running=[(5, 0), (20, 1), (5, 0)])))
    assert shown(found) == [(5, What.FLOW_ON, ""), (25, What.FLOW_OFF, "after 20 s")]
    assert {draft.role for draft in found} == {Role.RUNNING}


def test_of_two_that_tell_flow_the_one_that_changed_it_is_named() -> None:
    both = scene(30, flow=[(10, 0), (10, 800), (10, 0)], running=[(5, 0), (20, 1), (5, 0)])
    found = list(flow_events(both))
    assert [(d.time / ns(1), d.what, d.role) for d in found] == [
        (5, What.FLOW_ON, Role.RUNNING),
        (25, What.FLOW_OFF, Role.RUNNING),
        (10, What.FLOW_RATE, Role.FLOW),
    ]


@pytest.mark.parametrize("role", ["permissive", "bypass"])
def test_contacts(role: str) -> None:
    reported: list[Stretch] = [(5, 0), (5, 1), (5, GAP), (5, 1), (10, 0)]
    found = list(contact_events(scene(30, **{role: reported})))
    words = {
        "permissive": (What.PERMISSIVE_CLOSED, What.PERMISSIVE_UNKNOWN, What.PERMISSIVE_OPENED),
        "bypass": (What.BYPASS_ON, What.BYPASS_UNKNOWN, What.BYPASS_OFF),
    }[role]
    assert shown(found) == [
        (5, words[0], ""),
        (10, words[1], f"{role}: silent, last reading 1 s before, for 5 s"),
        (15, words[0], {"permissive": "closed as before", "bypass": "on as before"}[role]),
        (20, words[2], ""),
    ]
    assert {draft.role for draft in found} == {Role(role)}


@pytest.mark.parametrize(
    ("signals", "what", "detail"),
    [
        pytest.param(
            {"permissive": [(5, GAP), (5, 0)]}, What.PERMISSIVE_KNOWN, "open", id="nothing-opened"
        ),
        pytest.param(
            {"permissive": [(5, GAP), (5, 1)]}, What.PERMISSIVE_KNOWN, "closed", id="nor-closed"
        ),
        pytest.param({"bypass": [(5, GAP), (5, 0)]}, What.BYPASS_KNOWN, "off", id="bypass-off"),
        pytest.param(
            {"bypass": [(5, GAP), (5, 1)]},
            What.BYPASS_ON,
            "not known before",
            id="bypass-on: not-to-be-missed",
        ),
        pytest.param({"flow": [(5, GAP), (5, 0)]}, What.FLOW_KNOWN, "off", id="no-flow"),
        pytest.param({"flow": [(5, GAP), (5, 9)]}, What.FLOW_KNOWN, "on, 9 L/min", id="flow"),
        pytest.param({"running": [(5, BAD), (5, 1)]}, What.FLOW_KNOWN, "on", id="after-bad-data"),
    ],
)
def test_where_nothing_was_known_before_nothing_changed(
    signals: dict[str, list[Stretch]], what: What, detail: str
) -> None:
    made = scene(10, **signals)
    assert shown([*contact_events(made), *flow_events(made)]) == [(5, what, detail)]


@pytest.mark.parametrize(
    ("flow", "why"),
    [
        pytest.param([(30, GAP)], "running: off; flow: no reading yet", id="never-heard"),
        pytest.param(
            [(5, 800), (25, GAP)],
            "running: off; flow: silent, last reading 6 s before",
            id="silent",
        ),
        pytest.param([(5, 800), (25, BAD)], "running: off; flow: bad quality", id="bad"),
    ],
)
def test_flow_that_one_point_denies_and_the_other_does_not_tell_says_so(
    flow: list[Stretch], why: str
) -> None:
    found = list(flow_events(scene(30, flow=flow, running=[(10, 1), (20, 0)])))
    (unknown,) = [draft for draft in found if draft.what is What.FLOW_UNKNOWN]
    assert (unknown.time, unknown.role) == (ns(10), Role.RUNNING)
    assert unknown.detail == f"{why}, for at least 20 s"


def test_a_contact_that_flickers_without_rest_is_told_as_one() -> None:
    flicker: list[Stretch] = [(1, n % 2) for n in range(MOST_CHANGES + 100)]
    found = list(contact_events(scene(MOST_CHANGES + 200, permissive=[*flicker, (100, 1)])))
    assert sorted((draft.time / ns(1), draft.what) for draft in found) == [
        (1, What.UNSTEADY),
        (1, What.PERMISSIVE_CLOSED),
        (MOST_CHANGES + 99, What.PERMISSIVE_CLOSED),
    ]


def test_a_silence_of_a_point_that_others_stand_in_for_is_told_by_itself() -> None:
    beside = scene(20, resistance=[(20, 4.0)], status=[(5, 1), (5, GAP), (5, BAD), (5, 1)])
    assert shown(list(silence_events(beside))) == [
        (5, What.SILENT, "status: silent, last reading 1 s before, for 5 s"),
        (10, What.BAD_QUALITY, "status: bad quality, for 5 s"),
        (15, What.HEARD, "status"),
    ]


def test_a_silence_that_leaves_the_state_unknown_is_told_once() -> None:
    alone = scene(20, resistance=[(5, OPEN)], flow=[(5, 0)], permissive=[(5, 0)], bypass=[(5, 0)])
    assert list(silence_events(alone)) == []
