"""What goes in comes out: write, bulk, fold and read on both databases."""

from __future__ import annotations

import numpy as np
import pytest

from bondtrail.samples import Samples
from store import PointSummary, Store, Touch, Written, open_store

S = 10**9
T0 = 1_767_225_600 * S
POINT = "rail-1.resistance"
OTHER = "rail-2.flow"


def series(*pairs: tuple[float, float], quality: int = 0) -> Samples:
    """Return samples at seconds after T0."""
    times = [T0 + round(second * S) for second, _ in pairs]
    return Samples.of(times, [value for _, value in pairs], [quality] * len(pairs))


def steady(size: int, *, start: float = 0, value: float = 2.5) -> Samples:
    return Samples.of(T0 + round(start * S) + S * np.arange(size), np.full(size, value))


def put(store: Store, how: str, point: str, samples: Samples) -> Written:
    """Write samples in one of the ways there are."""
    if how == "bulk":
        with store.bulk() as bulk:
            bulk.add(point, samples)
        return bulk.written
    written = store.write({point: samples})
    if how == "folded":
        store.fold()
    return written


ways = pytest.mark.parametrize("how", ["journal", "folded", "bulk"])


def test_an_empty_store_has_nothing(store: Store) -> None:
    assert store.read(POINT) == Samples.empty()
    assert (store.points(), store.touched(), store.check(), store.fold()) == ([], {}, [], 0)


@ways
def test_samples_come_back_as_they_were(store: Store, how: str) -> None:
    samples = Samples.of([T0 + 3, T0 + 10, T0 + 11], [0.25, np.inf, -0.5], [0, 1, 2])
    assert put(store, how, POINT, samples) == Written(new=3)
    back = store.read(POINT)
    assert back == samples
    assert (back.time.dtype, back.value.dtype, back.quality.dtype) == ("i8", "f8", "u1")


@ways
def test_samples_in_any_order_come_back_sorted(store: Store, how: str) -> None:
    put(store, how, POINT, series((5, 1.0), (1, 2.0), (3, 3.0)))
    assert store.read(POINT) == series((1, 2.0), (3, 3.0), (5, 1.0))


@ways
@pytest.mark.parametrize(
    ("again", "counts", "value"),
    [
        pytest.param((7.0, 0), Written(repeated=1), 7.0, id="the-same"),
        pytest.param((8.0, 0), Written(replaced=1), 8.0, id="another-value"),
        pytest.param((7.0, 2), Written(replaced=1), 7.0, id="another-quality"),
    ],
)
def test_a_sample_is_known_by_its_time(
    store: Store, how: str, again: tuple[float, int], counts: Written, value: float
) -> None:
    put(store, how, POINT, series((1, 7.0), (2, np.inf)))
    later = series((1, again[0]), quality=again[1])
    assert put(store, how, POINT, later) == counts
    assert store.read(POINT).value.tolist() == [value, np.inf]
    assert store.read(POINT).quality[0] == again[1]


@ways
def test_an_open_circuit_equals_itself(store: Store, how: str) -> None:
    put(store, how, POINT, series((1, np.inf)))
    assert put(store, how, POINT, series((1, np.inf))) == Written(repeated=1)


@ways
def test_within_a_batch_the_last_of_one_time_stays(store: Store, how: str) -> None:
    written = put(store, how, POINT, series((1, 1.0), (1, 1.0), (1, 2.0), (2, 5.0)))
    assert written == Written(new=2, repeated=1, replaced=1)
    assert store.read(POINT) == series((1, 2.0), (2, 5.0))


@ways
def test_the_first_and_the_last_moment_there_are_can_be_stored(store: Store, how: str) -> None:
    samples = Samples.of([-(2**63), 0, 2**63 - 1], [1.0, 2.0, 3.0])
    for written in (Written(new=3), Written(repeated=3)):
        assert put(store, how, POINT, samples) == written
        assert store.read(POINT) == samples


@ways
@pytest.mark.parametrize(
    ("start", "end", "seconds"),
    [
        pytest.param(None, None, [1, 2, 3], id="everything"),
        pytest.param(2, None, [2, 3], id="start-is-in"),
        pytest.param(None, 2, [1], id="end-is-out"),
        pytest.param(2, 2, [], id="empty-span"),
        pytest.param(3, 1, [], id="backwards"),
        pytest.param(7, 9, [], id="after-the-end"),
        pytest.param(-9, 0, [], id="before-the-start"),
    ],
)
def test_a_span_is_half_open(
    store: Store, how: str, start: int | None, end: int | None, seconds: list[int]
) -> None:
    put(store, how, POINT, series((1, 1.0), (2, 2.0), (3, 3.0)))
    edges = [None if edge is None else T0 + edge * S for edge in (start, end)]
    assert ((store.read(POINT, *edges).time - T0) // S).tolist() == seconds


def test_points_do_not_mix(store: Store) -> None:
    store.write({POINT: series((1, 1.0)), OTHER: series((1, 9.0), (2, 8.0))})
    store.write({OTHER: series((3, 7.0))})
    for _ in range(2):
        assert store.read(POINT) == series((1, 1.0))
        assert store.read(OTHER) == series((1, 9.0), (2, 8.0), (3, 7.0))
        store.fold()


def test_folding_says_how_many_rows_and_changes_nothing_to_read(store: Store) -> None:
    for second in range(5):
        store.write({POINT: series((second, second + 0.5))})
    before = store.read(POINT)
    assert store.fold() == 5
    assert store.fold() == 0
    assert store.read(POINT) == before


def test_later_commits_win_over_folded_and_waiting_ones(store: Store) -> None:
    put(store, "bulk", POINT, series((1, 1.0), (2, 1.0), (3, 1.0)))
    store.write({POINT: series((2, 2.0), (3, 2.0))})
    store.write({POINT: series((3, 3.0))})
    for _ in range(2):
        assert store.read(POINT) == series((1, 1.0), (2, 2.0), (3, 3.0))
        store.fold()


def test_bulk_comes_after_what_waits_in_the_journal(store: Store) -> None:
    store.write({POINT: series((1, 1.0), (2, 2.0))})
    assert put(store, "bulk", POINT, series((2, 9.0), (3, 3.0))) == Written(new=1, replaced=1)
    store.fold()
    assert store.read(POINT) == series((1, 1.0), (2, 9.0), (3, 3.0))


def test_a_batch_of_repeats_leaves_no_trace(store: Store) -> None:
    store.write({POINT: series((1, 1.0))})
    store.fold()
    mark = store.touched()
    store.write({POINT: series((1, 1.0))})
    assert store.touched() == mark
    assert store.fold() == 0


def test_an_empty_batch_is_no_batch(store: Store) -> None:
    assert store.write({}) == Written()
    assert store.write({POINT: Samples.empty()}) == Written()
    assert (store.fold(), store.points()) == (0, [])


@pytest.mark.parametrize("point", ["rail-1", ".flow", "rail-1.", ""])
def test_a_point_needs_a_station_and_a_role(store: Store, point: str) -> None:
    with pytest.raises(ValueError, match=r"expected <station>\.<role>"):
        store.write({point: steady(1)})
    with pytest.raises(ValueError, match=r"expected <station>\.<role>"):
        store.bulk().add(point, steady(1))


def test_nan_is_refused(store: Store) -> None:
    with pytest.raises(ValueError, match=r"rail-1\.resistance.*NaN"):
        store.write({POINT: series((1, np.nan))})
    assert store.points() == []


def test_bulk_keeps_days_whole_whatever_the_pieces(store: Store) -> None:
    samples = Samples.of(T0 + S * np.arange(400_000), np.arange(400_000) % 977)
    with store.bulk(flush_rows=70_001) as bulk:
        for low in range(0, len(samples), 9_999):
            bulk.add(
                POINT, Samples.of(samples.time[low : low + 9_999], samples.value[low : low + 9_999])
            )
    assert bulk.written == Written(new=400_000)
    assert store.read(POINT) == samples
    assert store.read(POINT, T0 + 86_000 * S, T0 + 90_000 * S) == samples.between(
        T0 + 86_000 * S, T0 + 90_000 * S
    )


def test_the_same_load_twice_changes_nothing(store: Store) -> None:
    for expected in (Written(new=200_000), Written(repeated=200_000)):
        assert put(store, "bulk", POINT, steady(200_000)) == expected


def test_late_samples_find_their_place_in_full_segments(store: Store) -> None:
    put(store, "bulk", POINT, steady(300_000))
    late = Samples.of(T0 + S * np.array([5, 150_000]) + 7, [9.0, 8.0])
    store.write({POINT: late})
    store.fold()
    expected = np.sort(np.concatenate([steady(300_000).time, late.time]))
    assert np.array_equal(store.read(POINT).time, expected)


def test_bulk_commits_nothing_more_after_an_error(store: Store) -> None:
    bulk = store.bulk(flush_rows=10)

    def stop_halfway() -> None:
        with bulk:
            bulk.add(POINT, steady(15))
            raise KeyError

    with pytest.raises(KeyError):
        stop_halfway()
    assert bulk.written == Written(new=10)
    assert store.read(POINT) == steady(10)


def test_flush_rows_must_be_sensible(store: Store) -> None:
    with pytest.raises(ValueError, match="flush_rows"):
        store.bulk(flush_rows=0)


def test_points_tell_what_is_stored(store: Store) -> None:
    put(store, "bulk", POINT, series((1, 1.0), (5, 5.0)))
    store.write({POINT: series((3, 3.0), (1, 1.0)), OTHER: series((2, np.inf), quality=1)})
    expected = [
        PointSummary(POINT, 3, T0 + S, T0 + 5 * S, 5.0, 0),
        PointSummary(OTHER, 1, T0 + 2 * S, T0 + 2 * S, np.inf, 1),
    ]
    for _ in range(2):
        assert store.points() == expected
        store.fold()


def test_points_show_a_newest_sample_that_was_replaced(store: Store) -> None:
    store.write({POINT: series((1, 1.0), (5, 5.0))})
    store.write({POINT: series((5, 6.0), quality=2)})
    assert store.points() == [PointSummary(POINT, 2, T0 + S, T0 + 5 * S, 6.0, 2)]


@ways
def test_a_write_marks_the_earliest_time_that_changed(store: Store, how: str) -> None:
    put(store, how, POINT, series((1, 1.0), (2, 2.0), (3, 3.0)))
    assert store.touched() == {"rail-1": Touch(T0 + S, 1)}
    put(store, how, POINT, series((1, 1.0), (2, 5.0), (9, 9.0)))
    assert store.touched() == {"rail-1": Touch(T0 + S, 2)}


def test_repeats_touch_nothing(store: Store) -> None:
    store.write({POINT: series((1, 1.0), (2, 2.0))})
    [mark] = store.touched().values()
    store.write({POINT: series((1, 1.0), (2, 2.0))})
    assert list(store.touched().values()) == [mark]


def test_everything_is_there_after_opening_again(store_url: str) -> None:
    with open_store(store_url) as store:
        store.write({POINT: series((1, 1.0))})
        put(store, "bulk", OTHER, series((2, 2.0)))
    with open_store(store_url) as store:
        assert store.read(POINT) == series((1, 1.0))
        assert store.read(OTHER) == series((2, 2.0))
        assert set(store.touched()) == {"rail-1", "rail-2"}
