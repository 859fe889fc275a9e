"""The demo: four invented weeks of an invented site, and the script that made them."""

from __future__ import annotations

from dataclasses import dataclass
from importlib import resources
from pathlib import Path


@dataclass(frozen=True, slots=True)
class DemoFiles:
    """Where the files of the demo lie."""

    site: Path
    readings: list[Path]
    work: Path
    batch: Path


def demo_files() -> DemoFiles:
    """Return the paths of the demo's files; the readings in order of time."""
    folder = Path(str(resources.files(__name__)))
    return DemoFiles(
        site=folder / "site.toml",
        readings=sorted(folder.glob("readings-*.csv.zst")),
        work=folder / "work.csv",
        batch=folder / "batch.csv",
    )
