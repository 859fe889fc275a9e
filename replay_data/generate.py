"""Write the demo's readings and papers again: ``python -m replay_data.generate [FOLDER]``.

Everything is invented and comes from fixed seeds: the same script writes the same files.
"""

from __future__ import annotations

import sys
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from random import Random
from typing import Any

import zstandard

from replay_data import bays, demo_files, dryer, paperwork, shifts
from replay_data.recording import Signal, Span, rows
from replay_data.shifts import MINUTE, at, march
from replay_data.traffic import Done

HEARTBEAT_MS = {
    "resistance": 2 * MINUTE,
    "flow": 5 * MINUTE,
}
CONTACT_HEARTBEAT_MS = 60 * MINUTE
WOBBLE = {"resistance": 0.008}

COLLECTOR_OFF = Span(at(march(29), "00:40"), at(march(29), "02:25"))
"""The night the clocks change the collector is down: every tag."""
SWITCH_OFF = Span(at(march(26), "10:12"), at(march(26), "10:52"))
"""The road bays' network switch is down: monitor unit M2; the flow meters go another way."""

Signals = dict[str, dict[str, Signal]]
"""By station and role."""


@dataclass(frozen=True)
class Story:
    """The four weeks: every signal, and every filling made."""

    signals: Signals
    done: list[Done]
    products: dict[str, str]


def tell() -> Story:
    """Live through the four weeks at every station of the site file."""
    stations = tomllib.loads(demo_files().site.read_text(encoding="utf-8"))["station"]
    signals = {station["id"]: _signals(station) for station in stations}
    done: list[Done] = []
    for station in stations:
        if station["kind"] == "fixed_item":
            dryer.play(station["id"], signals[station["id"]])
        else:
            done += bays.diary(station["id"], signals[station["id"]]).play()
    return Story(signals, done, {station["id"]: station["product"] for station in stations})


def _signals(station: Mapping[str, Any]) -> dict[str, Signal]:
    return {role: _signal(role, point["alias"][0]) for role, point in station["points"].items()}


def _signal(role: str, tag: str) -> Signal:
    heartbeat = HEARTBEAT_MS.get(role, CONTACT_HEARTBEAT_MS)
    return Signal(tag, Random(f"alder-quay {tag}"), heartbeat, WOBBLE.get(role, 0.0))


def weeks(signals: Signals) -> Iterator[tuple[str, str]]:
    """Yield (name of the week, long CSV) of all signals."""
    listed = [
        (signal, _outages(station, role))
        for station, roles in signals.items()
        for role, signal in roles.items()
    ]
    every = rows(listed, shifts.END)
    for week, group in groupby(every, key=lambda row: shifts.day(row[0]).isocalendar().week):
        yield f"2026-w{week}", "time,tag,value,quality\n" + "".join(row for _, row in group)


def _outages(station: str, role: str) -> list[Span]:
    cut = station.startswith("road") and role != "flow"
    return [SWITCH_OFF, COLLECTOR_OFF] if cut else [COLLECTOR_OFF]


def write(folder: Path) -> None:
    """Write readings, tickets and work orders into ``folder``."""
    story = tell()
    packer = zstandard.ZstdCompressor(level=19, write_content_size=True)
    for name, text in weeks(story.signals):
        packed = packer.compress(text.encode("ascii"))
        (folder / f"readings-{name}.csv.zst").write_bytes(packed)
    tickets = paperwork.tickets(story.done, story.products)
    (folder / "batch.csv").write_text(paperwork.batch_csv(tickets), encoding="ascii", newline="")
    (folder / "work.csv").write_text(paperwork.work_csv(), encoding="ascii", newline="")


if __name__ == "__main__":
    write(Path(sys.argv[1]) if len(sys.argv) > 1 else demo_files().site.parent)
