from __future__ import annotations

import datetime as dt
import json
import math
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest

from bondtrail.site import Role, Site
from ingest.faults import Fault
from ingest.live.decoding import Decoder
from ingest.live.messages import Message
from ingest.values import FAULTS, NO_FAULT, read_values, role_code
from tests.ingest.live.conftest import NOW, RAIL, Outcome, S, Take

AT = NOW - 5 * S
MS = AT // 1_000_000
M3_H = 1000 / 60  # L/min


def message(**members: Any) -> str:
    return json.dumps({"t": MS, **members})


@pytest.mark.parametrize(
    ("role", "payload", "rows"),
    [
        pytest.param("flow", message(v=3), [(AT, 3 * M3_H, 0)], id="object"),
        pytest.param("flow", f"  {message(v=3)}\n", [(AT, 3 * M3_H, 0)], id="blanks-around"),
        pytest.param("flow", "\ufeff" + message(v=3), [(AT, 3 * M3_H, 0)], id="byte-order-mark"),
        pytest.param("flow", f"[{message(v=3)}]", [(AT, 3 * M3_H, 0)], id="array-of-one"),
        pytest.param("flow", "[]", [], id="empty-array"),
        pytest.param(
            "flow",
            f"[{message(v=3)}, {json.dumps({'t': MS + 1, 'v': 4, 'q': 1})}]",
            [(AT, 3 * M3_H, 0), (AT + S // 1000, 4 * M3_H, 1)],
            id="array-some-with-quality",
        ),
        pytest.param("flow", message(v=3, q=2), [(AT, 3 * M3_H, 2)], id="bad"),
        pytest.param("flow", message(v=3, q="Uncertain"), [(AT, 3 * M3_H, 1)], id="quality-word"),
        pytest.param("flow", message(v=3, q=None), [(AT, 3 * M3_H, 0)], id="quality-null"),
        pytest.param("flow", message(v="2.3"), [(AT, 2.3 * M3_H, 0)], id="number-as-text"),
        pytest.param("flow", message(v=-0.5), [(AT, -0.5 * M3_H, 0)], id="backwards"),
        pytest.param("resistance", message(v=2), [(AT, 2000.0, 0)], id="own-unit"),
        pytest.param("resistance", message(v=None), [(AT, math.inf, 0)], id="null-is-open"),
        pytest.param("resistance", message(v="OL"), [(AT, math.inf, 0)], id="open-word"),
        pytest.param("resistance", message(v="> 100 kohm"), [(AT, math.inf, 0)], id="over-range"),
        pytest.param("resistance", message(v=math.inf), [(AT, math.inf, 0)], id="infinity-token"),
        pytest.param(
            "resistance", f'{{"t": {MS}, "v": 1e400}}', [(AT, math.inf, 0)], id="beyond-a-float"
        ),
        pytest.param(
            "resistance",
            f'{{"t": {MS}, "v": {"1" * 400}}}',
            [(AT, math.inf, 0)],
            id="integer-beyond-a-float",
        ),
        pytest.param("status", message(v="not bonded"), [(AT, 0.0, 0)], id="status-word"),
        pytest.param("status", message(v=3), [(AT, 3.0, 0)], id="status-code"),
        pytest.param("permissive", message(v=True), [(AT, 1.0, 0)], id="true"),
        pytest.param("bypass", message(v=False), [(AT, 0.0, 0)], id="false"),
        pytest.param("permissive", message(v="closed"), [(AT, 1.0, 0)], id="contact-word"),
        pytest.param("running", message(v=1.0), [(AT, 1.0, 0)], id="contact-number"),
        pytest.param("flow", f'{{"\\u0074": {MS}, "v": 3}}', [(AT, 3 * M3_H, 0)], id="escaped-key"),
    ],
)
def test_reading_of_a_point_is_taken(
    take: Take, role: str, payload: str, rows: list[tuple[int, float, int]]
) -> None:
    outcome = take(f"{RAIL}/{role}", payload)
    assert outcome.rows == [(f"rail-1.{role}", *row) for row in rows]
    assert outcome.rejects == []


@pytest.mark.parametrize(
    ("role", "payload", "fault", "time"),
    [
        pytest.param("flow", "", Fault.VOID, None, id="empty"),
        pytest.param("flow", " \r\n", Fault.VOID, None, id="blank"),
        pytest.param("flow", "{", Fault.JSON, None, id="cut-short"),
        pytest.param("flow", message(v=1) + "x", Fault.JSON, None, id="something-after-it"),
        pytest.param("flow", b'{"t": 1, "v": "\xff"}', Fault.ENCODING, None, id="not-utf-8"),
        pytest.param("flow", message(v=1).encode("utf-16"), Fault.ENCODING, None, id="utf-16"),
        pytest.param("flow", "[" * 100_000, Fault.DEPTH, None, id="deep"),
        pytest.param("flow", '{"v":' * 50_000, Fault.DEPTH, None, id="deep-objects"),
        pytest.param("flow", f'"{"x" * 2**20}"', Fault.SIZE, None, id="over-1-mib"),
        pytest.param("flow", "2.3", Fault.SHAPE, None, id="bare-number"),
        pytest.param("flow", "null", Fault.SHAPE, None, id="bare-null"),
        pytest.param("flow", f"[[{message(v=1)}]]", Fault.SHAPE, None, id="array-in-array"),
        pytest.param("flow", message(), Fault.NO_VALUE, AT, id="no-value"),
        pytest.param("flow", "{}", Fault.NO_VALUE, None, id="no-member"),
        pytest.param("flow", '{"v": 1}', Fault.NO_TIME, None, id="no-time"),
        pytest.param("flow", '{"t": null, "v": 1}', Fault.NO_TIME, None, id="time-null"),
        pytest.param("flow", message(v=None), Fault.EMPTY, AT, id="null-is-no-flow"),
        pytest.param("flow", message(v="OL"), Fault.NUMBER, AT, id="open-is-no-flow"),
        pytest.param("flow", message(v=True), Fault.NUMBER, AT, id="boolean-is-no-flow"),
        pytest.param("flow", message(v="2,5"), Fault.NUMBER, AT, id="decimal-comma"),
        pytest.param("flow", message(v=[1]), Fault.NUMBER, AT, id="list-is-no-value"),
        pytest.param("flow", message(v={"a": 1}), Fault.NUMBER, AT, id="object-is-no-value"),
        pytest.param("flow", message(v=math.nan), Fault.NAN, AT, id="nan-token"),
        pytest.param("flow", f'{{"t":{MS},"v":1e400}}', Fault.INFINITE, AT, id="beyond-a-float"),
        pytest.param("flow", f'{{"t":{MS},"v":"\\ud800"}}', Fault.NUMBER, AT, id="lone-surrogate"),
        pytest.param("flow", message(v="\0"), Fault.NUMBER, AT, id="nul"),
        pytest.param("resistance", message(v=-1), Fault.NEGATIVE, AT, id="negative"),
        pytest.param("resistance", message(v=-math.inf), Fault.NEGATIVE, AT, id="minus-infinity"),
        pytest.param("resistance", message(v=math.nan), Fault.NAN, AT, id="nan-resistance"),
        pytest.param("resistance", message(v=True), Fault.NUMBER, AT, id="boolean-resistance"),
        pytest.param("status", message(v=4), Fault.STATUS, AT, id="status-4"),
        pytest.param("status", message(v="earthed"), Fault.STATUS, AT, id="status-no-word"),
        pytest.param("permissive", message(v=0.5), Fault.CONTACT, AT, id="half-a-contact"),
        pytest.param("flow", message(v=1, q=3), Fault.QUALITY, AT, id="quality-3"),
        pytest.param("flow", message(v=1, q=-1), Fault.QUALITY, AT, id="quality-negative"),
        pytest.param("flow", message(v=1, q=192), Fault.QUALITY, AT, id="quality-192"),
        pytest.param("flow", message(v=1, q=10**30), Fault.QUALITY, AT, id="quality-huge"),
        pytest.param("flow", message(v=1, q=True), Fault.QUALITY, AT, id="quality-true"),
        pytest.param("flow", message(v=1, q=[0]), Fault.QUALITY, AT, id="quality-list"),
        pytest.param("flow", f'{{"t":{MS},"v":1,"v":2}}', Fault.TWICE, AT, id="value-twice"),
        pytest.param("flow", f'{{"t":{MS},"t":{MS},"v":1}}', Fault.TWICE, None, id="time-twice"),
        pytest.param("flow", f'{{"t":{MS},"v":1,"q":0,"q":0}}', Fault.TWICE, AT, id="q-twice"),
        pytest.param("flow", '{"t": true, "v": 1}', Fault.TIME, None, id="time-true"),
        pytest.param("flow", '{"t": [1], "v": 1}', Fault.TIME, None, id="time-list"),
        pytest.param("flow", '{"t": "soon", "v": 1}', Fault.TIME, None, id="time-no-word"),
        pytest.param("flow", '{"t": "", "v": 1}', Fault.TIME, None, id="time-empty"),
        pytest.param("flow", '{"t": "\\udfff", "v": 1}', Fault.TIME, None, id="time-surrogate"),
        pytest.param("flow", '{"t": "2026-03-01T21:19:55", "v": 1}', Fault.TIME, None,
                     id="time-without-offset"),
        pytest.param("flow", '{"t": 1772399995.5, "v": 1}', Fault.TIME, None, id="time-float"),
        pytest.param("flow", '{"t": 1.772399995e9, "v": 1}', Fault.TIME, None, id="time-exponent"),
        pytest.param("flow", f'{{"t": {2**63}, "v": 1}}', Fault.TIME, None, id="time-over-64-bits"),
        pytest.param("flow", f'{{"t": {10**40}, "v": 1}}', Fault.TIME, None, id="time-huge"),
        pytest.param("flow", f'{{"t": {"9" * 9000}, "v": 1}}', Fault.TIME, None,
                     id="time-of-9000-digits"),
        pytest.param("flow", '{"t": 99999999999999999, "v": 1}', Fault.TIME, None,
                     id="time-beyond-2262"),
        pytest.param("flow", '{"t": 0, "v": 1}', Fault.EARLY, 0, id="1970"),
        pytest.param("flow", '{"t": -1, "v": 1}', Fault.EARLY, -S, id="before-1970"),
        pytest.param("flow", '{"t": 946684799, "v": 1}', Fault.EARLY, 946684799 * S, id="1999"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_rejected_with_its_point_and_time(
    take: Take, role: str, payload: str | bytes, fault: Fault, time: int | None
) -> None:
    outcome = take(f"{RAIL}/{role}", payload)
    assert outcome.rows == []
    (reject,) = outcome.rejects
    assert reject.reason.startswith(str(fault))
    assert (reject.source, reject.where) == ("mqtt://broker:1883", f"topic {RAIL}/{role}")
    assert (reject.count, reject.time, reject.at) == (1, time, NOW)
    known = (Fault.VOID, Fault.JSON, Fault.ENCODING, Fault.DEPTH, Fault.SIZE, Fault.SHAPE)
    assert reject.point == (None if fault in known else f"rail-1.{role}")


@pytest.mark.parametrize("bad", ["3", "null", '{"v": 1}', message(v="x"), message(v=1, q=9)])
@pytest.mark.parametrize("at", [0, 1, 2])
def test_good_readings_beside_a_bad_one_are_taken(take: Take, bad: str, at: int) -> None:
    good = [message(v=1), json.dumps({"t": MS + 1, "v": 2})]
    outcome = take(f"{RAIL}/flow", f"[{','.join([*good[:at], bad, *good[at:]])}]")
    assert [row[2] for row in outcome.rows] == [M3_H, 2 * M3_H]
    assert [reject.count for reject in outcome.rejects] == [1]


def test_unknown_key_is_told_and_the_reading_is_taken(take: Take) -> None:
    outcome = take(f"{RAIL}/flow", message(v=1, unit="m3/h"))
    assert outcome.rows == [("rail-1.flow", AT, M3_H, 0)]
    assert outcome.faults == [Fault.MEMBER]


def test_station_message_holds_several_roles(take: Take) -> None:
    payload = message(resistance=2.3, status="bonded", permissive=True, flow=812.0, q=1)
    outcome = take(RAIL, payload)
    assert sorted(outcome.rows) == [
        ("rail-1.flow", AT, 812 * M3_H, 1),
        ("rail-1.permissive", AT, 1.0, 1),
        ("rail-1.resistance", AT, 2300.0, 1),
        ("rail-1.status", AT, 1.0, 1),
    ]
    assert outcome.rejects == []


def test_station_messages_may_be_an_array(take: Take) -> None:
    outcome = take(RAIL, f"[{message(flow=1)}, {json.dumps({'t': MS + 1, 'running': 0})}]")
    assert sorted(row[:2] for row in outcome.rows) == [
        ("rail-1.flow", AT),
        ("rail-1.running", AT + S // 1000),
    ]


@pytest.mark.parametrize(
    ("station", "payload", "taken", "faults"),
    [
        pytest.param("rail-1", message(flow=1, temp=3), 1, {Fault.KEY: 1}, id="no-role"),
        pytest.param("rail-1", message(flow=1, a=3, b=4), 1, {Fault.KEY: 2}, id="two-no-roles"),
        pytest.param("rail-1", message(flow=1, v=4), 1, {Fault.KEY: 1}, id="v-is-no-role"),
        pytest.param("rail-1", message(flow=1, Flow=4), 1, {Fault.KEY: 1}, id="case-counts"),
        pytest.param("rail-2", message(resistance=1, flow=1), 1, {Fault.ROLE: 1}, id="no-point"),
        pytest.param("rail-1", message(flow="x", running=1), 1, {Fault.NUMBER: 1}, id="one-bad"),
        pytest.param("rail-1", message(), 0, {Fault.NO_ROLE: 1}, id="no-reading"),
        pytest.param("rail-1", '{"flow": 1, "running": 1}', 0, {Fault.NO_TIME: 2}, id="no-time"),
        pytest.param("rail-1", message(flow=1, running=1, q=7), 0, {Fault.QUALITY: 2}, id="q-7"),
        pytest.param("rail-1", f'{{"t": {MS}, "flow": 1, "flow": 2, "running": 1}}', 1,
                     {Fault.TWICE: 1}, id="role-twice"),
        pytest.param("rail-1", f'{{"t": {MS}, "t": {MS}, "flow": 2, "running": 1}}', 0,
                     {Fault.TWICE: 2}, id="time-twice"),
        pytest.param("rail-1", '{"t": 0, "flow": 2, "running": 1}', 0,
                     {Fault.EARLY: 2}, id="1970"),
        pytest.param("rail-1", f"[{message(flow=1)}, 7, {{}}]", 1,
                     {Fault.SHAPE: 1, Fault.NO_ROLE: 1}, id="garbage-beside"),
    ],
)  # fmt: skip
def test_station_message_is_taken_as_far_as_it_goes(
    take: Take, station: str, payload: str, taken: int, faults: dict[Fault, int]
) -> None:
    outcome = take(f"bondtrail/quay/{station}", payload)
    assert len(outcome.rows) == taken
    counts: dict[str, int] = {}
    for fault, reject in zip(outcome.faults, outcome.rejects, strict=True):
        name = fault.partition(", as ")[0]
        counts[name] = counts.get(name, 0) + reject.count
    assert counts == {str(fault): count for fault, count in faults.items()}


# The times below are read by datetime and by pandas, which are no code of ours.
TIMES = [
    "2026-03-01T21:19:55Z",
    "2026-03-01T21:19:55.123Z",
    "2026-03-01T21:19:55.123456Z",
    "2026-03-01T22:19:55+01:00",
    "2026-03-01T15:49:55.5-05:30",
    "2026-03-01 21:19:55Z",
]


@pytest.mark.parametrize("text", TIMES)
def test_written_time_is_that_of_datetime(take: Take, text: str) -> None:
    (row,) = take(f"{RAIL}/flow", json.dumps({"t": text, "v": 1})).rows
    since = dt.datetime.fromisoformat(text) - dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
    assert row[1] == since // dt.timedelta(microseconds=1) * 1000
    assert row[1] == pd.Timestamp(text).as_unit("ns").value


@pytest.mark.parametrize(("scale", "unit"), [(1, "s"), (10**3, "ms"), (10**6, "us"), (10**9, "ns")])
def test_magnitude_of_an_epoch_tells_its_unit(take: Take, scale: int, unit: str) -> None:
    number = 1772399995 * scale
    (row,) = take(f"{RAIL}/flow", json.dumps({"t": number, "v": 1})).rows
    assert row[1] == pd.Timestamp(number, unit=unit).as_unit("ns").value == AT


def test_times_of_several_forms_in_one_batch(take: Take) -> None:
    times = [
        MS + 1,
        "2026-03-01T21:19:55.002Z",
        str(MS + 3),
        (MS + 4) * 10**6,
        "20260301T211955Z",
        2**70,
    ]
    outcome = take(f"{RAIL}/flow", json.dumps([{"t": time, "v": 1} for time in times]))
    assert [row[1] - AT for row in outcome.rows[:4]] == [n * S // 1000 for n in (1, 2, 3, 4)]
    assert outcome.rows[4][1] == AT
    assert outcome.faults == [Fault.TIME]


@pytest.mark.parametrize(
    ("ahead", "taken"),
    [
        pytest.param(59 * S, 1, id="a-minute"),
        pytest.param(3600 * S, 1, id="an-hour"),
        pytest.param(3600 * S + 1, 0, id="a-little-more"),
        pytest.param(10 * 365 * 86400 * S, 0, id="ten-years"),
    ],
)
def test_reading_from_the_future_is_rejected(take: Take, ahead: int, taken: int) -> None:
    outcome = take(f"{RAIL}/flow", json.dumps({"t": NOW + ahead, "v": 1}))
    assert len(outcome.rows) == taken
    assert outcome.faults == [Fault.AHEAD] * (1 - taken)


def test_turn_of_the_century_is_the_earliest(take: Take) -> None:
    assert len(take(f"{RAIL}/flow", '{"t": "2000-01-01T00:00:00Z", "v": 1}').rows) == 1


TEXTS = [
    *("2.31", "0", "+1e3", ".5", " 7 ", "1e400", "-1e400", "-4", "-0.0", "007", "1_0", "0x10"),
    *("inf", "-inf", "Infinity", "nan", "NaN", "OL", "o.l.", "-OL", "Open", "over range", ">1e5"),
    *("> 100 kohm", "null", "", " ", "n/a", "true", "FALSE", "on", "Off", "closed", "open"),
    *("bonded", "Not_Bonded", "fault", "standby", "3", "4", "2,5", "1.7976931348623157e308"),
    *("0.1", "1e-400", "123456789012345678901234567890", "٣", "Ω", "\u2003"),
]


@pytest.mark.parametrize("role", list(Role))
def test_text_means_what_it_means_in_a_file(live_site: Site, role: Role) -> None:
    """The same words and numbers through the code that reads the columns of files."""
    point = live_site.station("rail-1").points[role]
    decoder = Decoder(live_site, source="x")
    for text in TEXTS:
        values, faults = read_values(
            pa.array([text]), np.array([role_code(role)], np.uint8), point.scale
        )
        payload = json.dumps({"t": MS, "v": text}).encode()
        outcome = Outcome(decoder.decode([Message(f"{RAIL}/{role}", payload, NOW)], NOW))
        if faults[0] == NO_FAULT:
            assert outcome.rows == [(point.name, AT, values[0], 0)], text
        else:
            assert outcome.rows == [], text
            assert outcome.faults[0] == f"{FAULTS[faults[0]]}, as {role}", text
