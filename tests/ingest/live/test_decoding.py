from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest

from bondtrail.running import Given, Source
from bondtrail.samples import later_wins
from bondtrail.site import Site, parse_site
from ingest.faults import Fault
from ingest.live import decoding
from ingest.live.columns import Columns, Judged, judge
from ingest.live.decoding import Decoded, Decoder
from ingest.live.messages import Message
from ingest.live.skew import EVERY_NS
from ingest.live.sparkplug.sparkplug_pb2 import Payload
from tests.ingest.live.conftest import NOW, RAIL, SITE, Outcome, S, Take

AT = NOW - 5 * S
FLOW = f"{RAIL}/running"
HOUR = 3600 * S


def reading(value: object, *, at: int = AT, topic: str = FLOW, **about: bool) -> Message:
    return Message(topic, json.dumps({"t": at, "v": value}).encode(), NOW, **about)


def test_filters_are_our_own_topics_the_mapped_ones_and_sparkplug(decoder: Decoder) -> None:
    mapped = ["monitor/M1/1", "bare/1/ohm", "plc", "PUMP", "monitor/M1/2"]
    assert decoder.filters() == ["bondtrail/quay/#", *mapped, "spBv1.0/#"]
    assert decoder.filters("crew") == [
        "$share/crew/bondtrail/quay/#",
        *(f"$share/crew/{topic}" for topic in mapped),
        "spBv1.0/#",  # births must reach every listener
    ]


@pytest.mark.parametrize(
    ("groups", "filters"),
    [
        pytest.param("[]", [], id="none"),
        pytest.param('["plant", "Yard 2"]', ["spBv1.0/plant/#", "spBv1.0/Yard 2/#"], id="two"),
    ],
)
def test_only_the_groups_that_the_site_file_names_are_subscribed(
    decoder: Decoder, groups: str, filters: list[str]
) -> None:
    decoder.follow(parse_site(f"{SITE}\n[sparkplug]\ngroups = {groups}\n"))
    assert [topic for topic in decoder.filters() if topic.startswith("spBv1.0")] == filters
    outcome = Outcome(decoder.decode([birth("PRM-101")], NOW))
    assert (outcome.decoded.read, outcome.rows, outcome.rejects) == (0, [], [])


def test_mapped_topic_among_our_own_is_subscribed_once() -> None:
    site = parse_site(SITE.replace('"PUMP#1"', '"bondtrail/quay/pump#1"'))
    decoder = Decoder(site, source="x")
    assert [topic for topic in decoder.filters() if "bondtrail" in topic] == ["bondtrail/quay/#"]
    outcome = decoder.decode([Message("bondtrail/quay/pump", b'{"1": 1}', NOW)], NOW)
    assert list(outcome.batch) == ["rail-1.flow"]


def test_native_topic_stays_native_whatever_an_alias_says() -> None:
    site = parse_site(SITE.replace('"plc#run"', '"bondtrail/quay/rail-1#run"'))
    payload = json.dumps({"t": AT, "flow": 1, "run": 1}).encode()
    outcome = Outcome(Decoder(site, source="x").decode([Message(RAIL, payload, NOW)], NOW))
    assert [row[0] for row in outcome.rows] == ["rail-1.flow"]
    assert outcome.faults == [Fault.KEY]


@pytest.mark.parametrize(
    ("topic", "fault"),
    [
        pytest.param("bondtrail/quay/rail-9/flow", Fault.STATION, id="station"),
        pytest.param("bondtrail/quay/rail-9", Fault.STATION, id="station-alone"),
        pytest.param("bondtrail/quay/", Fault.STATION, id="empty-station"),
        pytest.param("bondtrail/quay/rail-2/flow", Fault.ROLE, id="no-point"),
        pytest.param("bondtrail/quay/rail-1/level", Fault.TOPIC, id="no-role"),
        pytest.param("bondtrail/quay/rail-1/", Fault.TOPIC, id="empty-role"),
        pytest.param("bondtrail/quay/rail-1/flow/x", Fault.TOPIC, id="too-deep"),
        pytest.param("bondtrail/quay/rail-1/flow/", Fault.TOPIC, id="empty-level"),
        pytest.param("bondtrail/quay/$other/x", Fault.STATION, id="no-service"),
        pytest.param("bondtrail/other/rail-1/flow", Fault.TOPIC, id="other-site"),
        pytest.param("bondtrail/quay", Fault.TOPIC, id="site-alone"),
        pytest.param("", Fault.TOPIC, id="empty"),
        pytest.param("//", Fault.TOPIC, id="empty-levels"),
        pytest.param("a\0b", Fault.TOPIC, id="nul"),
        pytest.param("a\ud800b", Fault.TOPIC, id="surrogate"),
        pytest.param("x/" * 30_000, Fault.TOPIC, id="very-long"),
        pytest.param("spBv1.0", Fault.TOPIC, id="sparkplug-alone"),
    ],
)
def test_unknown_topic_is_rejected(take: Take, topic: str, fault: Fault) -> None:
    outcome = take(topic, '{"t": 1, "v": 1}')
    assert outcome.faults == [fault]
    assert len(outcome.rejects[0].where) <= 310


def test_status_of_listeners_is_none_of_ours(take: Take) -> None:
    outcome = take("bondtrail/quay/$service/bondtrail-quay", '{"state": "listening"}')
    assert (outcome.decoded.read, outcome.rows, outcome.rejects) == (0, [], [])


def test_no_messages_come_to_nothing(decoder: Decoder) -> None:
    assert decoder.decode([], NOW) == Decoded()
    assert decoder.tick(NOW) == Decoded()


def test_later_message_wins(decoder: Decoder) -> None:
    batch = decoder.decode([reading(0), reading(1), reading(0, at=AT + 1)], NOW).batch
    kept = later_wins(batch["rail-1.running"])
    assert list(zip(kept.time.tolist(), kept.value.tolist(), strict=True)) == [
        (AT, 1.0),
        (AT + 1, 0.0),
    ]


def test_later_message_wins_whatever_topic_it_came_by(decoder: Decoder) -> None:
    station = Message(RAIL, json.dumps({"t": AT, "running": 0}).encode(), NOW)
    mapped = Message("plc", json.dumps({"t": AT, "run": 1}).encode(), NOW)
    for messages, last in (([station, mapped], 1.0), ([mapped, station, reading(0)], 0.0)):
        batch = decoder.decode(messages, NOW).batch
        assert later_wins(batch["rail-1.running"]).value.tolist() == [last]


def test_reject_is_that_of_the_first_and_counts_all(decoder: Decoder) -> None:
    first = reading("x")
    messages = [first, reading(1), *(reading("y", at=AT + n) for n in range(9))]
    outcome = Outcome(decoder.decode(messages, NOW))
    (reject,) = outcome.rejects
    assert (reject.count, reject.raw, reject.time) == (10, first.payload.decode(), AT)
    assert reject.last_time == AT + 8
    assert "x" not in reject.reason.split()
    assert len(outcome.rows) == 1


@pytest.mark.parametrize("wrong", [{"v": "x"}, {"v": 1, "q": "so-so"}])
def test_reject_of_a_long_message_spans_its_readings(take: Take, wrong: dict[str, Any]) -> None:
    (reject,) = take(FLOW, json.dumps([{"t": AT + n, **wrong} for n in range(50)])).rejects
    assert (reject.count, reject.time, reject.last_time) == (50, AT, AT + 49)


def test_raw_text_of_a_reject_shows_the_reading_even_in_a_long_message(take: Take) -> None:
    readings = [{"t": AT // 1_000_000 + n, "v": 0 if n != 900 else "wobbly"} for n in range(1000)]
    outcome = take(FLOW, json.dumps(readings))
    assert len(outcome.rows) == 999
    (reject,) = outcome.rejects
    assert json.dumps(readings[900]) in reject.raw


def test_rejects_are_the_same_each_time(live_site: Site) -> None:
    messages = [reading("x"), Message("a", b"", NOW), Message(RAIL, b"[1, {}]", NOW), reading("y")]
    first, second = (Decoder(live_site, source="x").decode(messages, NOW) for _ in range(2))
    assert first == second
    assert len(first.rejects) == 4


def lags(decoder: Decoder, messages: list[Message]) -> dict[str, tuple[int, float | None, int]]:
    return {
        word.name: (word.readings, word.lag_median_s, word.lag_count)
        for word in decoder.decode(messages, NOW).sources
    }


def test_lag_is_told_by_source(decoder: Decoder) -> None:
    messages = [
        reading(1),
        reading(0, at=NOW + 60 * S, topic="bondtrail/quay/rail-2/resistance"),
        Message("plc", json.dumps({"t": NOW - S, "run": 1}).encode(), NOW),
        Message("bare/1/ohm", b"1", NOW),
    ]
    assert lags(decoder, messages) == {
        "mqtt rail-1": (1, 5.0, 1),
        "mqtt rail-2": (1, -60.0, 1),
        "mqtt plc": (1, 1.0, 1),
        "mqtt bare/1/ohm": (1, None, 0),  # its time is ours: nothing is known of its clock
    }


@pytest.mark.parametrize(
    "about",
    [{"is_repeat": True}, {"is_retained": True}, {"is_prompt": False}],
    ids=["redelivered", "retained", "waited-at-the-broker"],
)
def test_only_what_came_live_tells_of_a_clock(decoder: Decoder, about: dict[str, Any]) -> None:
    messages = [reading(1, at=AT - 1000 * S, **about), reading(1, at=AT)]
    count = 1 if about.get("is_repeat") else 2  # what was there before is counted already
    assert lags(decoder, messages) == {"mqtt rail-1": (count, 5.0, 1)}


def test_rejects_that_the_broker_sends_again_are_counted_once(decoder: Decoder) -> None:
    def counts(*messages: Message) -> list[int]:
        return [reject.count for reject in decoder.decode(messages, NOW).rejects]

    assert counts(reading("x", is_repeat=True)) == [1]  # nobody knows whether it was kept before
    assert counts(reading("x", is_repeat=True), reading("x")) == [1]
    assert counts(reading("x"), reading("x"), reading("x", is_repeat=True)) == [2]
    later = replace(reading("x", at=AT + S, is_repeat=True), arrived=NOW + 5 * S)
    (reject,) = decoder.decode([later], NOW).rejects
    assert (reject.count, reject.at, reject.time) == (0, NOW + 5 * S, AT + S)
    next_day = replace(later, arrived=NOW + 86_400 * S)
    assert counts(next_day) == [1]  # a row of its own


# A defect of ours.


def broken(decoder: Decoder, monkeypatch: pytest.MonkeyPatch, where: str) -> None:
    """Have a message with the value 13 meet a defect: as it is gathered, or in the whole batch."""
    if where == "gathering":
        take = decoder._topics[FLOW]

        def gather(message: Message, index: int, columns: Columns) -> None:
            if b"13" in message.payload:
                raise ZeroDivisionError
            take(message, index, columns)

        monkeypatch.setitem(decoder._topics, FLOW, gather)
        return

    def judging(columns: Columns, *rest: Any) -> Judged:
        if any(value == 13 for value in columns.values):
            raise ZeroDivisionError
        return judge(columns, *rest)

    monkeypatch.setattr(decoding, "judge", judging)


@pytest.mark.parametrize("where", ["gathering", "judging"])
def test_a_message_that_shows_a_defect_is_kept_and_stops_no_others(
    decoder: Decoder,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
    where: str,
) -> None:
    broken(decoder, monkeypatch, where)
    strange = Message("spBv1.0/plant/NDATA/gate", b"\xff", NOW)
    messages = [
        reading(1, at=AT),
        reading(13, at=AT + S),
        reading("x", at=AT + 2 * S),
        strange,
        reading(0, at=AT + 3 * S),
        reading(13, at=AT + 4 * S),
    ]
    outcome = Outcome(decoder.decode(messages, NOW))
    assert [row[1] for row in outcome.rows] == [AT, AT + 3 * S]
    defects = [reject for reject in outcome.rejects if "please report it" in reject.reason]
    assert [(reject.where, reject.count, reject.raw) for reject in defects] == [
        (f"topic {FLOW}", 2, messages[1].payload.decode())
    ]
    assert len(outcome.rejects) == 3
    assert caplog.text.count("please report this") == 1  # not with each message
    assert "ZeroDivisionError" in caplog.text


# Our own clock.


@pytest.mark.parametrize(
    ("messages", "until"),
    [
        pytest.param([reading(1, at=NOW + 2 * HOUR)], NOW + HOUR, id="all"),
        pytest.param(
            [reading(1, at=NOW + 2 * HOUR), reading("x", at=NOW + 3 * HOUR)],
            NOW + 2 * HOUR,
            id="whatever-their-values",
        ),
        pytest.param(
            [reading(1, at=NOW + 2 * HOUR), Message("plc", b'{"run": 1}', NOW)],
            NOW + HOUR,
            id="one-has-no-time",
        ),
        pytest.param([reading(1, at=NOW + 2 * HOUR), reading(1)], None, id="one-is-not"),
        pytest.param([reading(1, at=NOW + HOUR)], None, id="an-hour"),
        pytest.param([Message("plc", b'{"run": 1}', NOW)], None, id="none-has-a-time"),
        pytest.param([Message(FLOW, b"{", NOW)], None, id="no-reading"),
        pytest.param([], None, id="nothing"),
    ],
)
def test_what_lies_ahead_altogether_waits_while_our_clock_is_in_doubt(
    decoder: Decoder, messages: list[Message], until: int | None
) -> None:
    waits = decoder.decode(messages, NOW, doubts_clock=True)
    assert waits.ahead_until == until
    if until is not None:
        assert waits == Decoded(ahead_until=until)
        assert decoder.close(NOW).sources == []
    assert decoder.decode(messages, NOW).ahead_until is None


def test_readings_that_are_refused_for_their_clock_tell_of_it(decoder: Decoder) -> None:
    messages = [reading(1, at=NOW + 7200 * S), reading("x", at=AT)]
    assert lags(decoder, messages) == {"mqtt rail-1": (0, -7200.0, 1)}


def test_word_of_sources_waits_and_is_not_lost(decoder: Decoder) -> None:
    assert lags(decoder, [reading(1)])
    assert lags(decoder, [reading(1), reading(0)]) == {}
    assert decoder.tick(NOW + EVERY_NS - 1).sources == []
    assert decoder.tick(NOW + EVERY_NS).sources == [Source("mqtt rail-1", 2, NOW, 5.0, 0.0, 3)]
    decoder.decode([reading(1)], NOW + EVERY_NS)
    assert [word.readings for word in decoder.close(NOW + EVERY_NS).sources] == [1]


def death(node: str) -> Message:
    return Message(f"spBv1.0/plant/NDEATH/{node}", b"", NOW)


def test_who_gives_a_point_is_told_and_known_again_after_a_restart(live_site: Site) -> None:
    data = Payload(timestamp=AT // 1_000_000, metrics=[Payload.Metric(name="PRM-101", int_value=1)])
    message = Message("spBv1.0/plant/NDATA/gate", data.SerializeToString(), NOW)
    told = Decoder(live_site, source="x").decode([message], NOW).given
    assert told == [Given("rail-1.permissive", "sparkplug plant/gate", "", "PRM-101")]
    decoder = Decoder(live_site, source="x")
    decoder.remember([replace(told[0], time=AT, value=1.0)])
    outcome = Outcome(decoder.decode([death("elsewhere"), death("gate")], NOW))
    assert outcome.rows == [("rail-1.permissive", NOW, 1.0, 2)]
    assert outcome.is_whole


def test_what_is_due_is_done_though_messages_keep_coming(live_site: Site) -> None:
    decoder = Decoder(live_site, source="x")
    decoder.remember(
        [Given("rail-1.permissive", "sparkplug plant/gate", "", "PRM-101", AT, 1.0, 0)]
    )
    outcome = decoder.decode([reading(1)], NOW)
    assert [topic for topic, _ in outcome.publish] == ["spBv1.0/plant/NCMD/gate"]


def test_another_site_file_brings_its_topics(decoder: Decoder) -> None:
    decoder.decode([reading("x")], NOW)
    decoder.follow(parse_site(SITE.replace('"plc#run"', '"plc2#run"')))
    assert "plc2" in decoder.filters()
    outcome = Outcome(decoder.decode([Message("plc2", b'{"run": 1}', NOW), reading("y")], NOW))
    assert [row[0] for row in outcome.rows] == ["rail-1.running"]
    assert [reject.raw for reject in outcome.rejects] == [reading("y").payload.decode()]


# Sparkplug B: docs/mqtt.md names the rules, tests/ingest/live/sparkplug holds them.


def birth(*metrics: str, value: bool = True, at: int = AT) -> Message:
    payload = Payload(timestamp=at // 1_000_000, seq=0)
    payload.metrics.add(name="bdSeq", datatype=8, long_value=0)
    for name in metrics:
        payload.metrics.add(name=name, datatype=11, boolean_value=value, timestamp=at // 1_000_000)
    return Message("spBv1.0/quay/NBIRTH/gateway", payload.SerializeToString(), NOW)


def test_sparkplug_is_taken_beside_the_others(decoder: Decoder) -> None:
    own = reading(0, at=AT + S, topic=f"{RAIL}/permissive")
    outcome = Outcome(decoder.decode([own, birth("PRM-101")], NOW))
    assert outcome.rows == [
        ("rail-1.permissive", AT + S, 0.0, 0),
        ("rail-1.permissive", AT, 1.0, 0),
    ]
    assert outcome.is_whole
    assert {word.name: word.readings for word in outcome.decoded.sources} == {
        "mqtt rail-1": 1,
        "sparkplug quay/gateway": 1,
    }


def test_unknown_metric_is_counted_and_births_are_asked_for(decoder: Decoder) -> None:
    outcome = Outcome(decoder.decode([birth("PRM-101", "LEVEL-7")], NOW))
    assert len(outcome.rows) == 1
    assert [reject.where for reject in outcome.rejects] == ["topic spBv1.0/quay/NBIRTH/gateway"]
    assert outcome.is_whole
    unborn = Payload(timestamp=AT // 1_000_000, seq=3)
    unborn.metrics.add(alias=7, datatype=11, boolean_value=True)
    message = Message("spBv1.0/quay/NDATA/other", unborn.SerializeToString(), NOW)
    (ask,) = decoder.decode([message], NOW).publish
    assert ask[0] == "spBv1.0/quay/NCMD/other"


def test_what_waits_at_the_end_is_told(decoder: Decoder) -> None:
    decoder.decode([birth("PRM-101")], NOW)
    early = Payload(timestamp=NOW // 1_000_000, seq=9)
    early.metrics.add(alias=7, datatype=11, boolean_value=True)
    early.metrics.add(name="PRM-101", boolean_value=False)
    message = Message("spBv1.0/quay/NDATA/gateway", early.SerializeToString(), NOW)
    assert decoder.decode([message], NOW).batch == {}
    outcome = Outcome(decoder.close(NOW))
    assert outcome.rows == [("rail-1.permissive", NOW // 1_000_000 * 1_000_000, 0.0, 0)]
    assert [reject.count for reject in outcome.rejects] == [1]
    assert [word.readings for word in outcome.decoded.sources] == [1]


def test_garbage_on_a_sparkplug_topic_is_rejected(take: Take) -> None:
    assert len(take("spBv1.0/quay/NDATA/gateway", b"\xff\xff\xff").rejects) == 1
