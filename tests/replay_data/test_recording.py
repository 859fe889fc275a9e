"""A collector writes on change, repeats with a heartbeat, and loses what it could not hear."""

from __future__ import annotations

import itertools
from random import Random

import pytest

from replay_data.recording import BAD, OPEN, Reading, Signal, Span, moment, number, rows

BEAT = 60_000
JITTER = 8


def signal(*changes: tuple[int, str], wobble: float = 0.0) -> Signal:
    made = Signal("M9/1", Random(1), BEAT, wobble)
    for ms, value in changes:
        made.set(ms, value)
    return made


def test_a_value_is_repeated_until_it_changes() -> None:
    written = list(signal((0, "1.00"), (200_000, "2.00")).recorded(230_000, []))
    assert [reading.value for reading in written] == ["1.00"] * 4 + ["2.00"]
    assert written[-1] == Reading(200_000, "2.00")


def test_nothing_is_written_once_the_recording_has_ended() -> None:
    told = signal((0, "1"), (50_000, "0"), (90_000, "1"))
    assert [reading.ms for reading in told.recorded(90_000, [])] == [0, 50_000]


def test_no_two_readings_are_further_apart_than_a_heartbeat() -> None:
    written = list(signal((0, "1"), (130_000, "0")).recorded(1_000_000, []))
    gaps = [b.ms - a.ms for a, b in itertools.pairwise(written)]
    assert min(gaps) > 0
    assert max(gaps) <= BEAT + JITTER


@pytest.mark.parametrize("value", ["2.50", OPEN])
def test_a_heartbeat_wobbles_inside_the_deadband_unless_open(value: str) -> None:
    written = [r.value for r in signal((0, value), wobble=0.01).recorded(1_000_000, [])]
    if value == OPEN:
        assert set(written) == {OPEN}
    else:
        assert len(set(written)) > 1
        assert all(2.475 <= float(text) <= 2.525 for text in written)


@pytest.mark.parametrize(
    ("value", "moved"), [(2.0, False), (2.06, False), (2.07, True), (1.9, True)]
)
def test_a_change_counts_beyond_the_deadband(value: float, moved: bool) -> None:
    assert signal((0, "2.00")).moved(value, 0.0301) is moved


def test_quality_is_repeated_too() -> None:
    bad = signal()
    bad.set(0, "1.00", BAD)
    assert {reading.quality for reading in bad.recorded(200_000, [])} == {BAD}


def test_what_happens_in_an_outage_is_lost_but_for_its_outcome() -> None:
    outage = Span(100_000, 400_000)
    told = signal((0, "1"), (150_000, "0"), (200_000, "1"), (300_000, "0"), (900_000, "1"))
    written = list(told.recorded(950_000, [outage]))
    assert not any(outage.holds(reading.ms) for reading in written)
    after = [reading for reading in written if reading.ms >= outage.end]
    assert after[0].ms <= outage.end + 600
    assert after[0].value == "0"
    assert written[-1] == Reading(900_000, "1")


def test_a_change_right_after_an_outage_is_not_preceded_by_an_old_value() -> None:
    told = signal((0, "1"), (100_010, "0"))
    after = [r for r in told.recorded(101_000, [Span(50_000, 100_000)]) if r.ms >= 50_000]
    assert after == [Reading(100_010, "0")]


@pytest.mark.parametrize("ms", [4999, 5000])
def test_a_story_out_of_order_is_refused(ms: int) -> None:
    with pytest.raises(ValueError, match="M9/1"):
        signal((5000, "1"), (ms, "0"))


@pytest.mark.parametrize(
    ("ohm", "text"), [(0.456, "0.46"), (99.999, "100.00"), (123.44, "123.4"), (4870.6, "4871")]
)
def test_a_reading_has_the_figures_of_a_display(ohm: float, text: str) -> None:
    assert number(ohm) == text


def test_a_moment_is_utc_with_milliseconds() -> None:
    assert moment(1_773_014_400_007) == "2026-03-09T00:00:00.007Z"


def test_rows_of_all_signals_come_in_order_of_time() -> None:
    first, second = signal((0, "1")), Signal("M9/2", Random(2), BEAT)
    second.set(30_000, OPEN, BAD)
    written = list(rows([(first, []), (second, [])], 200_000))
    assert [ms for ms, _ in written] == sorted(ms for ms, _ in written)
    assert (30_000, "1970-01-01T00:00:30.000Z,M9/2,OL,2\n") in written
    assert written[0][1] == "1970-01-01T00:00:00.000Z,M9/1,1,\n"
