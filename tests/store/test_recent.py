"""What comes again asks for the same batches of the journal: they are decoded once."""

from __future__ import annotations

import numpy as np
import pytest

from bondtrail.samples import Samples
from store import Store, Written, journal
from store.blocks import Batch
from store.recent import Recent

S = 10**9
T0 = 1_767_225_600 * S


def batch(size: int) -> Batch:
    samples = Samples.of(np.arange(size), np.zeros(size))
    return Batch(np.array([1]), np.array([0, size]), samples)


def test_what_was_asked_for_longest_ago_goes_first() -> None:
    recent = Recent(most=10)
    for number in range(5):
        recent.put((number, 7), batch(2))
    assert recent.get((0, 7)) is not None
    recent.put((5, 7), batch(2))
    assert recent.get((1, 7)) is None
    assert recent.get((0, 7)) is not None
    assert recent.get((0, 8)) is None  # of a store that was restored: another row of that id


def test_what_is_large_is_not_held() -> None:
    recent = Recent(most=10)
    recent.put((1, 7), batch(3))
    assert recent.get((1, 7)) is None


def test_a_row_of_the_journal_is_decoded_once_however_many_repeats_look_at_it(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    decoded = []
    decode = journal.decode_batch
    monkeypatch.setattr(journal, "decode_batch", lambda b: decoded.append(1) or decode(b))
    # One point an hour behind the other: every batch spans every other, and none is in order.
    batches = [
        {
            "rail-1.flow": Samples.of(T0 + S * np.arange(9 * n, 9 * n + 9), np.full(9, n)),
            "rail-2.flow": Samples.of(T0 - 3600 * S + S * np.arange(9 * n, 9 * n + 9), np.ones(9)),
        }
        for n in range(20)
    ]
    for each in batches:
        store.write(each)
    for _ in range(2):
        for each in batches:
            assert store.write(each) == Written(repeated=18)
    assert len(decoded) == 20
    store.fold()
    assert all(store.write(each) == Written(repeated=18) for each in batches)
