"""What a cursor reads, packed for the browser: words as runs, and curves; bytes, not lists."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from bondtrail.samples import TimeArray, ValueArray
from bondtrail.times import NS_PER_MS

Codes = npt.NDArray[np.integer]
Packed = dict[str, Any]
"""Plain values and texts, as JSON takes them."""


@dataclass(frozen=True, slots=True, eq=False)
class Track:
    """A value in words: ``texts[code[k]]`` holds from ``time[k]`` to the next.

    Attributes
    ----------
    time : ndarray of int64, shape (n,)
        Rising. [ns]
    code : ndarray of int, shape (n,)
        Places in ``texts``.
    texts : sequence of str
        The words.
    marks : sequence of str
        How each is shown: ``unknown``, ``abnormal`` or empty; or none for all.
    """

    time: TimeArray
    code: Codes
    texts: Sequence[str]
    marks: Sequence[str] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """A number over time, or a power of it, straight between its points.

    Attributes
    ----------
    time : ndarray of int64, shape (n,)
        Rising. [ns]
    value : ndarray of float64, shape (n,)
        Kept with seven digits.
    unit : str
        As it is printed.
    decimals : int or None
        Shown; None shows two digits, wherever they stand.
    floor : float
        Whatever is not above it is told as ``below`` it; 0 tells all.
    power : int
        Of what is straight: 1, or 2 for an energy beside its potential.
    over : float or None
        At this and above it is shown as abnormal.
    least : tuple of int, or None
        From the first moment on not all of it is known, nor anything up to the second: then it is
        told as at least what it is, cut. [ns]
    """

    time: TimeArray
    value: ValueArray
    unit: str
    decimals: int | None = None
    floor: float = 0.0
    power: int = 1
    over: float | None = None
    least: tuple[int, int] | None = None


def one_text(text: str, mark: str = "") -> Track:
    """Return a track that says the same throughout."""
    return Track(np.zeros(1, np.int64), np.zeros(1, np.int64), [text], [mark])


def runs(time: TimeArray, code: Codes) -> tuple[TimeArray, Codes]:
    """Return a series of codes without the moments at which it stays as it was."""
    turns = np.ones(code.size, bool)
    np.not_equal(code[1:], code[:-1], out=turns[1:])
    return time[turns], code[turns]


def pack_track(track: Track, base: int) -> Packed:
    """Return a track for the browser, its times in whole milliseconds from ``base`` (ns) on.

    A time is cut to its millisecond, as times are shown: what begins within it holds in it.
    """
    time, code = runs(track.time, track.code)
    packed: Packed = {
        "time": pack_times(time, base),
        "code": pack(code),
        "texts": list(track.texts),
    }
    return packed | ({"marks": list(track.marks)} if track.marks else {})


def pack_curve(curve: Curve, base: int) -> Packed:
    """Return a curve for the browser; times as in `pack_track`."""
    return {
        "time": pack_times(curve.time, base),
        "value": {"t": "f4", "b": _text(curve.value.astype("<f4"))},
        "unit": curve.unit,
        "decimals": curve.decimals,
        "floor": curve.floor,
        "power": curve.power,
        "over": curve.over,
        "least": None if curve.least is None else [(t - base) // NS_PER_MS for t in curve.least],
    }


def pack_times(time: TimeArray, base: int) -> Packed:
    """Return rising times as steps in ms from ``base`` (ns) on; earlier ones count as there."""
    since = np.maximum((time - base) // NS_PER_MS, 0)
    return pack(np.diff(since, prepend=0))


def pack(number: Codes) -> Packed:
    """Return whole numbers as bytes of the least width that holds them.

    Raises
    ------
    ValueError
        If one is negative, or does not fit into 32 bits.
    """
    greatest = int(number.max()) if number.size else 0
    if greatest >= 2**32 or (number.size and int(number.min()) < 0):
        raise ValueError(f"numbers must lie from 0 to 2**32 - 1, got up to {greatest}")
    width = 1 if greatest < 2**8 else 2 if greatest < 2**16 else 4
    return {"t": f"u{width}", "b": _text(number.astype(f"<u{width}"))}


def _text(array: npt.NDArray[Any]) -> str:
    return b64encode(array.tobytes()).decode()
