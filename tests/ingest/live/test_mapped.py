from __future__ import annotations

import json
import math
from typing import Any

import pytest

from ingest.faults import Fault
from ingest.live.decoding import Decoder
from ingest.live.mapped import mapped_topic
from ingest.live.messages import Message
from tests.ingest.live.conftest import NOW, Outcome, S, Take

AT = NOW - 5 * S
SEC = AT // S
M3_H = 1000 / 60  # L/min
FLOW, RUN = "rail-1.flow", "rail-1.running"
OHM, STATE = "rail-1.resistance", "rail-1.status"
ARRIVED = [(FLOW, NOW, M3_H, 1)]


@pytest.mark.parametrize(
    ("alias", "expected"),
    [
        pytest.param("plc#FT-101", ("plc", "FT-101"), id="topic-and-field"),
        pytest.param("a/b/c#d.e", ("a/b/c", "d.e"), id="levels-and-path"),
        pytest.param("bare/1/ohm#", ("bare/1/ohm", ""), id="payload-itself"),
        pytest.param("a#b#c", ("a", "b#c"), id="field-with-a-hash"),
        pytest.param("FT-101", None, id="tag"),
        pytest.param("#1", None, id="no-topic"),
        pytest.param("a+/b#c", None, id="plus-in-a-level"),
        pytest.param("$SYS/broker/uptime#", None, id="the-broker's-own"),
        pytest.param("spBv1.0/g/NDATA/n#x", None, id="sparkplug"),
    ],
)
def test_alias_with_a_hash_names_topic_and_field(alias: str, expected: object) -> None:
    assert mapped_topic(alias) == expected


def told(**members: Any) -> str:
    return json.dumps({"ts": SEC, **members})


@pytest.mark.parametrize(
    ("payload", "rows"),
    [
        pytest.param(told(**{"FT-101": 1}), [(FLOW, AT, M3_H, 0)], id="exact-key"),
        pytest.param(told(x=3, **{"FT-101": 1}), [(FLOW, AT, M3_H, 0)], id="others-beside"),
        pytest.param(told(flow={"rate": 1}), [(FLOW, AT, M3_H, 0)], id="dotted-path"),
        pytest.param(told(**{"flow.rate": 1}), [(FLOW, AT, M3_H, 0)], id="dotted-key"),
        pytest.param(
            told(**{"flow.rate": 1, "flow": {"rate": 2}}), [(FLOW, AT, M3_H, 0)], id="key-first"
        ),
        pytest.param(
            told(flow={"rate": 1, "unit": "m3/h", "of": [1, 2]}, site={"a": [], "b": {}}),
            [(FLOW, AT, M3_H, 0)],
            id="much-else",
        ),
        pytest.param(
            told(run=True, **{"FT-101": 1}),
            [(FLOW, AT, M3_H, 0), (RUN, AT, 1.0, 0)],
            id="every-alias-it-has",
        ),
        pytest.param(told(**{"FT-101": "1.5"}), [(FLOW, AT, 1.5 * M3_H, 0)], id="text"),
        pytest.param(told(run="off"), [(RUN, AT, 0.0, 0)], id="word"),
        pytest.param(
            f"[{told(run=1)}, {json.dumps({'ts': SEC + 1, 'run': 0})}]",
            [(RUN, AT, 1.0, 0), (RUN, AT + S, 0.0, 0)],
            id="array",
        ),
        pytest.param(told(run=1, q=1), [(RUN, AT, 1.0, 1)], id="q"),
        pytest.param(told(run=1, quality="bad"), [(RUN, AT, 1.0, 2)], id="quality-word"),
        pytest.param(told(run=1, quality=192), [(RUN, AT, 1.0, 1)], id="quality-unknown"),
        pytest.param(told(run=1, q="?"), [(RUN, AT, 1.0, 1)], id="quality-no-word"),
        pytest.param(told(run=1, q=[0]), [(RUN, AT, 1.0, 1)], id="quality-list"),
        pytest.param(told(run=1, q=None), [(RUN, AT, 1.0, 0)], id="quality-null"),
        pytest.param(told(run=1, q=2, quality=0), [(RUN, AT, 1.0, 2)], id="q-before-quality"),
        pytest.param(f'{{"run": 1, "t": {SEC}}}', [(RUN, AT, 1.0, 0)], id="t"),
        pytest.param(f'{{"run": 1, "time": {SEC}}}', [(RUN, AT, 1.0, 0)], id="time"),
        pytest.param(f'{{"run": 1, "timestamp": {SEC}}}', [(RUN, AT, 1.0, 0)], id="timestamp"),
        pytest.param(
            f'{{"timestamp": 1, "ts": 2, "time": 3, "t": {SEC}, "run": 1}}',
            [(RUN, AT, 1.0, 0)],
            id="t-before-the-others",
        ),
        pytest.param(
            f'{{"t": null, "ts": {SEC}, "run": 1}}', [(RUN, AT, 1.0, 0)], id="null-is-none"
        ),
        pytest.param(
            told(flow={"t": SEC + 1, "q": 2, "rate": 1}, run=1),
            [(FLOW, AT + S, M3_H, 2), (RUN, AT, 1.0, 0)],
            id="time-beside-the-field-first",
        ),
        pytest.param('{"FT-101": 1}', ARRIVED, id="arrival"),
        pytest.param('[{"FT-101": 1}]', ARRIVED, id="arrival-of-one-in-an-array"),
        pytest.param('{"FT-101": 1, "q": 0}', ARRIVED, id="arrival-is-uncertain-at-best"),
        pytest.param('{"FT-101": 1, "q": 2}', [(FLOW, NOW, M3_H, 2)], id="arrival-bad-stays-bad"),
    ],
)
def test_fields_that_aliases_name_are_taken(
    take: Take, payload: str, rows: list[tuple[str, int, float, int]]
) -> None:
    outcome = take("plc", payload)
    assert sorted(outcome.rows) == sorted(rows)
    assert outcome.rejects == []


@pytest.mark.parametrize(
    ("payload", "taken", "faults"),
    [
        pytest.param("", 0, [Fault.VOID], id="empty"),
        pytest.param("{", 0, [Fault.JSON], id="cut-short"),
        pytest.param("OL", 0, [Fault.JSON], id="word"),
        pytest.param("1", 0, [Fault.SHAPE], id="number"),
        pytest.param(b"\xff", 0, [Fault.ENCODING], id="not-utf-8"),
        pytest.param('{"a":' * 50_000, 0, [Fault.DEPTH], id="deep"),
        pytest.param("[" * 100_000, 0, [Fault.DEPTH], id="deep-list"),
        pytest.param(f'{{"FT-101": 1, "x": "{"x" * 2**20}"}}', 0, [Fault.SIZE], id="over-1-mib"),
        pytest.param(told(level=1), 0, [Fault.FIELD], id="no-field"),
        pytest.param("{}", 0, [Fault.FIELD], id="no-member"),
        pytest.param(told(flow=1), 0, [Fault.FIELD], id="path-stops-short"),
        pytest.param(told(flow={"rate": {}}), 0, [Fault.NUMBER], id="path-goes-on"),
        pytest.param(told(flow=[{"rate": 1}]), 0, [Fault.FIELD], id="path-through-a-list"),
        pytest.param(told(**{"FT-101": None}), 0, [Fault.EMPTY], id="null"),
        pytest.param(told(run=1, **{"FT-101": "x"}), 1, [Fault.NUMBER], id="one-bad"),
        pytest.param(f"[{told(run=1)}, 3, {told(level=1)}]", 1, [Fault.FIELD, Fault.SHAPE],
                     id="garbage-beside"),
        pytest.param('[{"run": 1}, {"run": 0}]', 0, [Fault.NO_TIME], id="array-without-times"),
        pytest.param('{"ts": "soon", "run": 1}', 0, [Fault.TIME], id="bad-time-is-no-arrival"),
        pytest.param('{"ts": 0, "run": 1}', 0, [Fault.EARLY], id="1970"),
        pytest.param('{"run": 1, "run": 0}', 0, [Fault.TWICE], id="field-twice"),
        pytest.param(f'{{"ts": {SEC}, "ts": 1, "run": 1}}', 0, [Fault.TWICE], id="time-twice"),
        pytest.param(f'{{"ts": {SEC}, "q": 0, "q": 1, "run": 1}}', 0, [Fault.TWICE], id="q-twice"),
        pytest.param(f'{{"ts": {SEC}, "x": 1, "x": 2, "run": 1}}', 1, [], id="other-key-twice"),
        pytest.param(f'{{"ts": {SEC}, "flow": {{"rate": 1, "rate": 2}}}}', 0, [Fault.TWICE],
                     id="inner-field-twice"),
        pytest.param(f'{{"ts": {SEC}, "flow": {{"rate": 1}}, "flow": {{"rate": 1}}}}', 0,
                     [Fault.TWICE], id="outer-field-twice"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_rejected(
    take: Take, payload: str | bytes, taken: int, faults: list[Fault]
) -> None:
    outcome = take("plc", payload)
    assert len(outcome.rows) == taken
    assert sorted(fault.partition(", as ")[0] for fault in outcome.faults) == sorted(faults)


@pytest.mark.parametrize(
    ("payload", "value", "faults"),
    [
        pytest.param("2.3", 2300.0, [], id="number"),
        pytest.param(" 2.3\n", 2300.0, [], id="blanks-around"),
        pytest.param("OL", math.inf, [], id="bare-word"),
        pytest.param(" OL ", math.inf, [], id="bare-word-blanks-around"),
        pytest.param('"OL"', math.inf, [], id="word-in-quotes"),
        pytest.param("null", math.inf, [], id="null"),
        pytest.param("Infinity", math.inf, [], id="infinity"),
        pytest.param("1e400", math.inf, [], id="beyond-a-float"),
        pytest.param("-1", None, [Fault.NEGATIVE], id="negative"),
        pytest.param("n/a", None, [Fault.NUMBER], id="no-word"),
        pytest.param('"', None, [Fault.NUMBER], id="one-quote"),
        pytest.param("", None, [Fault.VOID], id="empty"),
        pytest.param("  ", None, [Fault.VOID], id="blank"),
        pytest.param(b"\xff\xfe", None, [Fault.ENCODING], id="not-utf-8"),
        pytest.param('{"v": 1}', None, [Fault.FIELD], id="object"),
        pytest.param("[1]", None, [Fault.SHAPE], id="list"),
        pytest.param("1" * (2**20 + 1), None, [Fault.SIZE], id="over-1-mib"),
    ],
)
def test_payload_itself_may_be_the_value(
    take: Take, payload: str | bytes, value: float | None, faults: list[Fault]
) -> None:
    outcome = take("bare/1/ohm", payload)
    assert outcome.rows == ([] if value is None else [(OHM, NOW, value, 1)])
    assert [fault.partition(", as ")[0] for fault in outcome.faults] == faults


@pytest.mark.parametrize(
    ("topic", "payload"),
    [("plc", '{"run": 1}'), ("bare/1/ohm", "2.3")],
    ids=["object", "payload-itself"],
)
def test_retained_message_without_a_time_is_rejected(take: Take, topic: str, payload: str) -> None:
    outcome = take(topic, payload, is_retained=True)
    assert outcome.rows == []
    assert outcome.faults == [Fault.NO_TIME]


def test_retained_message_with_a_time_is_taken(take: Take) -> None:
    assert take("plc", told(run=1), is_retained=True).rows == [(RUN, AT, 1.0, 0)]


def test_topic_with_plus_is_that_of_the_station(take: Take) -> None:
    assert take("monitor/M1/1", told(ohm=2, state={"code": 1})).rows == [
        (OHM, AT, 2000.0, 0),
        (STATE, AT, 1.0, 0),
    ]
    assert take("monitor/M1/2", told(ohm=2)).rows == [("rail-2.resistance", AT, 2.0, 0)]
    assert take("monitor/M1/3", told(ohm=2)).faults == [Fault.TOPIC]


def test_messages_that_arrive_at_one_moment_are_all_kept(decoder: Decoder) -> None:
    """Without times of their own the later would take the place of the earlier."""
    bits = [1, 0, 1, 1]
    messages = [Message("plc", f'{{"run": {bit}}}'.encode(), NOW) for bit in bits]
    rows = Outcome(decoder.decode(messages, NOW)).rows
    assert [row[2] for row in rows] == bits
    times = [row[1] for row in rows]
    assert times == sorted(set(times))
    assert times[0] == NOW
    assert times[-1] - NOW < S // 1000


def test_arrivals_follow_a_clock_that_is_set_back(decoder: Decoder) -> None:
    arrivals = [NOW, NOW - 3600 * S, NOW - 3600 * S]
    messages = [Message("plc", b'{"run": 1}', arrived) for arrived in arrivals]
    times = [row[1] for row in Outcome(decoder.decode(messages, NOW)).rows]
    assert times == [NOW, NOW - 3600 * S, NOW - 3600 * S + 1000]
