from __future__ import annotations

import subprocess
import sys

import numpy as np
import pyarrow as pa
import pytest

from ingest.arrays import as_mask, as_rows, mask_of, numbers_of


@pytest.mark.parametrize("size", [0, 1, 8, 9, 1000])
def test_masks_and_rows_there_and_back(size: int) -> None:
    mask = np.arange(size) % 3 == 0
    assert mask_of(as_mask(mask)).tolist() == mask.tolist()
    column = pa.array(np.arange(size))
    assert numbers_of(column.filter(as_mask(mask))).tolist() == np.flatnonzero(mask).tolist()
    rows = np.flatnonzero(mask)
    assert numbers_of(column.take(as_rows(rows))).tolist() == rows.tolist()


def test_slices() -> None:
    assert numbers_of(pa.array([1.5, 2.5, 3.5]).slice(1)).tolist() == [2.5, 3.5]
    assert mask_of(pa.array([True, False, True]).slice(1)).tolist() == [False, True]


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
