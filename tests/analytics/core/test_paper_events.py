"""What was written down of a span: work, tickets, trips, findings, changes of limits."""

from __future__ import annotations

import pytest

from analytics.core.drafts import Scene
from analytics.core.events import Basis, What
from analytics.core.paper_events import Papers, differences, limits_words, paper_events
from analytics.core.situation import situation
from bondtrail.results import Ticket, Trip, TripCause, TripClass, WorkWindow
from bondtrail.site import Limits, Role, Station
from tests.analytics.core.build import OPEN, held, ns, station

SPAN = ns(100), ns(200)


def scene(*roles: Role) -> Scene:
    where = station(*roles)
    return Scene.of(where, {}, SPAN, situation(where, {}, SPAN))


def work(start: float, end: float) -> Papers:
    return Papers(work=[WorkWindow("spot", ns(start), ns(end), "clamp replaced")])


def ticket(start: float, end: float) -> Papers:
    return Papers(tickets=[Ticket("spot", ns(start), ns(end), "B-17", "toluene", "")])


GOES_ON = "clamp replaced; began 10 s before"


@pytest.mark.parametrize(
    ("papers", "expected"),
    [
        pytest.param(Papers(), [], id="nothing"),
        pytest.param(
            work(120, 150),
            [(120, What.WORK_ON, "clamp replaced"), (150, What.WORK_OVER, "clamp replaced")],
            id="work-within",
        ),
        pytest.param(
            work(90, 150),
            [(100, What.WORK_GOING_ON, GOES_ON), (150, What.WORK_OVER, "clamp replaced")],
            id="work-from-before",
        ),
        pytest.param(work(90, 100), [], id="work-over-when-the-span-begins"),
        pytest.param(
            ticket(120, 150),
            [
                (120, What.TICKET_ON, "batch B-17, product toluene"),
                (150, What.TICKET_OVER, "batch B-17, product toluene"),
            ],
            id="a-ticket-without-an-operator",
        ),
    ],
)
def test_papers(papers: Papers, expected: list[tuple[float, What, str]]) -> None:
    found = list(paper_events(scene(Role.FLOW), papers))
    assert [(d.time / ns(1), d.what, d.detail) for d in found] == expected
    assert {draft.basis for draft in found} <= {Basis.KNOWN}


@pytest.mark.parametrize(
    ("roles", "role"),
    [
        ((Role.RESISTANCE, Role.PERMISSIVE), Role.PERMISSIVE),
        ((Role.RESISTANCE,), Role.RESISTANCE),
        ((Role.FLOW,), None),
    ],
)
def test_a_trip_is_as_sharp_as_what_it_hangs_on(roles: tuple[Role, ...], role: Role | None) -> None:
    where = station(*roles)
    signals = {each: held((50, 4.0), (60, OPEN), start=100) for each in roles}
    now = situation(where, signals, SPAN)
    trip = Trip(
        "spot", ns(150), "spot/x", TripClass.GENUINE, TripCause.CLAMP_OFF, False, None, None
    )
    (draft,) = paper_events(Scene.of(where, signals, SPAN, now), Papers(trips=[trip]))
    assert (draft.what, draft.role, draft.detail) == (What.TRIP, role, "genuine: clamp off")
    assert draft.since == (None if role is None else ns(149))
    assert draft.basis is Basis.INFERRED


def changed(**limits: float) -> Station:
    return station(Role.FLOW).model_copy(update={"limits": Limits(**limits)})  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("after", "expected"),
    [
        pytest.param(changed(), "", id="nothing"),
        pytest.param(changed(limit_ohm=8), "limit_ohm 10 to 8", id="a-limit"),
        pytest.param(
            changed(limit_ohm=8, hold_s=2.5), "limit_ohm 10 to 8, hold_s 1 to 2.5", id="two"
        ),
        pytest.param(
            station(Role.FLOW, stale_s=7), "flow.stale_after_s 1 to 7", id="how-long-it-holds"
        ),
        pytest.param(
            station(Role.FLOW, Role.BYPASS), "bypass.stale_after_s none to 1", id="a-new-point"
        ),
        pytest.param(
            changed().model_copy(update={"product": "toluene"}),
            "product none to toluene",
            id="another-product",
        ),
        pytest.param(changed().model_copy(update={"name": "Spot 2"}), "", id="a-name-is-no-limit"),
    ],
)
def test_differences_are_what_the_rules_go_by(after: Station, expected: str) -> None:
    assert differences(changed(), after) == expected


def test_a_change_of_limits_is_told_and_one_of_names_is_not() -> None:
    renamed = changed().model_copy(update={"name": "Spot 2"})
    papers = Papers(
        changes=[
            (ns(120), changed(), renamed),
            (ns(150), renamed, changed(limit_ohm=8)),
        ]
    )
    found = list(paper_events(scene(Role.FLOW), papers))
    assert [(d.time / ns(1), d.what, d.detail) for d in found] == [
        (150, What.LIMITS_CHANGED, "limit_ohm 10 to 8")
    ]


def test_limits_in_words() -> None:
    words = "low up to 10 ohm, open from 100 kohm, hold 1 s, flow from 5"
    assert limits_words(Limits()) == words
