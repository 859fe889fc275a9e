"""Blocks are what they were, or no block at all."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bondtrail.samples import Samples
from store.blocks import (
    BlockError,
    blank,
    checksum,
    decode,
    decode_batch,
    decode_into,
    decode_times,
    encode,
    encode_batch,
    encode_times,
)

T0 = 1_767_225_600_000_000_000
A_FEW = Samples.of([T0, T0 + 7, T0 + 9], [0.25, np.inf, -1.5], [0, 1, 2])

# Readings have a few decimals and open circuits; the rest is for the sake of the rest.
readings = st.one_of(st.integers(-(10**6), 10**6).map(lambda number: number / 100), st.just(np.inf))
values = st.one_of(st.floats(allow_nan=False), readings)
any_times = st.integers(-(2**63), 2**63 - 1)


def listed(value: st.SearchStrategy[float]) -> st.SearchStrategy[Samples]:
    rows = st.lists(st.tuples(any_times, value, st.integers(0, 255)), max_size=40)
    return rows.map(lambda some: Samples.of(*zip(*some, strict=True)) if some else Samples.empty())


any_samples = st.one_of(listed(values), listed(readings))


@settings(max_examples=60)
@given(samples=any_samples)
def test_any_samples_come_back_as_they_were(samples: Samples) -> None:
    assert decode(encode(samples)) == samples


@settings(max_examples=40)
@given(parts=st.lists(st.tuples(st.integers(1, 2**40), any_samples), unique_by=lambda p: p[0]))
def test_any_batch_comes_back_as_it_was(parts: list[tuple[int, Samples]]) -> None:
    batch = decode_batch(encode_batch(parts))
    assert batch.points.tolist() == [point_id for point_id, _ in parts]
    assert [batch.of(point_id) for point_id, _ in parts] == [samples for _, samples in parts]
    assert batch.of(2**41) == Samples.empty()


@pytest.mark.parametrize(
    "value",
    [
        pytest.param([0.0, -0.0], id="two-zeros"),
        pytest.param([-np.inf, np.inf], id="two-infinities"),
        pytest.param([1e300, 5e-324], id="huge-and-tiny"),
        pytest.param([2.37, 0.1 + 0.2], id="not-quite-a-decimal"),
        pytest.param([2.0**31, -(2.0**31)], id="past-32-bits"),
        pytest.param([0.25] * 100 + [1 / 3], id="decimals-until-the-last"),
        pytest.param([np.inf] * 3, id="open-throughout"),
    ],
)
def test_values_come_back_to_the_last_bit(value: list[float]) -> None:
    samples = Samples.of(T0 + np.arange(len(value)), value)
    back = decode(encode(samples)).value
    assert np.array_equal(back.view(np.int64), samples.value.view(np.int64))


def test_a_reading_a_second_takes_little_room() -> None:
    """Half of what the usual column formats take: 3.0 bytes were measured for Parquet."""
    rng = np.random.default_rng(1)
    jitter = rng.integers(-20, 21, 86_400) * 1_000_000
    value = np.round(2.5 + rng.normal(0, 0.04, 86_400), 2)
    value[30_000:40_000] = np.inf
    samples = Samples.of(T0 + 1_000_000_000 * np.arange(86_400) + jitter, value)
    assert len(encode(samples)) < 1.4 * len(samples)


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


@given(times=st.sets(any_times, max_size=40).map(sorted))
def test_times_alone_come_back_as_they_were(times: list[int]) -> None:
    given = np.array(times, np.int64)
    assert np.array_equal(decode_times(encode_times(given)), given)


def test_steady_times_take_next_to_no_room() -> None:
    assert len(encode_times(T0 + 10**9 * np.arange(86_400))) < 100


TIMES = encode_times(np.arange(100) ** 2)


@pytest.mark.parametrize(
    "block",
    [
        pytest.param(b"", id="nothing"),
        pytest.param(TIMES[:10], id="a-head-cut-off"),
        pytest.param(TIMES[:-5], id="cut-off"),
        pytest.param(b"\x09" + TIMES[1:], id="another-layout"),
        pytest.param(TIMES[:4] + b"\xff\xff\xff\xff" + TIMES[8:], id="another-size"),
        pytest.param(encode(A_FEW), id="a-block-of-samples"),
    ],
)
def test_what_is_no_block_of_times_is_refused(block: bytes) -> None:
    with pytest.raises(BlockError):
        decode_times(block)
