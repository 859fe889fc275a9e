"""A long CSV of five million rows, rejects and all, into the store, beside its bare parse."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pacsv

from benchmarks.table import Row, median_seconds
from bondtrail.site import Site, parse_site
from ingest import LoadReport, load_files
from store import open_store

ROWS = 5_000_000
STATIONS = 12
BAD_SHARE = 0.001
BAD_ROWS = (
    "not-a-time,M1/1,2.31",
    "2026-03-01T06:15:30.250Z,M1/1,-4",
    "2026-03-01T06:15:30.250Z,M99/9,2.31",
    "2026-03-01T06:15:30.250Z,P1,maybe",
    "2026-03-01T06:15:30.250Z,M1/1,2.31,0,0",
)
_TAGS = (("M", "/1"), ("P", ""), ("F", ""))
_START_MS = 1_772_323_200_000  # 2026-03-01
_STATION = """
[[station]]
id = "rail-{n}"
name = "Rail spot {n}"
kind = "rail_tank_car"
[station.points]
resistance = {{ alias = ["M{n}/1"], unit = "ohm" }}
permissive = {{ alias = ["P{n}"] }}
flow = {{ alias = ["F{n}"], unit = "m3/h" }}
"""
_SITE = """
schema = 1
[site]
id = "bench"
name = "Bench (invented)"
timezone = "Europe/Lisbon"
"""


def bench_site() -> Site:
    """Return an invented site of rail spots with a resistance, a permissive and a flow each."""
    return parse_site(_SITE + "".join(_STATION.format(n=n + 1) for n in range(STATIONS)))


def write_long_csv(path: Path, rows: int, seed: int = 3) -> None:
    """Write readings of all points at about 1 Hz, one row in a thousand of them bad."""
    rng = np.random.default_rng(seed)
    with path.open("wb") as file:
        file.write(b"time,tag,value\n")
        for first in range(0, rows, 1 << 20):
            file.write(_lines(rng, first, min(1 << 20, rows - first)))


def _lines(rng: np.random.Generator, first: int, rows: int) -> bytes:
    place = np.arange(first, first + rows)
    points = 3 * STATIONS
    ms = _START_MS + place // points * 1000 + place % points * 25 + rng.integers(0, 20, rows)
    time = pa.array(ms).cast(pa.timestamp("ms")).cast(pa.string())
    time = pc.binary_replace_slice(time, 10, 11, "T")
    tag = pa.array([f"{kind}{n + 1}{end}" for n in range(STATIONS) for kind, end in _TAGS])
    role = place % 3
    value = pc.if_else(pa.array(role == 0), _resistance(rng, rows), _others(rng, role))
    lines = pc.binary_join_element_wise(
        pc.binary_join_element_wise(time, "Z", ""), tag.take(pa.array(place % points)), value, ","
    )
    bad = pa.array(rng.random(rows) < BAD_SHARE)
    lines = pc.if_else(bad, pa.array(rng.choice(BAD_ROWS, rows)), lines)
    text = pc.binary_join_element_wise(lines, "\n", "")
    parts = text.chunks if isinstance(text, pa.ChunkedArray) else [text]
    return b"".join(_bytes_of(part) for part in parts)


def _bytes_of(texts: pa.Array) -> bytes:
    edges = np.frombuffer(texts.buffers()[1], np.int32, len(texts) + 1, texts.offset * 4)
    return bytes(texts.buffers()[2].slice(int(edges[0]), int(edges[-1] - edges[0])))


def _resistance(rng: np.random.Generator, rows: int) -> pa.Array:
    ohm = pa.array(np.round(rng.lognormal(1.0, 0.2, rows), 2)).cast(pa.string())
    return pc.if_else(pa.array(rng.random(rows) < 0.3), "OL", ohm)


def _others(rng: np.random.Generator, role: np.ndarray) -> pa.Array:
    flow = pa.array(np.round(rng.normal(48.0, 0.3, role.size), 1)).cast(pa.string())
    return pc.if_else(pa.array(role == 1), "1", flow)


def typed_parse(path: Path) -> int:
    """Parse in one pass that is told the types, and the one word that is no time in this file."""
    types = {"time": pa.timestamp("ns", "UTC"), "tag": pa.string(), "value": pa.string()}
    return int(_parsed(path, types, ["not-a-time"]).num_rows)


def text_parse(path: Path) -> int:
    """Parse as text, as a file with bad rows has to be, and then convert the times."""
    table = _parsed(path, dict.fromkeys(("time", "tag", "value"), pa.string()), [])
    time = table["time"].filter(pc.not_equal(table["time"], "not-a-time"))
    return len(time.cast(pa.timestamp("ns", "UTC")))


def _parsed(path: Path, types: dict[str, pa.DataType], nulls: list[str]) -> pa.Table:
    return pacsv.read_csv(
        path,
        parse_options=pacsv.ParseOptions(invalid_row_handler=lambda _: "skip"),
        convert_options=pacsv.ConvertOptions(column_types=types, null_values=nulls),
    )


def load(path: Path, folder: Path) -> LoadReport:
    """Load into a new store until all is folded and durable."""
    for old in folder.glob("bench.db*"):
        old.unlink()
    with open_store(f"sqlite:///{folder / 'bench.db'}") as store:
        report = load_files(store, bench_site(), [path], now=0)
        store.fold()
    return report


def measure() -> list[Row]:
    """Time the load beside two bare parses of the same file, neither of which keeps anything."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = folder / "long.csv"
        write_long_csv(path, ROWS)
        text = ROWS / median_seconds(lambda: text_parse(path))
        typed = ROWS / median_seconds(lambda: typed_parse(path))
        ours = ROWS / median_seconds(lambda: load(path, folder))
    return [
        _row("load a long CSV of 5 M rows, durable", ours, text, "text, times cast"),
        _row("the same beside a parse told the types", ours, typed, "typed parse"),
    ]


def _row(name: str, ours: float, bare: float, yardstick: str) -> Row:
    return Row(
        name,
        f"{ours / 1e6:.2f} M rows/s",
        f"{bare / 1e6:.2f} M/s, {yardstick}",
        ours / bare,
        "at least a third",
        ours / bare >= 1 / 3,
    )


if __name__ == "__main__":
    print(*measure(), sep="\n")
