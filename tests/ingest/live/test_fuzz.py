"""Hostile messages: whatever comes, it is taken or told of, and what is good beside it is taken."""

from __future__ import annotations

import datetime as dt
import json
import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bondtrail.samples import Samples
from bondtrail.site import Role, Site
from ingest.live import mapped, native
from ingest.live.columns import AHEAD, EARLIEST
from ingest.live.decoding import Decoded, Decoder
from ingest.live.messages import Message
from ingest.values import NO_FAULT, read_values, role_code
from tests.ingest.live.conftest import NOW, RAIL, S

AT = NOW - 5 * S
MS = AT // 1_000_000
POINT = f"{RAIL}/running"
TOPICS = [
    *(f"{RAIL}/{role}" for role in Role),
    *(RAIL, "bondtrail/quay/rail-2", "plc", "monitor/M1/1", "bare/1/ohm"),
    *("spBv1.0/quay/NDATA/gateway", "bondtrail/quay/$service/x", "elsewhere"),
]

WORDS = ["OL", "open", "bonded", "true", "2.3", "1e400", "", " ", "nan", "2,5", "\0", "\ud800"]
STAMPS = ["2026-03-01T21:19:55Z", "2026-03-01T22:19:55.123456789+01:00", "2026-03-01", "now"]
NUMBERS = [0, 1, -1, 0.5, -0.0, 2**53 + 1, 2**63, 2**64, 10**30, 1e300, 1e308, 5e-324]

values = st.one_of(
    st.sampled_from([*NUMBERS, *WORDS, None, True, False, [], {}, math.nan, math.inf, -math.inf]),
    st.floats(),
    st.integers(),
    st.text(max_size=5),
)
times = st.one_of(
    st.sampled_from([*STAMPS, MS, MS * 1000, AT, AT // S, str(MS), 0, None, True, 1.5, 2**63]),
    st.sampled_from(NUMBERS),
    st.datetimes().map(lambda moment: f"{moment.isoformat()}Z"),
    st.integers(),
)
marks = st.one_of(st.sampled_from([0, 1, 2, None, 3, "good", "bad", 1.0, 192, [], True]), values)
keys = st.sampled_from(
    ["t", "v", "q", *Role, "ts", "time", "quality", "FT-101", "flow.rate", "run", "ohm", "state"]
)
anything = st.recursive(
    values,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(keys, inner, max_size=4),
    max_leaves=6,
)


@st.composite
def objects(draw: st.DrawFn) -> str:
    """An object near to what is expected: members may stand twice, or be anything."""
    members = draw(
        st.lists(
            st.one_of(
                st.tuples(st.sampled_from(["t", "ts"]), times),
                st.tuples(st.just("v"), values),
                st.tuples(st.just("q"), marks),
                st.tuples(keys, st.one_of(anything, st.just({"rate": 1, "code": 2}))),
            ),
            max_size=6,
        )
    )
    return "{" + ",".join(f"{json.dumps(key)}:{json.dumps(value)}" for key, value in members) + "}"


@st.composite
def payloads(draw: st.DrawFn) -> bytes:
    """A payload near to what is expected, perhaps with something wrong put into it."""
    items = draw(st.lists(st.one_of(objects(), anything.map(json.dumps)), max_size=4))
    alone = len(items) == 1 and draw(st.booleans())
    text = items[0] if alone else f"[{draw(st.sampled_from([',', ' , '])).join(items)}]"
    raw = text.encode("utf-8", "surrogatepass")
    if draw(st.integers(0, 4)) == 0:
        at = draw(st.integers(0, len(raw)))
        raw = raw[:at] + draw(st.binary(max_size=4)) + raw[at + draw(st.integers(0, 3)) :]
    return raw


def check(decoded: Decoded) -> None:
    """Nothing is lost, and what was taken is what a point of its role can be."""
    taken = sum(len(samples) for samples in decoded.batch.values())
    assert decoded.read == taken + sum(reject.count for reject in decoded.rejects)
    for reject in decoded.rejects:
        assert reject.reason
        assert reject.count > 0
        (reject.where + reject.raw + reject.reason).encode()
        assert "\0" not in reject.where + reject.raw
    for point, samples in decoded.batch.items():
        role = Role(point.partition(".")[2])
        for value in samples.value.tolist():
            assert IN_RANGE[role](value)
        assert set(samples.quality.tolist()) <= {0, 1, 2}
        assert all(EARLIEST <= time <= NOW + AHEAD for time in samples.time.tolist())


IN_RANGE: dict[Role, Callable[[float], bool]] = {
    Role.RESISTANCE: lambda value: value >= 0,
    Role.STATUS: lambda value: value in (0, 1, 2, 3),
    Role.FLOW: math.isfinite,
    Role.PERMISSIVE: lambda value: value in (0, 1),
    Role.RUNNING: lambda value: value in (0, 1),
    Role.BYPASS: lambda value: value in (0, 1),
}


@settings(max_examples=60, derandomize=True)
@given(st.lists(st.tuples(st.sampled_from(TOPICS), st.binary(max_size=60)), max_size=5))
def test_any_bytes(live_site: Site, parts: list[tuple[str, bytes]]) -> None:
    decoder = Decoder(live_site, source="x")
    check(decoder.decode([Message(topic, payload, NOW) for topic, payload in parts], NOW))


@settings(max_examples=60, derandomize=True)
@given(st.text(max_size=20), st.sampled_from([b"1", b'{"t": 1, "v": 1}', b"\xff"]))
def test_any_topic(live_site: Site, topic: str, payload: bytes) -> None:
    decoder = Decoder(live_site, source="x")
    own = [Message(front + topic, payload, NOW) for front in ("", "bondtrail/quay/", f"{RAIL}/")]
    check(decoder.decode(own, NOW))


@settings(max_examples=60, derandomize=True)
@given(st.lists(st.tuples(st.sampled_from(TOPICS), payloads(), st.booleans()), max_size=4))
def test_good_readings_beside_anything_are_taken(
    live_site: Site, parts: list[tuple[str, bytes, bool]]
) -> None:
    decoder = Decoder(live_site, source="x")
    messages = [Message(topic, raw, NOW, is_retained=kept) for topic, raw, kept in parts]
    good = Message(POINT, b'{"t": 1772399990, "v": 1}', NOW)
    for at in range(len(messages) + 1):
        decoded = decoder.decode([*messages[:at], good, *messages[at:]], NOW)
        check(decoded)
        times = decoded.batch["rail-1.running"].time.tolist()
        assert 1772399990 * S in times


@settings(max_examples=80, derandomize=True)
@given(objects().map(str.encode), st.booleans())
def test_good_element_of_an_array_is_taken_beside_anything(
    live_site: Site, other: bytes, first: bool
) -> None:
    decoder = Decoder(live_site, source="x")
    good = b'{"t": 1772399990, "v": 1}'
    parts = [good, other] if first else [other, good]
    decoded = decoder.decode([Message(POINT, b"[" + b",".join(parts) + b"]", NOW)], NOW)
    check(decoded)
    assert 1772399990 * S in decoded.batch["rail-1.running"].time.tolist()


@settings(max_examples=50, derandomize=True)
@given(st.lists(st.floats(allow_nan=False), min_size=1, max_size=20))
def test_number_means_what_its_text_means_in_a_file(live_site: Site, numbers: list[float]) -> None:
    """The same digits through the code that reads the columns of files, and through Python."""
    texts = [repr(number) for number in numbers if math.isfinite(number)]
    items = [f'{{"t": {MS + place}, "v": {text}}}' for place, text in enumerate(texts)]
    payload = f"[{','.join(items)}]".encode()
    message = Message("bondtrail/quay/rail-2/resistance", payload, NOW)
    decoded = Decoder(live_site, source="x").decode([message], NOW)
    roles = np.full(len(texts), role_code(Role.RESISTANCE), np.uint8)
    told, faults = read_values(pa.array(texts, pa.string()), roles)
    samples = decoded.batch.get("rail-2.resistance", Samples.empty())
    assert samples.value.tolist() == told[faults == NO_FAULT].tolist()
    assert samples.value.tolist() == [float(text) for text in texts if float(text) >= 0]


@settings(max_examples=50, derandomize=True)
@given(
    st.lists(
        st.datetimes(dt.datetime(2000, 1, 3), dt.datetime(2026, 2, 1), timezones=st.timezones()),
        max_size=5,
    )
)
def test_written_times_are_those_of_datetime(live_site: Site, moments: list[dt.datetime]) -> None:
    moments = [moment for moment in moments if not moment.utcoffset() % dt.timedelta(minutes=1)]
    items = [f'{{"t": "{moment.isoformat()}", "v": 1}}' for moment in moments]
    decoded = Decoder(live_site, source="x").decode(
        [Message(POINT, f"[{','.join(items)}]".encode(), NOW)], NOW
    )
    epoch = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
    expected = [(moment - epoch) // dt.timedelta(microseconds=1) * 1000 for moment in moments]
    assert decoded.batch.get("rail-1.running", Samples.empty()).time.tolist() == expected


class _Never:
    """Stands for a quick way that takes nothing."""

    def decode(self, _: bytes) -> Any:
        raise ValueError("never")


def _never(_: bytes) -> Any:
    raise ValueError("never")


@settings(max_examples=80, derandomize=True)
@given(st.sampled_from([f"{RAIL}/flow", POINT, RAIL, "plc", "monitor/M1/1"]), payloads())
def test_quick_way_means_the_same_as_the_exact_one(
    live_site: Site, topic: str, payload: bytes
) -> None:
    message = Message(topic, payload, NOW)
    quick = Decoder(live_site, source="x").decode([message], NOW)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(native, "_POINT", _Never())
        patch.setattr(native, "_STATION", _Never())
        patch.setattr(mapped, "read_quickly", _never)
        exact = Decoder(live_site, source="x").decode([message], NOW)
    assert quick == exact


@pytest.mark.parametrize("topic", [POINT, RAIL, "plc", "bare/1/ohm"])
@pytest.mark.parametrize("item", ["1", "{}", "[]", '""', '{"t":1,"v":1}', '{"q":9,"run":1}'])
def test_huge_array_of_garbage_is_told_in_few_rows(live_site: Site, topic: str, item: str) -> None:
    size = 100_000 if item == "1" else 5000
    payload = f"[{','.join([item] * size)}]".encode()
    decoded = Decoder(live_site, source="x").decode([Message(topic, payload, NOW)], NOW)
    check(decoded)
    assert decoded.read >= size
    assert len(decoded.rejects) <= 2
