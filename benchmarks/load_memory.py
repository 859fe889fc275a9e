"""Peak memory of loading a file of 2 GB: run only when asked for, it takes minutes."""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
from pathlib import Path

from benchmarks.load_csv import load, write_long_csv
from benchmarks.table import Row

SIZE = 2 << 30
MOST = 500_000_000
_BYTES_A_ROW = 32.6


def _child(*arguments: object) -> list[int]:
    """Do one step in a process of its own: Linux counts a parent's memory to its children."""
    command = [sys.executable, "-m", "benchmarks.load_memory", *map(str, arguments)]
    told = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    return [int(word) for word in told.split()]


def measure(size: int = SIZE) -> list[Row]:
    """Measure the peak beside the bound of the requirements."""
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "long.csv"
        _child("write", path, round(size / _BYTES_A_ROW))
        size = path.stat().st_size
        peak, rows = _child("load", path, name)
    return [
        Row(
            f"peak memory of loading {size / 1e9:.2f} GB, {rows / 1e6:.0f} M rows",
            f"{peak / 1e6:.0f} MB",
            f"{MOST / 1e6:.0f} MB allowed",
            peak / MOST,
            "below 500 MB",
            peak < MOST,
        )
    ]


if __name__ == "__main__":
    step, file, last = sys.argv[1:]
    if step == "write":
        write_long_csv(Path(file), int(last))
    else:
        report = load(Path(file), Path(last))
        print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024, report.read)
