"""What a batch changes, told from arrays alone."""

from __future__ import annotations

import numpy as np
import pytest

from bondtrail.samples import Samples
from store.merging import Stored, Written, compare, in_order, is_rising, overlay


def of(*rows: tuple[int, float] | tuple[int, float, int]) -> Samples:
    return Samples.of(
        [row[0] for row in rows],
        [row[1] for row in rows],
        [row[2] if len(row) == 3 else 0 for row in rows],
    )


HELD = of((10, 1.0), (20, np.inf), (30, 3.0, 2))


@pytest.mark.parametrize(
    ("batch", "left", "written", "since"),
    [
        pytest.param(of(), of(), Written(), None, id="nothing"),
        pytest.param(of((15, 1.0)), of((15, 1.0)), Written(1, 0, 0), 15, id="new"),
        pytest.param(of((10, 1.0)), of(), Written(0, 1, 0), None, id="repeated"),
        pytest.param(of((20, np.inf)), of(), Written(0, 1, 0), None, id="open-is-open"),
        pytest.param(of((10, 2.0)), of((10, 2.0)), Written(0, 0, 1), 10, id="value"),
        pytest.param(of((10, 1.0, 1)), of((10, 1.0, 1)), Written(0, 0, 1), 10, id="quality"),
        pytest.param(
            of((10, 1.0), (12, 2.0), (20, 5.0), (30, 3.0, 2)),
            of((12, 2.0), (20, 5.0)),
            Written(1, 2, 1),
            12,
            id="some-of-each",
        ),
        pytest.param(
            of((15, 1.0), (15, 1.0), (15, 2.0)),
            of((15, 2.0)),
            Written(1, 1, 1),
            15,
            id="three-at-once",
        ),
        pytest.param(of((10, 2.0), (10, 1.0)), of(), Written(0, 0, 2), 10, id="there-and-back"),
        pytest.param(
            of((10, 1.0), (10, 2.0)), of((10, 2.0)), Written(0, 1, 1), 10, id="repeat-then-other"
        ),
    ],
)
def test_what_a_batch_changes(
    batch: Samples, left: Samples, written: Written, since: int | None
) -> None:
    stored = Stored.nothing(len(batch))
    stored.take(batch.time, HELD)
    change = compare(batch, stored)
    assert (change.samples, change.written, change.since) == (left, written, since)


@pytest.mark.parametrize(
    ("batch", "replaced"),
    [
        pytest.param(of(), of(), id="nothing"),
        pytest.param(of((5, 1.0), (10, 1.0)), of(), id="new-and-repeated"),
        pytest.param(of((10, 2.0), (20, 0.0)), of((10, 1.0), (20, np.inf)), id="values"),
        pytest.param(of((30, 3.0)), of((30, 3.0, 2)), id="quality"),
        pytest.param(of((15, 1.0), (15, 1.0), (15, 2.0)), of((15, 1.0)), id="never-stored"),
        pytest.param(of((10, 2.0), (10, 1.0)), of((10, 1.0), (10, 2.0)), id="there-and-back"),
        pytest.param(
            of((10, 2.0), (10, 2.0), (10, 5.0)), of((10, 1.0), (10, 2.0)), id="in-their-order"
        ),
    ],
)
def test_what_a_batch_replaces_is_told(batch: Samples, replaced: Samples) -> None:
    stored = Stored.nothing(len(batch))
    stored.take(batch.time, HELD)
    change = compare(batch, stored)
    assert change.replaced == replaced
    assert change.written.replaced == len(replaced)


@pytest.mark.parametrize(
    "batch", [of(), of((15, 1.0), (20, np.inf)), of((15, 1.0), (15, 1.0), (15, 2.0, 1))]
)
def test_never_stored_is_as_nothing_stored(batch: Samples) -> None:
    changes = [compare(batch, stored) for stored in (None, Stored.nothing(len(batch)))]
    assert changes[0].samples == changes[1].samples
    assert (changes[0].written, changes[0].since) == (changes[1].written, changes[1].since)


def test_what_is_stored_later_covers_what_was_stored_before() -> None:
    stored = Stored.nothing(4)
    times = np.array([5, 10, 20, 40])
    stored.take(times, HELD)
    stored.take(times, of((20, 2.0), (40, 4.0, 1), (50, 5.0)))
    assert stored.found.tolist() == [False, True, True, True]
    assert stored.value.tolist()[1:] == [1.0, 2.0, 4.0]
    assert stored.quality.tolist() == [0, 0, 0, 1]


@pytest.mark.parametrize(
    ("over", "expected"),
    [
        pytest.param(of(), HELD, id="nothing-over"),
        pytest.param(
            of((40, 4.0)), of((10, 1.0), (20, np.inf), (30, 3.0, 2), (40, 4.0)), id="after"
        ),
        pytest.param(
            of((5, 4.0)), of((5, 4.0), (10, 1.0), (20, np.inf), (30, 3.0, 2)), id="before"
        ),
        pytest.param(
            of((20, 4.0), (25, 5.0)),
            of((10, 1.0), (20, 4.0), (25, 5.0), (30, 3.0, 2)),
            id="within-and-upon",
        ),
    ],
)
def test_what_lies_over_stays(over: Samples, expected: Samples) -> None:
    assert overlay(HELD, over) == expected


def test_under_nothing_lies_what_is_over() -> None:
    assert overlay(of(), HELD) == HELD


def test_samples_of_one_time_stay_in_the_order_they_came() -> None:
    assert in_order(of((2, 1.0), (1, 2.0), (2, 3.0))) == of((1, 2.0), (2, 1.0), (2, 3.0))


@pytest.mark.parametrize(
    ("times", "strictly", "loosely"),
    [
        ([], True, True),
        ([1], True, True),
        ([1, 2], True, True),
        ([1, 1], False, True),
        ([2, 1], False, False),
    ],
)
def test_rising(times: list[int], strictly: bool, loosely: bool) -> None:
    array = np.array(times, np.int64)
    assert (is_rising(array), is_rising(array, strictly=False)) == (strictly, loosely)
