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


def peak_of_load(path: Path, folder: Path) -> tuple[int, int]:
    """Load in a process of its own; return its peak memory in bytes, and the rows read."""
    command = [sys.executable, "-m", "benchmarks.load_memory", str(path), str(folder)]
    told = subprocess.run(command, capture_output=True, text=True, check=True).stdout.split()
    return int(told[0]), int(told[1])


def measure(size: int = SIZE) -> list[Row]:
    """Measure the peak beside the bound of the requirements."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = folder / "long.csv"
        write_long_csv(path, round(size / _BYTES_A_ROW))
        size = path.stat().st_size
        peak, rows = peak_of_load(path, folder)
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
    report = load(Path(sys.argv[1]), Path(sys.argv[2]))
    peak_kib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    print(peak_kib * 1024, report.read)
