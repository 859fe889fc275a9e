from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.live.cutting import (
    MOST_PACKET,
    MOST_PAYLOAD,
    PUBACK,
    PUBCOMP,
    MalformedError,
    Splitter,
    acknowledgements,
)

Taken = tuple[int, bytes, int, bytes]

PINGRESP = b"\xd0\x00"
SUBACK = b"\x90\x04\x00\x01\x00\x01"


def varint(value: int) -> bytes:
    """MQTT 5, section 1.5.5: seven bits a byte, the lowest first."""
    out = bytearray()
    while True:
        value, low = divmod(value, 128)
        out.append(low | (128 if value else 0))
        if not value:
            return bytes(out)


def publish(
    topic: bytes, payload: bytes, *, qos: int = 1, mid: int = 7, properties: bytes | None = None
) -> bytes:
    """MQTT 5, section 3.3: topic, identifier unless QoS is 0, properties (not on 3.1.1)."""
    body = len(topic).to_bytes(2, "big") + topic
    body += mid.to_bytes(2, "big") if qos else b""
    body += b"" if properties is None else varint(len(properties)) + properties
    body += payload
    return bytes([0x30 | qos << 1]) + varint(len(body)) + body


def split(pieces: list[bytes], *, has_properties: bool = False) -> tuple[list[Taken], bytes]:
    taken: list[Taken] = []
    splitter = Splitter(lambda *message: taken.append(message), has_properties=has_properties)
    rest = b"".join(splitter.feed(piece) for piece in pieces)
    return taken, rest


def test_messages_are_taken_and_all_else_is_passed_on() -> None:
    stream = SUBACK + publish(b"a/b", b"one") + PINGRESP + publish(b"a/c", b"", qos=0) + PINGRESP
    taken, rest = split([stream])
    assert taken == [(0x32, b"a/b", 7, b"one"), (0x30, b"a/c", 0, b"")]
    assert rest == SUBACK + PINGRESP + PINGRESP


def test_properties_are_no_part_of_a_payload() -> None:
    content_type = b"\x03\x00\x04json"  # MQTT 5, section 3.3.2.3.9
    stream = publish(b"a", b"x", properties=content_type) + publish(b"b", b"y", properties=b"")
    taken, _ = split([stream], has_properties=True)
    assert [message[3] for message in taken] == [b"x", b"y"]


def test_a_message_of_qos_2_is_left_to_paho() -> None:
    stream = publish(b"a", b"x", qos=2)
    assert split([stream]) == ([], stream)


@given(
    messages=st.lists(
        st.tuples(st.binary(min_size=1, max_size=40), st.binary(max_size=400), st.integers(0, 1)),
        max_size=12,
    ),
    has_properties=st.booleans(),
    data=st.data(),
)
def test_any_cut_of_the_stream_gives_the_same_messages(
    messages: list[tuple[bytes, bytes, int]], has_properties: bool, data: st.DataObject
) -> None:
    none = b"" if has_properties else None
    packets = [publish(topic, load, qos=qos, properties=none) for topic, load, qos in messages]
    stream = PINGRESP.join([b"", *packets, b""])
    edges = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=20)))
    pieces = [stream[a:b] for a, b in zip([0, *edges], [*edges, len(stream)], strict=True)]
    taken, rest = split(pieces, has_properties=has_properties)
    assert [(topic, load) for _, topic, _, load in taken] == [
        (topic, load) for topic, load, _ in messages
    ]
    assert rest == PINGRESP * (len(packets) + 1)


@pytest.mark.parametrize("piece", [1 << 16, 1 << 30], ids=["as-it-arrives", "at-once"])
@pytest.mark.parametrize("qos", [0, 1])
@pytest.mark.parametrize("properties", [None, b"", b"\x03\x00\x04json"])
def test_a_huge_message_is_cut_and_what_follows_is_whole(
    piece: int, qos: int, properties: bytes | None
) -> None:
    huge = publish(b"a/b", b"[1,2" + bytes(5 << 20), qos=qos, properties=properties)
    after = publish(b"c", b"next", properties=properties)
    stream = PINGRESP + huge + after + PINGRESP
    pieces = [stream[at : at + piece] for at in range(0, len(stream), piece)]
    taken, rest = split(pieces, has_properties=properties is not None)
    (_, topic, mid, payload), following = taken
    assert (topic, mid) == (b"a/b", 7 if qos else 0)
    assert payload.startswith(b"[1,2")
    assert len(payload) == MOST_PAYLOAD + 1 or (piece == 1 << 30 and len(payload) > MOST_PAYLOAD)
    assert following[1:] == (b"c", 7, b"next")
    assert rest == PINGRESP * 2


def test_properties_of_a_megabyte_do_not_pass_for_a_payload() -> None:
    huge = publish(b"a", b"x", properties=bytes(2 << 20))
    taken, _ = split([huge[:1000], huge[1000:]], has_properties=True)
    assert [len(message[3]) for message in taken] == [MOST_PAYLOAD + 1]


def test_the_longest_payload_that_is_taken_whole_is_whole() -> None:
    load = bytes(MOST_PAYLOAD)
    stream = publish(b"a" * 65_535, load)
    assert len(stream) < MOST_PACKET
    taken, _ = split([stream[:100], stream[100:]])
    assert taken == [(0x32, b"a" * 65_535, 7, load)]


@pytest.mark.parametrize(
    "stream",
    [
        pytest.param(b"\x32\xff\xff\xff\xff\x01", id="length-of-five-bytes"),
        pytest.param(b"\x32\x03\x00\x09a", id="topic-longer-than-the-packet"),
        pytest.param(b"\x90\xff\xff\xff\x7f", id="huge-and-no-message"),
    ],
)
def test_what_is_no_mqtt_ends_the_connection(stream: bytes) -> None:
    with pytest.raises(MalformedError):
        split([stream])


def test_acknowledgements_are_one_piece() -> None:
    # MQTT 5, sections 3.4 and 3.7: type, a length of 2, the identifier; success may be left out.
    assert acknowledgements([PUBACK | 1, PUBCOMP | 0x1234]) == bytes.fromhex("4002000170021234")
