"""Between Arrow columns and numpy arrays, by their buffers.

The conversions that Arrow offers for this import pandas on first use, which costs a load as
much as reading a million rows, and a listener half a second at its first batch.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa

BoolArray = npt.NDArray[np.bool_]


def numbers_of(column: pa.Array) -> npt.NDArray[Any]:
    """Return a column of numbers without nulls, shape (n,), not copied and not to be changed."""
    return np.from_dlpack(column)


def beneath(column: pa.Array) -> npt.NDArray[Any]:
    """Return a column of numbers, shape (n,), not to be changed; anything where it is null."""
    data = column.buffers()[1]
    return numbers_of(
        pa.Array.from_buffers(column.type, len(column), [None, data], offset=column.offset)
    )


def mask_of(column: pa.Array) -> BoolArray:
    """Return a column of booleans without nulls, shape (n,); it may be changed."""
    return np.from_dlpack(column.cast(pa.uint8())).astype(bool)


def as_mask(mask: BoolArray) -> pa.Array:
    """Return a mask to filter columns with."""
    bits = pa.py_buffer(np.packbits(mask, bitorder="little"))
    return pa.Array.from_buffers(pa.bool_(), mask.size, [None, bits])


def as_column(numbers: npt.NDArray[Any], absent: BoolArray | None = None) -> pa.Array:
    """Return numbers, shape (n,), as a column, not copied; null where ``absent``."""
    present = None if absent is None else as_mask(~absent).buffers()[1]
    data = pa.py_buffer(np.ascontiguousarray(numbers))
    return pa.Array.from_buffers(pa.from_numpy_dtype(numbers.dtype), numbers.size, [present, data])
