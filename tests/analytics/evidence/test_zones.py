"""Which rules of local time were used: the machine's files come first, then the library's."""

from __future__ import annotations

import hashlib
import zoneinfo
from importlib import metadata
from pathlib import Path

import pytest

from analytics.evidence.zones import zone_version

LISBON = zoneinfo.ZoneInfo("Europe/Lisbon")
RULES = b"TZif2 of some system"
DIGEST = hashlib.sha256(RULES).hexdigest()[:16]


@pytest.fixture
def system(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr("zoneinfo.TZPATH", (str(tmp_path / "nowhere"), str(tmp_path)))
    (tmp_path / "Europe").mkdir()
    (tmp_path / "Europe" / "Lisbon").write_bytes(RULES)
    return tmp_path


@pytest.mark.parametrize(
    ("name", "content", "version"),
    [
        ("tzdata.zi", "# version 2026a\n# more\n", "2026a"),
        ("tzdata.zi", "R more\n", "unknown version"),
        ("+VERSION", "2025z\n", "2025z"),
        ("README", "", "unknown version"),
    ],
)
def test_files_of_the_system_are_named_as_such(
    system: Path, name: str, content: str, version: str
) -> None:
    (system / name).write_text(content)
    assert zone_version(LISBON) == f"{version} of the system, {DIGEST}"


def test_where_the_system_has_none_those_of_the_library_are(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("zoneinfo.TZPATH", (str(tmp_path),))
    told = zone_version(LISBON)
    assert told.startswith(f"{metadata.version('tzdata')} of the tzdata library, ")
    assert zone_version(zoneinfo.ZoneInfo("UTC")) != told
