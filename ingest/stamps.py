"""Times of one fixed form, ``YYYY-MM-DDTHH:MM:SS.mmmZ``, read eight characters at a time.

Most files are written by a machine, in one form and in about the order of time: from row to
row hardly more than the seconds change. So only the first row of a minute is read as a time;
the others are that minute and their own last eight characters, read as one 64-bit number.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from bondtrail.samples import TimeArray
from bondtrail.times import NS_PER_MS
from ingest.arrays import BoolArray

WIDTH = 24
"""Characters of the form."""

WordArray = npt.NDArray[np.uint64]
ReadRows = Callable[[npt.NDArray[np.int64]], tuple[TimeArray, BoolArray]]

_SHARE = 4  # with fewer rows to a minute, reading each as a time is as quick
_REACH = 2**63 - 60 * 10**9  # within it every second of the minute fits 64 bits


def _word(*places: int) -> np.uint64:
    """Return eight small numbers as the word in which the first is the lowest byte."""
    return np.uint64(int.from_bytes(bytes(places), "little"))


_FORM = _word(*b":00.000Z")
_TO_TOP = _word(0x7F, 0x7A, 0x76, 0x7F, 0x76, 0x76, 0x76, 0x7F)  # sets the top bit beyond 0, 5, 9
_TOPS = _word(*[0x80] * 8)
_PAIRS = _word(0, 0xFF, 0, 0, 0xFF, 0, 0, 0)
_LAST = _word(0, 0, 0, 0, 0, 0, 0xFF, 0)
_WEIGHTS = np.uint64((1000 << 40) + (10 << 16) + 1)  # bring seconds, hundredths and ms to bit 48


def words_of(texts: pa.Array, usual: BoolArray) -> WordArray:
    """Return the usual rows of a column as words, shape (rows, 3).

    ``usual`` tells the rows of `WIDTH` bytes; few rows are others.
    """
    _, offsets, data = texts.buffers()
    bounds = np.frombuffer(offsets, np.int32, len(texts) + 1, texts.offset * 4)
    text = np.frombuffer(data, np.uint8)
    odd = np.flatnonzero(~usual)
    begins, ends = [bounds[0], *bounds[odd + 1]], [*bounds[odd], bounds[-1]]
    whole = np.concatenate([text[begin:end] for begin, end in zip(begins, ends, strict=True)])
    return whole.view("<u8").reshape(-1, WIDTH // 8)


def read_words(words: WordArray, read: ReadRows) -> tuple[TimeArray, BoolArray] | None:
    """Return the moments of rows, and which of them have one.

    Parameters
    ----------
    words : ndarray of uint64, shape (n, 3)
        What `words_of` returns.
    read : callable
        Returns the moments of some rows, as they are written, and which have none.

    Returns
    -------
    (ndarray of int64, ndarray of bool), shape (n,), or None
        Nanoseconds, and False where the form is another or the minute makes no sense; None when
        too few rows share their minute for this to be worth while.
    """
    digits = words[:, 2] ^ _FORM
    fits = _fits(digits)
    minutes = np.flatnonzero(_begins_minute(words, fits))
    if minutes.size * _SHARE > len(words):
        return None
    within = _milliseconds(digits)
    within *= NS_PER_MS
    began, bad = read(minutes)
    began = began - within[minutes]
    sound = ~bad & fits[minutes] & (np.abs(began) < _REACH)
    rows = np.diff(minutes, append=len(words))
    within += np.repeat(np.where(sound, began, 0), rows)
    if not sound.all():
        fits &= np.repeat(sound, rows)
    return within, fits


def _fits(digits: WordArray) -> BoolArray:
    """Return which words are of the form, given what is left of them beside it."""
    over = digits + _TO_TOP
    over |= digits
    over &= _TOPS
    fits: BoolArray = over == 0
    return fits


def _begins_minute(words: WordArray, fits: BoolArray) -> BoolArray:
    """Return which rows do not share their minute with the row before."""
    begins = np.ones(len(words), bool)
    np.not_equal(words[1:, 1], words[:-1, 1], out=begins[1:])
    begins[1:] |= words[1:, 0] != words[:-1, 0]
    begins[1:] |= ~fits[:-1]  # what begins with an odd row is lost as far as the next
    return begins


def _milliseconds(digits: WordArray) -> TimeArray:
    """Return the milliseconds within the minute; anything where the form is another."""
    pairs = digits * np.uint64(10)
    pairs += digits >> np.uint64(8)  # each byte is ten times itself and the one after it
    pairs &= _PAIRS
    pairs |= digits & _LAST
    pairs *= _WEIGHTS
    pairs >>= np.uint64(48)
    return pairs.view(np.int64)
