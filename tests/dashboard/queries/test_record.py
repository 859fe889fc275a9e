"""What the cursor reads of a transfer: words under the step rule, a quantity, and the estimate."""

from __future__ import annotations

import dataclasses
import math
from base64 import b64decode
from collections.abc import Callable

import numpy as np
import pytest

from analytics.core.electrostatics.hazard import NoEstimate
from analytics.core.metering import Metering
from analytics.core.situation import Signals, situation
from analytics.replay import Held, Replay
from bondtrail.results import Transfer
from bondtrail.samples import Quality, Samples
from bondtrail.site import Role, parse_site
from dashboard.queries.record import record
from dashboard.tracks import Packed

S = 1_000_000_000
KINDS = {"u1": "<u1", "u2": "<u2", "u4": "<u4", "f4": "<f4"}

SITE = """
schema = 1
[site]
id = "one"
name = "One (invented)"
timezone = "UTC"
[limits]
hold_s = 1.0
stale_after_s = 5.0
[[station]]
id = "bay-1"
name = "Road bay 1"
kind = "road_tanker"
[station.points]
"""

Series = dict[float, float]


def series(values: Series, bad: frozenset[float] = frozenset()) -> Samples:
    marks = [Quality.BAD if t in bad else Quality.GOOD for t in values]
    return Samples.of([round(t * S) for t in values], list(values.values()), marks)


def replayed(points: str, signals: Signals, span: tuple[float, float] = (0, 100)) -> Replay:
    """Return a replay of a hand-made record, a transfer from 20 to 80 s."""
    site = parse_site(SITE + points)
    station = site.station("bay-1")
    start, end = (round(second * S) for second in span)
    transfer = Transfer(
        "bay-1", 20 * S, 80 * S, 60.0, None, None, None, None, None, True, 0.0, 0.0, 0.0,
        None, None, None, 0, None, None,
    )  # fmt: skip
    return Replay(
        site=site,
        station=station,
        start=start,
        end=end,
        transfer=transfer,
        held=[Held(start, site, station)],
        product_name=None,
        product=None,
        signals=signals,
        now=situation(station, signals, (start, end)),
        events=[],
        findings=[],
        trips=[],
        hookups=[],
        work=[],
        tickets=[],
        missing=[],
        damaged=[],
        waiting=False,
        hazard=NoEstimate(("made up",)),
        typical=None,
    )


def packed(points: str, signals: Signals, span: tuple[float, float] = (0, 100)) -> Packed:
    told = replayed(points, signals, span)
    return record(told, told.hazard)


def array(part: Packed) -> np.ndarray:
    return np.frombuffer(b64decode(part["b"]), KINDS[part["t"]])


def words_at(track: Packed) -> Callable[[float], str]:
    """Return what the browser reads of a track at a moment in seconds."""
    time, code = np.cumsum(array(track["time"])), array(track["code"])

    def told(second: float) -> str:
        return track["texts"][code[np.searchsorted(time, round(second * 1000), "right") - 1]]

    return told


def value_at(curve: Packed, second: float) -> float:
    return float(np.interp(second * 1000, np.cumsum(array(curve["time"])), array(curve["value"])))


OHM = 'resistance = { unit = "ohm" }\n'
FLOW = 'flow = { unit = "L/min" }\n'


def test_resistance_is_told_under_the_step_rule() -> None:
    ohm = series({2: 4.0, 5: 4.001, 8: math.inf, 10: 1234.0, 30: 4.0, 31: 5.0}, frozenset({31}))
    track = packed(OHM, {Role.RESISTANCE: ohm})["tracks"]["resistance"]
    told = words_at(track)
    assert [told(t) for t in (0, 1.999, 2, 5, 7.999, 8, 10, 14.999)] == [
        "unknown", "unknown", "4 ohm", "4 ohm", "4 ohm", "open circuit", "1.23 kohm", "1.23 kohm",
    ]  # fmt: skip
    assert [told(t) for t in (15, 29.999, 30, 31, 99)] == [
        "unknown", "unknown", "4 ohm", "unknown", "unknown",
    ]  # fmt: skip
    assert np.cumsum(array(track["time"])).tolist() == [
        0, 2000, 8000, 10_000, 15_000, 30_000, 31_000,
    ]  # fmt: skip


def test_a_reading_from_before_the_span_holds_into_it_until_it_is_stale() -> None:
    ohm = series({-9: 9.0, -2: 4.0})
    told = words_at(packed(OHM, {Role.RESISTANCE: ohm})["tracks"]["resistance"])
    assert [told(t) for t in (0, 2.999, 3)] == ["4 ohm", "4 ohm", "unknown"]
    gone = words_at(packed(OHM, {Role.RESISTANCE: series({-9: 9.0})})["tracks"]["resistance"])
    assert gone(0) == "unknown"


def test_an_uncertain_reading_says_so() -> None:
    ohm = Samples.of([0, S], [4.0, 4.0], [Quality.UNCERTAIN, Quality.GOOD])
    told = words_at(packed(OHM, {Role.RESISTANCE: ohm})["tracks"]["resistance"])
    assert [told(0.5), told(1)] == ["4 ohm (uncertain)", "4 ohm"]


def test_the_bond_is_told_with_what_is_wrong_with_it() -> None:
    ohm = dict.fromkeys(range(10), 4.0) | {10: 50.0, 11: math.inf, 12: 4.0, 13: 4.0}
    told = words_at(packed(OHM, {Role.RESISTANCE: series(ohm, frozenset({13}))})["tracks"]["bond"])
    assert [told(t) for t in (0, 1, 9.9, 10, 11, 12, 13, 20)] == [
        "low, not yet verified",
        "verified",
        "verified",
        "above the limit",
        "open circuit",
        "low, not yet verified",
        "unknown: monitor fault or bad data",
        "unknown: no fresh reading",
    ]


def test_an_open_circuit_is_abnormal_in_flow_and_not_before_the_clamp_is_on() -> None:
    ohm = dict.fromkeys(range(0, 30, 5), math.inf)
    rate = {0: 0.0, 5: 0.0, 10: 60.0, 15: 60.0, 20: 0.0, 25: 0.0}
    told = packed(OHM + FLOW, {Role.RESISTANCE: series(ohm), Role.FLOW: series(rate)})
    marked = told["tracks"]["bond"] | {"texts": told["tracks"]["bond"]["marks"]}
    assert [words_at(marked)(t) for t in (0, 9.9, 10, 19.9, 20)] == [
        "", "", "abnormal", "abnormal", "",
    ]  # fmt: skip


def test_what_is_not_there_is_said_and_not_taken_for_off() -> None:
    tracks = packed(OHM, {Role.RESISTANCE: series({0: 4.0})})["tracks"]
    assert tracks["permissive"]["texts"] == ["not recorded"]
    assert tracks["bypass"]["texts"] == ["not recorded"]
    assert tracks["flow"]["texts"] == ["not recorded"]
    assert tracks["flow"]["marks"] == ["unknown"]
    only = packed("permissive = {}\n", {Role.PERMISSIVE: series({0: 1.0, 3: 0.0})})
    assert only["tracks"]["resistance"]["texts"] == ["not measured here"]
    assert [words_at(only["tracks"]["permissive"])(t) for t in (0, 3, 9)] == [
        "closed", "open", "unknown",
    ]  # fmt: skip
    assert "volume" not in only["curves"]


def test_a_run_contact_tells_flow_where_there_is_no_meter() -> None:
    tracks = packed("running = {}\n", {Role.RUNNING: series({0: 0.0, 3: 1.0})})["tracks"]
    told = words_at(tracks["flow"])
    assert [told(t) for t in (0, 3, 9)] == ["off", "on", "unknown"]


def test_the_quantity_grows_in_the_transfer_only_and_not_in_the_unknown() -> None:
    rate = dict.fromkeys(range(10, 41, 5), 60.0) | {60: 120.0, 65: 3.0, 70: 120.0, 79: 120.0}
    curve = packed(FLOW, {Role.FLOW: series(rate)})["curves"]["volume"]
    assert (curve["unit"], curve["decimals"]) == ("L", 1)
    # 1 L/s from 20 s (the transfer begins) to 45 s (stale), 2 L/s from 60 to 65 s; 3 L/min is off;
    # 2 L/s again from 70 to 75 s (stale) and from 79 s to the end of the transfer.
    expected = {0: 0, 20: 0, 30: 10, 45: 25, 60: 25, 65: 35, 70: 35, 75: 45, 79: 45, 80: 47, 99: 47}
    assert {t: value_at(curve, t) for t in expected} == pytest.approx(expected, abs=1e-4)


@pytest.mark.parametrize(
    ("rate", "least"),
    [
        pytest.param(dict.fromkeys(range(0, 100, 5), 60.0), None, id="all of it measured"),
        pytest.param(dict.fromkeys([*range(0, 41, 5), *range(60, 100, 5)], 60.0), [45_000, 20_000],
                     id="silent from 45 to 60 s"),
        pytest.param(dict.fromkeys(range(30, 100, 5), 60.0), [20_000, 30_000],
                     id="silent until 30 s"),
        pytest.param({0: 60.0}, [20_000, 100_000], id="silent throughout"),
    ],
)  # fmt: skip
def test_the_quantity_says_from_when_on_it_is_not_all(
    rate: Series, least: list[int] | None
) -> None:
    told = replayed(FLOW, {Role.FLOW: series(rate)})
    span = told.transfer.start, told.transfer.end
    metering = Metering.of(told.station, told.signals, told.now, span)
    found = record(dataclasses.replace(told, metering=metering), told.hazard)
    assert found["curves"]["volume"]["least"] == least


def test_a_long_sum_is_thinned_and_ends_with_the_whole() -> None:
    n = 60_000
    time = np.linspace(20 * S, 80 * S, n, endpoint=False).astype(np.int64)
    flow = Samples.of(time, np.full(n, 600.0))
    curve = packed(FLOW, {Role.FLOW: flow})["curves"]["volume"]
    assert array(curve["value"]).size < 21_000
    assert value_at(curve, 99) == pytest.approx(600.0)


def test_times_are_from_the_millisecond_in_which_the_span_begins() -> None:
    told = packed(OHM, {Role.RESISTANCE: series({1.0004: 4.0})}, (0.0004, 10.0004))
    assert told["base"] == 0
    assert told["length"] == 10_001
    assert words_at(told["tracks"]["resistance"])(1.0) == "4 ohm"


def test_without_an_estimate_nothing_is_read_of_one() -> None:
    assert packed(OHM, {Role.RESISTANCE: series({0: 4.0})})["curves"] == {}
