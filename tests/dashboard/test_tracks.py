"""What the cursor reads, packed: unpacked here as the browser does, nothing is lost."""

from __future__ import annotations

from base64 import b64decode

import numpy as np
import pytest

from dashboard.tracks import Curve, Packed, Track, one_text, pack, pack_curve, pack_track, runs

MS = 1_000_000
KINDS = {"u1": "<u1", "u2": "<u2", "u4": "<u4", "f4": "<f4"}


def unpacked(packed: Packed) -> list[float]:
    return np.frombuffer(b64decode(packed["b"]), KINDS[packed["t"]]).tolist()


def times(packed: Packed) -> list[float]:
    return np.cumsum(unpacked(packed)).tolist()


@pytest.mark.parametrize(
    ("numbers", "kind"),
    [
        pytest.param([], "u1", id="none"),
        pytest.param([0, 255], "u1", id="a byte"),
        pytest.param([256], "u2", id="two bytes"),
        pytest.param([65_536, 2**32 - 1], "u4", id="four bytes"),
    ],
)
def test_numbers_take_the_least_width(numbers: list[int], kind: str) -> None:
    packed = pack(np.array(numbers, np.int64))
    assert packed["t"] == kind
    assert unpacked(packed) == numbers


@pytest.mark.parametrize("number", [-1, 2**32])
def test_a_number_that_does_not_fit_is_refused(number: int) -> None:
    with pytest.raises(ValueError, match=r"2\*\*32 - 1"):
        pack(np.array([0, number], np.int64))


def test_a_track_keeps_only_what_changes_and_cuts_times_to_milliseconds() -> None:
    time = np.array([0, 1, 2_500_000, 7_999_999, 9 * MS]) + 5 * MS
    track = Track(time, np.array([0, 0, 1, 1, 0]), ["open", "closed"], ["", "abnormal"])
    packed = pack_track(track, 5 * MS)
    assert times(packed["time"]) == [0, 2, 9]
    assert unpacked(packed["code"]) == [0, 1, 0]
    assert (packed["texts"], packed["marks"]) == (["open", "closed"], ["", "abnormal"])


def test_what_began_before_the_base_holds_at_it() -> None:
    packed = pack_track(Track(np.array([-3 * MS, 2 * MS]), np.array([0, 1]), ["a", "b"]), 0)
    assert times(packed["time"]) == [0, 2]
    assert "marks" not in packed


def test_one_text_holds_throughout() -> None:
    packed = pack_track(one_text("not recorded", "unknown"), 1_700_000_000_000 * MS)
    assert times(packed["time"]) == [0]
    assert packed["texts"] == ["not recorded"]


def test_a_curve_keeps_seven_digits() -> None:
    curve = Curve(np.array([0, 4 * MS]), np.array([0.0, 123_456.7]), "L", decimals=1)
    packed = pack_curve(curve, 0)
    assert unpacked(packed["value"]) == pytest.approx([0.0, 123_456.7], rel=1e-7)
    assert [packed[name] for name in ("unit", "decimals", "floor", "power")] == ["L", 1, 0.0, 1]


def test_a_long_noisy_signal_takes_four_bytes_a_reading() -> None:
    n = 216_000  # six hours at 10 Hz
    rng = np.random.default_rng(7)
    code = rng.integers(0, 900, n)
    packed = pack_track(Track(np.arange(n) * 100 * MS, code, ["x"] * 900), 0)
    changes = runs(np.arange(n), code)[0].size
    held = len(b64decode(packed["time"]["b"])) + len(b64decode(packed["code"]["b"]))
    assert held <= 4 * changes
