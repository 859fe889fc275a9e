"""The script writes the demo's files again."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest
import zstandard

from replay_data import demo_files, generate, paperwork


@pytest.fixture(scope="module")
def story() -> generate.Story:
    return generate.tell()


@pytest.fixture(scope="module")
def weeks(story: generate.Story) -> Mapping[str, str]:
    return dict(generate.weeks(story.signals))


def test_the_readings_are_the_same_to_the_byte(weeks: Mapping[str, str]) -> None:
    unpack = zstandard.ZstdDecompressor().decompress
    committed = {path.name: unpack(path.read_bytes()) for path in demo_files().readings}
    again = {f"readings-{name}.csv.zst": text.encode() for name, text in weeks.items()}
    assert list(again) == list(committed)
    for name, text in again.items():
        assert text == committed[name], f"{name} differs: run python -m replay_data.generate"


def test_the_papers_are_the_same_to_the_byte(story: generate.Story) -> None:
    tickets = paperwork.tickets(story.done, story.products)
    assert paperwork.batch_csv(tickets).encode() == demo_files().batch.read_bytes()
    assert paperwork.work_csv().encode() == demo_files().work.read_bytes()


def test_writing_packs_the_same_text_the_same_way(
    tmp_path: Path, story: generate.Story, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(generate, "tell", lambda: story)
    monkeypatch.setattr(generate, "weeks", lambda signals: [("w", "time,tag,value,quality\n")])
    packed = []
    for name in ("once", "again"):
        folder = tmp_path / name
        folder.mkdir()
        generate.write(folder)
        assert {path.name for path in folder.iterdir()} == {
            "readings-w.csv.zst",
            "batch.csv",
            "work.csv",
        }
        packed.append((folder / "readings-w.csv.zst").read_bytes())
    assert packed[0] == packed[1]
