"""The schema against the bytes of the standard, written out by hand, and its generated module.

Numbers and types of fields: published in the standard's schema; those of property sets (keys 1,
values 2; type 1, null 2, integer 3) from memory.

Sections beside tests are those of the Sparkplug specification 3.0.0 (ISO/IEC 20237); their titles
are from memory.
"""

from __future__ import annotations

import struct
from pathlib import Path

import pytest
from google.protobuf.descriptor_pb2 import FileDescriptorProto, FileDescriptorSet
from grpc_tools import protoc

from ingest.live.sparkplug import sparkplug_pb2
from ingest.live.sparkplug.payloads import parsed
from ingest.live.sparkplug.sparkplug_pb2 import Payload

ROOT = Path(sparkplug_pb2.__file__).parents[3]
PROTO = "ingest/live/sparkplug/sparkplug.proto"

# Protocol Buffers, "Encoding": a tag is number * 8 + wire type (0 varint, 1 eight bytes, 2 bytes
# with their length, 5 four bytes); a varint has seven bits a byte, the lowest first.
METRIC = bytes(
    [
        *(0x0A, 0x02, 0x46, 0x54),  # 1, bytes: name "FT"
        *(0x10, 0xAC, 0x02),  # 2, varint: alias 300 = 0b10_0101100
        *(0x18, 0x80, 0x98, 0xA6, 0x8A, 0xCA, 0x33),  # 3, varint: timestamp
        *(0x20, 0x09),  # 4, varint: data type 9, Float
        *(0x28, 0x01),  # 5, varint: is_historical
        *(0x65, 0x00, 0x00, 0x20, 0xC0),  # 12, four bytes: -2.5
    ]
)


def varint(number: int) -> bytes:
    """A base-128 varint, by the arithmetic that the encoding names."""
    out = bytearray()
    while number >= 128:
        out.append(number % 128 + 128)
        number //= 128
    return bytes([*out, number])


def test_metric_written_out_by_hand_is_read() -> None:
    # Section "Google Protocol Buffer Schema".
    payload = bytes([0x08, 0x05, 0x12, len(METRIC)]) + METRIC + bytes([0x18, 0xFF, 0x01])
    found = parsed(payload)
    assert found is not None
    assert (found.timestamp, found.seq, len(found.metrics)) == (5, 255, 1)
    metric = found.metrics[0]
    assert (metric.name, metric.alias, metric.datatype) == ("FT", 300, 9)
    # 0x00, 0x18, 0x26, 0x0A, 0x4A, 0x33 at 2^0, 2^7, 2^14, 2^21, 2^28, 2^35
    assert (
        metric.timestamp == 0x18 * 2**7 + 0x26 * 2**14 + 0x0A * 2**21 + 0x4A * 2**28 + 0x33 * 2**35
    )
    assert (metric.is_historical, metric.WhichOneof("value")) == (True, "float_value")
    assert metric.float_value == -2.5


@pytest.mark.parametrize(
    ("raw", "kind", "value"),
    [
        pytest.param(b"\x50" + varint(2**32 - 1), "int_value", 2**32 - 1, id="10-int"),
        pytest.param(b"\x58" + varint(2**64 - 1), "long_value", 2**64 - 1, id="11-long"),
        pytest.param(b"\x65" + struct.pack("<f", 1.5), "float_value", 1.5, id="12-float"),
        pytest.param(b"\x69" + struct.pack("<d", 2.3), "double_value", 2.3, id="13-double"),
        pytest.param(b"\x70\x01", "boolean_value", True, id="14-bool"),
        pytest.param(b"\x7a\x02OL", "string_value", "OL", id="15-string"),
        pytest.param(b"\x82\x01\x02\xff\xfe", "bytes_value", b"\xff\xfe", id="16-bytes"),
        pytest.param(b"\x8a\x01\x02\x08\x01", "dataset_value", b"\x08\x01", id="17-data-set"),
        pytest.param(b"\x92\x01\x03\x0a\x01\x31", "template_value", b"\x0a\x011", id="18-template"),
    ],
)
def test_each_kind_of_value_has_its_number(raw: bytes, kind: str, value: object) -> None:
    # Section "Google Protocol Buffer Schema".
    found = parsed(b"\x12" + varint(len(raw)) + raw)
    assert found is not None
    assert found.metrics[0].WhichOneof("value") == kind
    assert getattr(found.metrics[0], kind) == value


def test_quality_written_out_by_hand_is_read() -> None:
    # Section "Quality Codes".
    value = b"\x08\x03" + b"\x18" + varint(500)  # type Int32, int_value
    properties = b"\x0a\x07Quality" + b"\x12" + varint(len(value)) + value
    metric = b"\x10\x01" + b"\x4a" + varint(len(properties)) + properties + b"\x38\x01"
    found = parsed(b"\x12" + varint(len(metric)) + metric)
    assert found is not None
    assert list(found.metrics[0].properties.keys) == ["Quality"]
    assert found.metrics[0].properties.values[0].int_value == 500
    assert found.metrics[0].is_null


@pytest.mark.parametrize(
    "strange",
    [
        pytest.param(b"\x32\x03abc", id="extension-of-the-payload"),
        pytest.param(b"\xf8\x06\x01", id="field-of-a-later-schema"),
        pytest.param(b"\x22\x02\xff\xfe", id="uuid-that-is-not-utf-8"),
        pytest.param(b"\x2a\x01\x00", id="body"),
    ],
)
def test_what_is_not_looked_at_breaks_nothing(strange: bytes) -> None:
    found = parsed(b"\x18\x07" + strange + b"\x12\x02\x10\x05")
    assert found is not None
    assert (found.seq, found.metrics[0].alias) == (7, 5)


def test_metadata_and_extensions_of_a_metric_break_nothing() -> None:
    metric = b"\x10\x05" + b"\x42\x02\x08\x01" + b"\x9a\x01\x01x" + b"\xa2\x01\x01y" + b"\x70\x01"
    found = parsed(b"\x12" + varint(len(metric)) + metric)
    assert found is not None
    assert found.metrics[0].boolean_value


@pytest.mark.parametrize("raw", [b"\x12\x05\x10", b"\x0b", b'{"t": 1}', b"\xff" * 20])
def test_what_is_no_message_is_told(raw: bytes) -> None:
    assert parsed(raw) is None


def test_templates_nested_without_end_are_not_opened() -> None:
    # Section "Template".
    raw = b""
    for _ in range(5000):
        raw = b"\x12" + varint(len(raw)) + raw  # metrics of a template
        raw = b"\x92\x01" + varint(len(raw)) + raw  # template of a metric
    found = parsed(b"\x12" + varint(len(raw)) + raw)
    assert found is not None
    assert found.metrics[0].WhichOneof("value") == "template_value"


def test_generated_module_is_that_of_the_schema(tmp_path: Path) -> None:
    made = tmp_path / "made.bin"
    arguments = ["protoc", f"-I{ROOT}", f"--descriptor_set_out={made}", str(ROOT / PROTO)]
    assert protoc.main(arguments) == 0
    (compiled,) = FileDescriptorSet.FromString(made.read_bytes()).file
    checked_in = FileDescriptorProto()
    sparkplug_pb2.DESCRIPTOR.CopyToProto(checked_in)
    for file in (compiled, checked_in):
        for message in (file.message_type[0], *file.message_type[0].nested_type):
            for field in message.field:
                field.ClearField("json_name")
    assert compiled == checked_in


def test_sequence_number_nought_is_there() -> None:
    # Section "Payload".
    assert Payload.FromString(b"\x18\x00").HasField("seq")
    assert not Payload.FromString(b"").HasField("seq")
