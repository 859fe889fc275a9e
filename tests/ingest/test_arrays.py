from __future__ import annotations

import subprocess
import sys

import numpy as np
import pyarrow as pa
import pytest

from ingest.arrays import as_column, as_mask, beneath, mask_of, numbers_of


@pytest.mark.parametrize("size", [0, 1, 8, 9, 1000])
def test_masks_and_rows_there_and_back(size: int) -> None:
    mask = np.arange(size) % 3 == 0
    assert mask_of(as_mask(mask)).tolist() == mask.tolist()
    column = pa.array(np.arange(size))
    assert numbers_of(column.filter(as_mask(mask))).tolist() == np.flatnonzero(mask).tolist()
    rows = np.flatnonzero(mask)
    assert numbers_of(column.take(as_column(rows))).tolist() == rows.tolist()


def test_slices() -> None:
    assert numbers_of(pa.array([1.5, 2.5, 3.5]).slice(1)).tolist() == [2.5, 3.5]
    assert mask_of(pa.array([True, False, True]).slice(1)).tolist() == [False, True]


@pytest.mark.parametrize("kind", [np.int64, np.float64, np.uint8])
@pytest.mark.parametrize("size", [0, 1, 9])
def test_a_column_is_what_arrow_makes_of_it(kind: type[np.generic], size: int) -> None:
    numbers = np.arange(2 * size).astype(kind)[::2]
    absent = np.arange(size) % 3 == 1
    assert as_column(numbers).equals(pa.array(numbers))
    assert as_column(numbers, absent).equals(pa.array(numbers, mask=absent))
    assert as_column(numbers, absent).null_count == np.count_nonzero(absent)


@pytest.mark.parametrize("kind", [pa.int64(), pa.float64(), pa.uint8()])
def test_numbers_beneath_a_column_with_gaps(kind: pa.DataType) -> None:
    column = pa.array([1, None, 3, None, 5], kind).slice(1)
    assert beneath(column)[1::2].tolist() == [3, 5]
    assert beneath(pa.nulls(2).cast(kind)).shape == (2,)
    assert beneath(pa.array([], kind)).shape == (0,)


def test_a_load_does_not_wait_for_pandas() -> None:
    code = (
        "import io, sys, numpy as np, pyarrow as pa\n"
        "from ingest.moments import read_times\n"
        "from ingest.values import read_values\n"
        "from ingest.rows import parse\n"
        "from ingest.lines import Block\n"
        "from ingest.header import layout_of_line\n"
        "text = b'1772345730,M1/1,OL\\n\\nsoon,M1/1,2.5\\nx\\n' * 9\n"
        "t, g, v = parse(Block(text), layout_of_line(b'time,tag,value')).columns\n"
        "read_times(t, None), read_values(v, np.zeros(len(v), np.uint8))\n"
        "assert 'pandas' not in sys.modules\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


SITE = """
schema = 1
[site]
id = "a"
name = "A (invented)"
timezone = "UTC"
[[station]]
id = "b"
name = "B (invented)"
kind = "drum"
points = { resistance = {} }
"""


@pytest.mark.parametrize(
    "readings",
    [
        '[{"t": 1772345730000, "v": 1.5}, {"t": 1772345731000, "v": 1.5}]',
        '[{"t": 1772345730000, "v": null}, {"t": 1772345731000, "v": "OL"}]',
        '[{"t": "2026-03-01T06:15:30Z", "v": 3.5}, {"t": "2026-03-01T06:15:31Z", "v": 3}]',
    ],
)
def test_a_listener_does_not_wait_for_pandas(readings: str) -> None:
    code = (
        "import sys\n"
        "from bondtrail.site import parse_site\n"
        "from ingest.live.decoding import Decoder\n"
        "from ingest.live.messages import Message\n"
        f"now, site = 1772345760 * 10**9, parse_site({SITE!r})\n"
        f"message = Message('bondtrail/a/b/resistance', {readings.encode()!r}, now)\n"
        "found = Decoder(site, source='x').decode([message], now)\n"
        "assert len(found.batch['b.resistance']) == 2, found\n"
        "assert 'pandas' not in sys.modules\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
