import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from bondtrail.samples import Quality, Samples, Status, concatenate, later_wins

NS = 10**9
FIVE = Samples.of([10, 20, 30, 40, 50], [1.0, 2.0, np.inf, 4.0, 5.0], [0, 1, 2, 0, 0])


def test_codes_are_those_that_stores_and_files_hold() -> None:
    assert [quality.value for quality in Quality] == [0, 1, 2]
    assert {status.name: status.value for status in Status} == {
        "NOT_BONDED": 0,
        "BONDED": 1,
        "FAULT": 2,
        "OFF": 3,
    }


def test_samples_have_their_types_and_are_good_unless_told() -> None:
    samples = Samples.of([1, 2], [3, 4])
    assert (samples.time.dtype, samples.value.dtype, samples.quality.dtype) == (
        np.int64,
        np.float64,
        np.uint8,
    )
    assert samples.quality.tolist() == [Quality.GOOD, Quality.GOOD]
    assert len(samples) == 2


def test_nanoseconds_are_kept_exactly() -> None:
    late = 2**63 - 1
    assert Samples.of([late - 1, late], [0, 0]).time.tolist() == [late - 1, late]


def test_empty_series_has_the_types_of_any_other() -> None:
    empty = Samples.empty()
    assert len(empty) == 0
    assert empty == Samples.of([], [], [])
    assert (empty.time.dtype, empty.value.dtype, empty.quality.dtype) == (
        np.int64,
        np.float64,
        np.uint8,
    )


@pytest.mark.parametrize(
    ("time", "value", "quality"),
    [
        pytest.param([1, 2], [1.0], None, id="value-short"),
        pytest.param([1], [1.0, 2.0], None, id="value-long"),
        pytest.param([1, 2], [1.0, 2.0], [0], id="quality-short"),
        pytest.param([[1, 2]], [1.0, 2.0], [0, 0], id="two-dimensions"),
    ],
)
def test_arrays_of_unlike_length_are_refused(time, value, quality) -> None:
    with pytest.raises(ValueError, match="of one length"):
        Samples.of(time, value, quality)


@pytest.mark.parametrize(
    ("start", "end", "kept"),
    [
        pytest.param(20, 40, [20, 30], id="start-in-end-out"),
        pytest.param(11, 41, [20, 30, 40], id="between-samples"),
        pytest.param(0, 100, [10, 20, 30, 40, 50], id="all"),
        pytest.param(20, 20, [], id="nothing-long"),
        pytest.param(40, 20, [], id="end-before-start"),
        pytest.param(51, 99, [], id="after-all"),
        pytest.param(-99, 10, [], id="before-all"),
        pytest.param(-(2**63), 2**63 - 1, [10, 20, 30, 40, 50], id="widest"),
    ],
)
def test_between_is_half_open(start: int, end: int, kept: list[int]) -> None:
    cut = FIVE.between(start, end)
    assert cut.time.tolist() == kept
    assert len(cut.time) == len(cut.value) == len(cut.quality)


def test_between_keeps_value_and_quality_beside_their_time() -> None:
    assert FIVE.between(20, 40) == Samples.of([20, 30], [2.0, np.inf], [1, 2])


@pytest.mark.parametrize(
    "other",
    [
        pytest.param(Samples.of([1, 2], [3, 5]), id="value"),
        pytest.param(Samples.of([1, 3], [3, 4]), id="time"),
        pytest.param(Samples.of([1, 2], [3, 4], [0, 1]), id="quality"),
        pytest.param(Samples.of([1], [3]), id="length"),
        pytest.param("samples", id="another-type"),
    ],
)
def test_samples_differ_in_any_part(other: object) -> None:
    assert Samples.of([1, 2], [3, 4]) != other


def test_samples_of_equal_arrays_are_equal() -> None:
    assert Samples.of([1, 2], [3, np.inf]) == Samples.of(np.array([1, 2]), (3.0, np.inf), [0, 0])


@pytest.mark.parametrize(
    ("parts", "expected"),
    [
        pytest.param([], Samples.empty(), id="no-parts"),
        pytest.param([Samples.empty()], Samples.empty(), id="empty-part"),
        pytest.param([FIVE], FIVE, id="one"),
        pytest.param(
            [Samples.of([5], [1.0], [2]), Samples.of([3, 4], [2.0, 3.0])],
            Samples.of([5, 3, 4], [1.0, 2.0, 3.0], [2, 0, 0]),
            id="order-is-kept",
        ),
    ],
)
def test_concatenate_puts_parts_one_after_the_other(parts, expected: Samples) -> None:
    assert concatenate(iter(parts)) == expected


@pytest.mark.parametrize(
    ("given_samples", "expected"),
    [
        pytest.param(Samples.empty(), Samples.empty(), id="empty"),
        pytest.param(FIVE, FIVE, id="in-order-already"),
        pytest.param(
            Samples.of([3, 1, 2], [30, 10, 20], [2, 0, 1]),
            Samples.of([1, 2, 3], [10, 20, 30], [0, 1, 2]),
            id="out-of-order",
        ),
        pytest.param(
            Samples.of([7, 7, 7], [1, 2, 3], [0, 0, 2]),
            Samples.of([7], [3], [2]),
            id="all-one-time",
        ),
        pytest.param(
            Samples.of([2, 1, 2, 1], [1, 2, 3, 4]),
            Samples.of([1, 2], [4, 3]),
            id="later-value-wins",
        ),
        pytest.param(Samples.of([5], [1]), Samples.of([5], [1]), id="one"),
    ],
)
def test_later_wins(given_samples: Samples, expected: Samples) -> None:
    assert later_wins(given_samples) == expected


@given(
    hnp.arrays(np.int64, st.integers(0, 60), elements=st.integers(-5, 5)),
    st.randoms(use_true_random=False),
)
def test_later_wins_does_as_a_dictionary_does(time: np.ndarray, random) -> None:
    samples = Samples.of(time, [random.random() for _ in time])
    kept = dict(zip(samples.time.tolist(), samples.value.tolist(), strict=True))
    expected = sorted(kept.items())
    assert later_wins(samples) == Samples.of(
        [moment for moment, _ in expected], [value for _, value in expected]
    )
