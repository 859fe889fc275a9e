"""MANIFEST: what it says, that other programs read it, and what of an archive differs from it."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from analytics.evidence.archive import Archive, Member, member
from analytics.evidence.faults import UnreadableError
from analytics.evidence.manifest import Entry, differences, manifest, parse_manifest, sha256

FILES = [member("b.txt", b"bb" * 400), member("a.parquet", b"abc")]
ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_the_hash_is_the_published_one() -> None:
    """FIPS 180-4: the example "abc" of SHA-256 (NIST, Cryptographic Standards examples)."""
    assert sha256(b"abc") == ABC


def test_it_names_every_file_by_name_with_size_and_hash() -> None:
    told = parse_manifest(manifest(FILES))
    assert list(told) == ["a.parquet", "b.txt"]
    assert told["a.parquet"] == Entry(3, ABC, ABC)
    assert told["b.txt"].size == 800
    assert told["b.txt"].packed == sha256(FILES[0].packed) != told["b.txt"].sha256


def test_a_common_program_checks_it(tmp_path: Path) -> None:
    program = shutil.which("sha256sum")
    if program is None:
        pytest.skip("sha256sum is not installed")
    for item in FILES:
        (tmp_path / item.name).write_bytes(item.content)
    (tmp_path / "MANIFEST").write_bytes(manifest(FILES))
    call = [program, "--check", "--strict", "MANIFEST"]
    assert subprocess.run(call, cwd=tmp_path, capture_output=True).returncode == 0
    (tmp_path / "a.parquet").write_bytes(b"abd")
    assert subprocess.run(call, cwd=tmp_path, capture_output=True).returncode == 1


def archive(*members: Member, flaw: str | None = None) -> Archive:
    return Archive(members, flaw)


LISTED = member("MANIFEST", manifest(FILES))


@pytest.mark.parametrize(
    ("members", "said"),
    [
        pytest.param([*FILES, LISTED], [], id="as-it-says"),
        pytest.param([*FILES, LISTED, member("MANIFEST.sig", b"")], [], id="and-signed"),
        pytest.param([FILES[0], LISTED], ["a.parquet is missing: MANIFEST names it"], id="removed"),
        pytest.param(
            [*FILES, LISTED, member("c.txt", b"")], ["c.txt is not named in MANIFEST"], id="added"
        ),
        pytest.param(
            [FILES[0], member("a.parquet", b"abd"), LISTED],
            ["a.parquet was changed: its SHA-256 is not the one in MANIFEST"],
            id="changed",
        ),
        pytest.param(
            [FILES[1], Member("b.txt", FILES[0].content, b"other"), LISTED],
            ["b.txt is packed in another way than it was written"],
            id="packed-otherwise",
        ),
    ],
)
def test_what_differs_is_told(members: list[Member], said: list[str]) -> None:
    assert list(differences(parse_manifest(manifest(FILES)), archive(*members))) == said


def test_how_files_are_packed_says_nothing_of_a_zip_that_another_program_wrote() -> None:
    again = archive(FILES[1], Member("b.txt", FILES[0].content, b"other"), flaw="rewritten")
    assert list(differences(parse_manifest(manifest(FILES)), again)) == []


@pytest.mark.parametrize(
    "change",
    [
        pytest.param(lambda text: b"", id="empty"),
        pytest.param(lambda text: text[:-1], id="cut-short"),
        pytest.param(lambda text: text + b"\n", id="longer"),
        pytest.param(lambda text: text.replace(b"size 3", b"size 03"), id="another-number"),
        pytest.param(lambda text: text.replace(b"ba78", b"BA78"), id="capitals"),
        pytest.param(lambda text: text.replace(b"\n", b"\r\n"), id="line-ends"),
        pytest.param(lambda text: text.replace(b"format 1", b"format 2"), id="another-format"),
        pytest.param(lambda text: text + text[text.index(b"# size") :], id="twice"),
        pytest.param(lambda text: text + b"# a remark\n", id="remark"),
        pytest.param(lambda text: b"\xff" + text, id="no-text"),
    ],
)
def test_what_is_written_in_another_way_is_none(change: object) -> None:
    with pytest.raises(UnreadableError, match="not written as a manifest"):
        parse_manifest(change(manifest(FILES)))  # type: ignore[operator]
