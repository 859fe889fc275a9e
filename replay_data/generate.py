"""Write the demo's readings and papers again: ``python -m replay_data.generate [FOLDER]``.

Everything is invented and comes from fixed seeds: the same script writes the same files.
"""

from __future__ import annotations

import sys
from bisect import bisect
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from random import Random

import zstandard

from bondtrail.site import Role, Station, load_site
from replay_data import bays, demo_files, dryer, paperwork, shifts
from replay_data.recording import Signal, Span, rows
from replay_data.shifts import MINUTE, at, march
from replay_data.traffic import Done

HEARTBEAT_MS = {
    Role.RESISTANCE: 2 * MINUTE,
    Role.FLOW: 5 * MINUTE,
}
CONTACT_HEARTBEAT_MS = 30 * MINUTE
WOBBLE = {Role.RESISTANCE: 0.008}

COLLECTOR_OFF = Span(at(march(29), "00:40"), at(march(29), "02:25"))
"""The night the clocks change the collector is down: every tag."""
MONDAYS = [shifts.at(day, "00:00") for day in shifts.days() if day.weekday() == 0]
FIRST_WEEK = shifts.FIRST.isocalendar().week - 1

Signals = dict[str, dict[Role, Signal]]
"""By station and role."""


@dataclass(frozen=True)
class Story:
    """The four weeks: every signal, and every filling made."""

    signals: Signals
    done: list[Done]
    products: dict[str, str]


def tell() -> Story:
    """Live through the four weeks at every station of the site file."""
    site = load_site(demo_files().site)
    signals = {station.id: _signals(station) for station in site.stations}
    done: list[Done] = []
    for station in site.stations:
        if station.is_fixed:
            dryer.play(station.id, signals[station.id])
        else:
            done += bays.diary(station.id, signals[station.id]).play()
    return Story(signals, done, {station.id: station.product or "" for station in site.stations})


def _signals(station: Station) -> dict[Role, Signal]:
    return {role: _signal(role, point.aliases[0]) for role, point in station.points.items()}


def _signal(role: Role, tag: str) -> Signal:
    heartbeat = HEARTBEAT_MS.get(role, CONTACT_HEARTBEAT_MS)
    return Signal(tag, Random(f"alder-quay {tag}"), heartbeat, WOBBLE.get(role, 0.0))


def weeks(signals: Signals) -> Iterator[tuple[str, str]]:
    """Yield (name of the week, long CSV) of all signals."""
    listed = [
        (signal, _outages(station, role))
        for station, roles in signals.items()
        for role, signal in roles.items()
    ]
    every = rows(listed, shifts.RECORDED_UNTIL)
    for week, group in groupby(every, key=lambda row: bisect(MONDAYS, row[0])):
        text = "".join(row for _, row in group)
        yield f"2026-w{FIRST_WEEK + week}", "time,tag,value,quality\n" + text


def _outages(station: str, role: Role) -> list[Span]:
    cut = station.startswith("road") and role is not Role.FLOW
    return [bays.SWITCH_OFF, COLLECTOR_OFF] if cut else [COLLECTOR_OFF]


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
