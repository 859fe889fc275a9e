"""Blocks are what they were, or no block at all."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bondtrail.samples import Samples
from store.blocks import (
    BlockError,
    blank,
    checksum,
    decode,
    decode_batch,
    decode_into,
    encode,
    encode_batch,
)

T0 = 1_767_225_600_000_000_000
A_FEW = Samples.of([T0, T0 + 7, T0 + 9], [0.25, np.inf, -1.5], [0, 1, 2])

any_samples = st.lists(
    st.tuples(
        st.integers(-(2**63), 2**63 - 1),
        st.floats(allow_nan=False),
        st.integers(0, 255),
    ),
    max_size=40,
).map(lambda rows: Samples.of(*(zip(*rows, strict=True) if rows else ([], [], []))))


@given(samples=any_samples)
def test_any_samples_come_back_as_they_were(samples: Samples) -> None:
    assert decode(encode(samples)) == samples


@given(parts=st.lists(st.tuples(st.integers(1, 2**40), any_samples), unique_by=lambda p: p[0]))
def test_any_batch_comes_back_as_it_was(parts: list[tuple[int, Samples]]) -> None:
    batch = decode_batch(encode_batch(parts))
    assert batch.points.tolist() == [point_id for point_id, _ in parts]
    assert [batch.of(point_id) for point_id, _ in parts] == [samples for _, samples in parts]
    assert batch.of(2**41) == Samples.empty()


def test_a_block_goes_straight_into_its_place() -> None:
    room = blank(5)
    room.time[:] = room.value[:] = room.quality[:] = 77
    into = Samples(room.time[1:4], room.value[1:4], room.quality[1:4])
    decode_into(encode(A_FEW), into)
    assert room.time.tolist() == [77, *A_FEW.time.tolist(), 77]
    assert room.value.tolist() == [77, *A_FEW.value.tolist(), 77]
    assert room.quality.tolist() == [77, *A_FEW.quality.tolist(), 77]


def test_a_block_needs_a_place_of_its_own_size() -> None:
    with pytest.raises(BlockError, match="3 samples, expected 4"):
        decode_into(encode(A_FEW), blank(4))


@pytest.mark.parametrize(
    "block",
    [
        pytest.param(b"", id="nothing"),
        pytest.param(b"\x01", id="too-short"),
        pytest.param(b"\x02" + encode(A_FEW)[1:], id="another-layout"),
        pytest.param(encode(A_FEW)[:-30], id="cut"),
        pytest.param(encode(A_FEW)[:20] + b"\xff" * 60, id="no-streams"),
    ],
)
def test_what_is_no_block_is_refused(block: bytes) -> None:
    with pytest.raises(BlockError):
        decode(block)


@pytest.mark.parametrize("change", [slice(0, 0), slice(0, 12), slice(0, 30)])
def test_what_is_no_batch_is_refused(change: slice) -> None:
    with pytest.raises(BlockError):
        decode_batch(encode_batch([(1, A_FEW), (2, A_FEW)])[change])


@pytest.mark.parametrize("changed", range(5))
def test_a_checksum_covers_the_block_and_what_its_row_says(changed: int) -> None:
    told = [1, 10, 20, 3, b"block"]
    other = [*told[:changed], b"clock" if changed == 4 else 9, *told[changed + 1 :]]
    assert checksum(*told) == checksum(*told)  # type: ignore[arg-type]
    assert checksum(*told) != checksum(*other)  # type: ignore[arg-type]
