"""Columns of written times to nanoseconds: whole columns at a time where the form is common."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from bondtrail.samples import TimeArray
from bondtrail.times import TimeError, parse_time
from ingest import stamps
from ingest.arrays import BoolArray, as_column, as_mask, beneath, mask_of, numbers_of
from ingest.faults import shown

_LARGEST = np.iinfo(np.int64).max
_PIECE = 1024  # rows: one odd time makes this many others take the slower way
_USUAL_SHARE = 0.99  # of the rows with times of one length; below it, lengths tell little
_FEW = 64  # rows: reading each takes less than making the forms ready
_LONGEST = 64  # characters: no written time is longer
_BAND_TOPS = np.array((10**11, 10**14, 10**17), np.int64)
_BAND_SCALES = np.array((10**9, 10**6, 10**3, 1), np.int64)
_QUARTER_NS = 900 * 10**9  # clocks change on the quarter hour
_ZONED, _NAIVE = pa.timestamp("ns", "UTC"), pa.timestamp("ns")
_DAY = (
    r"(?:(?:19|20|21)\d\d-(?:(?:0[1-9]|1[0-2])-(?:0[1-9]|1\d|2[0-8])"
    r"|(?:0[13-9]|1[0-2])-(?:29|30)|(?:0[13578]|1[02])-31))"
)
_CLOCK = r"[T ](?:[01]\d|2[0-3]):[0-5]\d:[0-5]\d(?:\.\d{1,9})?"
_OFFSET = r"(?:Z|[+-](?:[01]\d|2[0-3]):?[0-5]\d)"
_ISO_FORM = f"^{_DAY}{_CLOCK}{_OFFSET}$"
_NAIVE_FORM = f"^{_DAY}{_CLOCK}$"
_EPOCH_FORM = r"^-?(?:[0-8]?\d{18}|\d{1,17})$"
_EDGES = ("1677-09-22T00:00:00Z", "2262-04-11T00:00:00Z")


class _Column:
    """Moments under construction: ``ns`` and which rows are still without one."""

    def __init__(self, size: int) -> None:
        self.ns = np.zeros(size, np.int64)
        self.bad = np.zeros(size, bool)


def read_times(column: pa.Array, zone: ZoneInfo | None) -> tuple[TimeArray, BoolArray]:
    """Return the moments of a column and which rows have none.

    Parameters
    ----------
    column : pyarrow array, shape (n,)
        Text, integers (an epoch, its magnitude tells the unit) or timestamps.
    zone : ZoneInfo, optional
        Where times without an offset were written; without it they are bad.

    Returns
    -------
    (ndarray of int64, ndarray of bool), shape (n,)
        Nanoseconds, 0 where the row is bad.
    """
    kind = column.type
    if pa.types.is_timestamp(kind):
        return _from_timestamps(column, zone)
    if pa.types.is_integer(kind):
        return _from_integers(column)
    return _from_text(pc.fill_null(column, "") if column.null_count else column, zone)


def is_time_type(kind: pa.DataType) -> bool:
    """Return whether a column of this type can hold times."""
    return any(
        told(kind) for told in (pa.types.is_timestamp, pa.types.is_integer, pa.types.is_string)
    )


def time_fault(text: str, zone: ZoneInfo | None) -> str:
    """Return why a written time was not taken."""
    if not text.strip():
        return "the time is empty"
    if len(text) > _LONGEST:
        return f"time {shown(text)}: too long for a time"
    try:
        parse_time(text, zone)
    except TimeError as exc:
        return str(exc)
    return f"time {shown(text)} is outside what can be kept"


def _from_timestamps(column: pa.Array, zone: ZoneInfo | None) -> tuple[TimeArray, BoolArray]:
    bad = mask_of(column.is_null())
    try:
        plain = column.cast(pa.timestamp("ns", column.type.tz))
    except pa.ArrowInvalid:
        edges = [pa.scalar(edge).cast(_ZONED).cast(column.type) for edge in _EDGES]
        inside = pc.and_(pc.greater(column, edges[0]), pc.less(column, edges[1]))
        bad |= ~mask_of(pc.fill_null(inside, False))
        plain = pc.if_else(as_mask(~bad), column, pa.scalar(0).cast(column.type))
        plain = plain.cast(pa.timestamp("ns", column.type.tz))
    ns = numbers_of(pc.fill_null(plain.cast(pa.int64()), 0))
    if column.type.tz is None:
        ns, doubtful = _localised(ns, zone) if zone else (ns, np.ones(ns.size, bool))
        bad = bad | doubtful
    return np.where(bad, 0, ns), bad


def _from_integers(column: pa.Array) -> tuple[TimeArray, BoolArray]:
    absent = mask_of(column.is_null())
    try:
        numbers = column.cast(pa.int64())
    except pa.ArrowInvalid:  # unsigned, beyond int64
        over = mask_of(pc.fill_null(pc.greater(column, pa.scalar(_LARGEST, column.type)), False))
        absent |= over
        numbers = pc.if_else(as_mask(absent), pa.scalar(0, column.type), column).cast(pa.int64())
    ns, outside = _epochs(np.where(absent, 0, beneath(numbers)))
    return ns, outside | absent


def _epochs(numbers: TimeArray) -> tuple[TimeArray, BoolArray]:
    """Return the vectorised form of `bondtrail.times.epoch_to_ns`, and what does not fit."""
    size = np.abs(numbers)
    low, high = (size.min(), size.max()) if size.size else (0, 0)
    first, last = np.searchsorted(_BAND_TOPS, (low, high), side="right")
    if first == last:
        return _scaled(numbers, _BAND_SCALES[first])
    return _scaled(numbers, _BAND_SCALES[np.searchsorted(_BAND_TOPS, size, side="right")])


def _scaled(numbers: TimeArray, scale: TimeArray | np.int64) -> tuple[TimeArray, BoolArray]:
    most = _LARGEST // scale
    outside = (numbers > most) | (numbers < -most)
    return np.where(outside, 0, numbers * scale), outside


def _from_text(texts: pa.Array, zone: ZoneInfo | None) -> tuple[TimeArray, BoolArray]:
    """Convert the rows of the usual length at once, and the few others by their form."""
    lengths = text_lengths(texts)
    length = lengths[lengths.size // 2] if lengths.size else 0
    usual = lengths == length
    share = float(np.mean(usual)) if lengths.size else 1.0
    if share >= _USUAL_SHARE and length == stamps.WIDTH:
        stamped = _from_stamps(texts, usual, zone)
        if stamped is not None:
            return stamped
    if share == 1.0 or share < _USUAL_SHARE:
        return _in_pieces(texts, zone, len(texts))
    return _around(texts, np.flatnonzero(~usual), zone)


def _from_stamps(
    texts: pa.Array, usual: BoolArray, zone: ZoneInfo | None
) -> tuple[TimeArray, BoolArray] | None:
    """Convert rows that are nearly all of one fixed form and near each other in time."""
    rows = np.flatnonzero(usual)

    def read(some: npt.NDArray[np.int64]) -> tuple[TimeArray, BoolArray]:
        return _in_pieces(texts.take(as_column(rows[some])), zone, _PIECE)

    found = stamps.read_words(stamps.words_of(texts, usual), read)
    if found is None or np.count_nonzero(found[1]) < _USUAL_SHARE * rows.size:
        return None
    done = _Column(len(texts))
    left = ~usual
    done.ns[rows], left[rows] = found[0], ~found[1]
    others = np.flatnonzero(left)
    done.ns[others], done.bad[others] = _in_pieces(texts.take(as_column(others)), zone, _PIECE)
    return done.ns, done.bad


def _around(
    texts: pa.Array, odd: npt.NDArray[np.int64], zone: ZoneInfo | None
) -> tuple[TimeArray, BoolArray]:
    """Convert the stretches between odd rows as they lie, and the odd rows by their form."""
    done = _Column(len(texts))
    begin = 0
    for end in (*odd.tolist(), len(texts)):
        if end > begin:
            stretch = _in_pieces(texts.slice(begin, end - begin), zone, len(texts))
            done.ns[begin:end], done.bad[begin:end] = stretch
        begin = end + 1
    done.ns[odd], done.bad[odd] = _in_pieces(texts.take(as_column(odd)), zone, _PIECE)
    return done.ns, done.bad


def _in_pieces(texts: pa.Array, zone: ZoneInfo | None, size: int) -> tuple[TimeArray, BoolArray]:
    """Convert pieces that are all of one common form at once, the rows of others by form."""
    whole = _uniform(texts, zone) if size >= len(texts) else None
    if whole is not None:
        return whole
    done = _Column(len(texts))
    odd = []
    for begin in range(0, len(texts), _PIECE):
        piece = texts.slice(begin, _PIECE)
        read = _uniform(piece, zone)
        if read is None:
            odd.append(np.arange(begin, begin + len(piece)))
        else:
            done.ns[begin : begin + len(piece)], done.bad[begin : begin + len(piece)] = read
    if odd:
        rows = np.concatenate(odd)
        done.ns[rows], done.bad[rows] = _mixed(texts.take(as_column(rows)), zone)
    return done.ns, done.bad


def _uniform(piece: pa.Array, zone: ZoneInfo | None) -> tuple[TimeArray, BoolArray] | None:
    """Return the moments of a piece that is all ISO, or all epochs, else None.

    The first row says which is tried: a cast that fails still goes through every row.
    """
    if not len(piece):
        return np.zeros(0, np.int64), np.zeros(0, bool)
    for kind in (_ZONED, pa.int64(), _NAIVE):
        if _cast(piece.slice(0, 1), kind) is None or (kind == pa.int64() and not _is_digits(piece)):
            continue
        numbers = _cast(piece, kind)
        return None if numbers is None else _placed(numbers, kind, zone)
    return None


def _mixed(texts: pa.Array, zone: ZoneInfo | None) -> tuple[TimeArray, BoolArray]:
    texts = pc.ascii_trim_whitespace(texts)
    if len(texts) <= _FEW:
        return _one_by_one(texts, zone)
    done = _Column(len(texts))
    left = np.ones(len(texts), bool)
    for form, kind in ((_ISO_FORM, _ZONED), (_EPOCH_FORM, pa.int64()), (_NAIVE_FORM, _NAIVE)):
        fits = mask_of(pc.match_substring_regex(texts, form)) & left
        if fits.any():
            left &= ~fits
            numbers = _cast(texts.filter(as_mask(fits)), kind)
            assert numbers is not None, "the form admits only what can be cast"
            done.ns[fits], done.bad[fits] = _placed(numbers, kind, zone)
    if left.any():
        done.ns[left], done.bad[left] = _one_by_one(texts.filter(as_mask(left)), zone)
    done.ns[done.bad] = 0
    return done.ns, done.bad


def _placed(
    numbers: TimeArray, kind: pa.DataType, zone: ZoneInfo | None
) -> tuple[TimeArray, BoolArray]:
    if kind == _ZONED:
        return numbers, np.zeros(numbers.size, bool)
    if kind == pa.int64():
        return _epochs(numbers)
    if zone is None:
        return numbers, np.ones(numbers.size, bool)
    return _localised(numbers, zone)


def _one_by_one(texts: pa.Array, zone: ZoneInfo | None) -> tuple[TimeArray, BoolArray]:
    encoded = texts.dictionary_encode()
    moments = [_parsed(text, zone) for text in encoded.dictionary.to_pylist()]
    bad = np.array([moment is None for moment in moments], bool)
    ns = np.array([moment or 0 for moment in moments], np.int64)
    codes = numbers_of(encoded.indices)
    return ns[codes], bad[codes]


def _parsed(text: str, zone: ZoneInfo | None) -> int | None:
    if len(text) > _LONGEST:
        return None
    try:
        return parse_time(text, zone)
    except TimeError:
        return None


def _localised(naive: TimeArray, zone: ZoneInfo) -> tuple[TimeArray, BoolArray]:
    """Return moments from wall-clock nanoseconds; bad where the clock skips or repeats them."""
    quarters, inverse = np.unique(naive // _QUARTER_NS, return_inverse=True)
    offsets = [_offset(int(quarter), zone) for quarter in quarters]
    bad = np.array([offset is None for offset in offsets], bool)[inverse]
    shift = np.array([offset or 0 for offset in offsets], np.int64)[inverse]
    return np.where(bad, 0, naive - shift * 10**9), bad


def _offset(quarter: int, zone: ZoneInfo) -> int | None:
    wall = dt.datetime(1970, 1, 1) + dt.timedelta(seconds=quarter * 900)
    early = wall.replace(tzinfo=zone, fold=0).utcoffset()
    late = wall.replace(tzinfo=zone, fold=1).utcoffset()
    if early is None or early != late:
        return None
    return round(early.total_seconds())


def _cast(texts: pa.Array, kind: pa.DataType) -> TimeArray | None:
    try:
        cast = pc.cast(texts, kind)
    except pa.ArrowInvalid:
        return None
    return numbers_of(cast.cast(pa.int64()))


def _is_digits(texts: pa.Array) -> bool:
    """Return whether all is digits: the cast to integers would take 0x10 as well."""
    _, ends, data = texts.buffers()
    if data is None:
        return False
    bounds = np.frombuffer(ends, np.int32, len(texts) + 1, texts.offset * 4)
    text: bytes = data.slice(int(bounds[0]), int(bounds[-1] - bounds[0])).to_pybytes()
    return text.isdigit()


def text_lengths(texts: pa.Array) -> npt.NDArray[np.int32]:
    """Return the bytes of each text of a column without nulls, shape (n,)."""
    ends = np.frombuffer(texts.buffers()[1], np.int32, len(texts) + 1, texts.offset * 4)
    return ends[1:] - ends[:-1]
