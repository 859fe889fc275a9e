"""The zip: one layout, any byte of it told, and no harm from one that somebody else made."""

from __future__ import annotations

import io
import warnings
import zipfile
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.evidence import archive
from analytics.evidence.archive import Member, member, pack, unpack
from analytics.evidence.faults import EvidenceError, UnreadableError

FILES = {"MANIFEST": b"first", "a.txt": b"x" * 5000, "readings/flow.parquet": b"\0\1" * 50}


def packed(files: dict[str, bytes] = FILES) -> bytes:
    return pack(member(name, content) for name, content in files.items())


def zipped(*entries: tuple[str, bytes], method: int = zipfile.ZIP_STORED) -> bytes:
    """A zip as any other program writes it."""
    content = io.BytesIO()
    with warnings.catch_warnings(), zipfile.ZipFile(content, "w", method) as file:
        warnings.simplefilter("ignore")  # of a name that comes twice
        for name, data in entries:
            file.writestr(name, data)
    return content.getvalue()


def test_what_was_packed_comes_out_again() -> None:
    found = unpack(packed())
    assert found.flaw is None
    assert found.contents() == FILES


def test_any_zip_reader_takes_it() -> None:
    with zipfile.ZipFile(io.BytesIO(packed())) as file:
        assert file.testzip() is None
        assert file.namelist() == sorted(FILES)
        assert {info.date_time for info in file.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        assert file.read("a.txt") == FILES["a.txt"]


def test_the_order_of_the_files_does_not_matter() -> None:
    assert packed(dict(reversed(FILES.items()))) == packed()


def test_no_files_are_a_zip_too() -> None:
    assert unpack(packed({})).contents() == {}


@settings(max_examples=30)
@given(st.dictionaries(st.from_regex(r"[a-z][a-z0-9]{0,6}\.(txt|parquet)", fullmatch=True),
                       st.binary(max_size=300), max_size=5))  # fmt: skip
def test_any_files_come_out_again(files: dict[str, bytes]) -> None:
    found = unpack(packed(files))
    assert (found.flaw, found.contents()) == (None, files)


def found_wrong(data: bytes) -> bool:
    """Whether an archive is seen not to be what was packed."""
    try:
        found = unpack(data)
    except UnreadableError:
        return True
    packings = [item.packed for item in found.members]
    return found.flaw is not None or packings != [item.packed for item in unpack(packed()).members]


def test_every_byte_of_it_is_told() -> None:
    whole = packed()
    for place in range(len(whole)):
        for flip in (0x01, 0x80):
            changed = bytearray(whole)
            changed[place] ^= flip
            assert found_wrong(bytes(changed)), place


@pytest.mark.parametrize("cut", [1, 10, 22, 60])
def test_one_that_was_cut_short_or_added_to_is_told(cut: int) -> None:
    assert found_wrong(packed()[:-cut])
    assert found_wrong(packed() + b"x" * cut)
    assert found_wrong(b"x" * cut + packed())


def test_one_packed_again_by_another_program_is_told_with_its_contents() -> None:
    again = unpack(zipped(*FILES.items(), method=zipfile.ZIP_DEFLATED))
    assert again.contents() == FILES
    assert again.flaw is not None
    assert "not as it was written, from byte" in again.flaw


@pytest.mark.parametrize(
    "name",
    ["../a.txt", "/etc/a", "a/../../b", "..", ".", "a//b", "C:\\a", "a\\b", "a b", "\u202ea",
     "a\nb", "a/", "-rf", ".hidden", "a" + "/b" * 8],
)  # fmt: skip
def test_a_name_that_leads_elsewhere_is_refused(name: str) -> None:
    with pytest.raises(UnreadableError, match="no name of a package"):
        unpack(zipped((name, b"x")))
    with pytest.raises(ValueError, match="no name for a file"):
        member(name, b"x")


def test_a_name_that_comes_twice_is_refused() -> None:
    with pytest.raises(UnreadableError, match=r"two files named a\.txt"):
        unpack(zipped(("a.txt", b"x"), ("a.txt", b"y")))


def test_too_many_files_are_refused() -> None:
    entries = [(f"f{n}", b"") for n in range(archive.MOST_MEMBERS + 1)]
    with pytest.raises(UnreadableError, match="201 files"):
        unpack(zipped(*entries))
    with pytest.raises(EvidenceError, match="201 files"):
        pack(member(name, content) for name, content in entries)


def test_what_would_be_too_large_unpacked_is_refused_before_it_is(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    bomb = zipped(("a.txt", b"\0" * 3_000_000), method=zipfile.ZIP_DEFLATED)
    assert len(bomb) < 10_000
    monkeypatch.setattr(archive, "MOST_CONTENT", 2_000_000)
    with pytest.raises(UnreadableError, match="when unpacked"):
        unpack(bomb)
    with pytest.raises(EvidenceError, match="more than") as caught:
        pack([member("a.txt", b"\0" * 3_000_000)])
    assert caught.value.remedy == "Take a shorter --margin."


def test_one_that_claims_less_than_it_unpacks_to_is_refused() -> None:
    whole = bytearray(zipped(("a.txt", b"\0" * 100_000), method=zipfile.ZIP_DEFLATED))
    for signature, place in ((b"PK\3\4", 22), (b"PK\1\2", 24)):
        at = whole.index(signature) + place
        whole[at : at + 4] = (10).to_bytes(4, "little")
    with pytest.raises(UnreadableError):
        unpack(bytes(whole))


@pytest.mark.parametrize("method", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_other_ways_to_pack_are_refused(method: int) -> None:
    with pytest.raises(UnreadableError, match="packed in another way"):
        unpack(zipped(("a.txt", b"x" * 100), method=method))


def test_an_encrypted_one_is_refused() -> None:
    whole = bytearray(zipped(("a.txt", b"x")))
    for signature, place in ((b"PK\3\4", 6), (b"PK\1\2", 8)):
        whole[whole.index(signature) + place] |= 1
    with pytest.raises(UnreadableError, match="encrypted"):
        unpack(bytes(whole))


@given(st.binary(max_size=200))
def test_no_bytes_do_harm(data: bytes) -> None:
    for tried in (data, b"PK\3\4" + data, packed()[:60] + data, data + packed()[-40:]):
        with suppress(UnreadableError):
            unpack(tried)


def test_a_stream_that_unpacks_to_the_same_is_another_member() -> None:
    """The last byte of a deflated file has bits that mean nothing: only its own hash tells."""
    honest = member("a.txt", b"x" * 5000)
    other = Member("a.txt", honest.content, honest.packed[:-1] + bytes([honest.packed[-1] ^ 0x80]))
    found = unpack(pack([other]))
    assert found.contents() == {"a.txt": honest.content}
    assert found.members[0].packed != honest.packed


def test_a_file_larger_than_any_package_is_not_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "large.zip"
    path.write_bytes(b"x" * 101)
    monkeypatch.setattr(archive, "MOST_ARCHIVE", 100)
    with pytest.raises(UnreadableError, match="larger than"):
        archive.read_archive(path)
    with pytest.raises(EvidenceError, match="larger than"):
        pack([member("a.parquet", b"x" * 200)])
