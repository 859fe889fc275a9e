"""The weeks of a bay: fillings one after the other, when it is open, scenes in between."""

from __future__ import annotations

import itertools
from dataclasses import replace
from random import Random

import pytest

from replay_data import shifts
from replay_data.bay import Bay
from replay_data.filling import Plan
from replay_data.recording import Span
from replay_data.shifts import MINUTE, at, march
from replay_data.traffic import Diary, Done, Pattern, ordinary
from tests.replay_data.bench import bench

PATTERN = Pattern(("06:30", "18:00"), (6, 9), (4, 9))


def diary(pattern: Pattern = PATTERN, **more: object) -> Diary:
    made = Diary("bay", bench(), pattern, Random(3), ordinary(pattern))
    for name, value in more.items():
        setattr(made, name, value)
    return made


def on(done: list[Done], day: int) -> list[Done]:
    return [one for one in done if shifts.day(one.filled.contact.start) == march(day)]


def test_fillings_never_overlap() -> None:
    spans = [one.filled.contact for one in diary().play()]
    assert len(spans) > 20 * 5
    gaps = [b.start - a.end for a, b in itertools.pairwise(spans)]
    assert min(gaps) >= 4 * MINUTE


def test_a_working_day_has_its_number_of_fillings_and_a_sunday_none() -> None:
    done = diary().play()
    assert 6 <= len(on(done, 11)) <= 9
    assert 1 <= len(on(done, 14)) <= 3
    assert on(done, 15) == []


def test_a_night_shift_works_on_four_nights_a_week() -> None:
    done = diary(replace(PATTERN, night=5)).play()
    late = {
        shifts.day(one.filled.contact.start).weekday()
        for one in done
        if one.filled.contact.start >= at(shifts.day(one.filled.contact.start), "22:00")
    }
    assert late == {0, 1, 2, 3}


def test_nothing_begins_while_the_bay_is_closed() -> None:
    closed = Span(at(march(11), "00:00"), at(march(11), "12:00"))
    begins = [one.filled.contact.start for one in on(diary(closed=[closed]).play(), 11)]
    assert begins
    assert min(begins) >= closed.end


def test_a_scene_is_told_once_and_in_its_place() -> None:
    told: list[int] = []
    noon = at(march(11), "12:00")

    def scene(bay: Bay) -> None:
        told.append(bay.wires.flow.changes[-1].ms)

    diary(scenes=[(noon, scene)]).play()
    assert len(told) == 1
    assert told[0] < noon + 60 * MINUTE


@pytest.mark.parametrize(
    ("chances", "plan"),
    [
        pytest.param({"touches": 0.0, "failures": 0.0}, (0, 0), id="never"),
        pytest.param({"touches": 1.0, "failures": 1.0}, (2, 0), id="first-fails"),
        pytest.param({"touches": 0.0, "failures": 0.0, "pulls": 1.0}, (0, 1), id="pulled"),
        pytest.param({"touches": 0.0, "failures": 0.0, "slips": 1.0}, (0, 1), id="slipped"),
        pytest.param({"touches": 0.0, "failures": 0.0, "pauses": 1.0}, (0, 1), id="paused"),
    ],
)
def test_mishaps_come_by_their_chances(chances: dict[str, float], plan: tuple[int, int]) -> None:
    made: Plan = ordinary(replace(PATTERN, **chances))(bench(), shifts.START, Random(1))
    assert (len(made.before), len(made.incidents)) == plan
