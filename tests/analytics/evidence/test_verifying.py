"""Checking a package: whatever was changed is found, and it says what a check cannot tell."""

from __future__ import annotations

import dataclasses
import random
import zipfile
import zlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from io import BytesIO
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analytics.evidence import (
    Grade,
    Package,
    UnreadableError,
    verify_bytes,
)
from analytics.evidence.signing import Ed25519PrivateKey, fingerprint, public_pem
from tests.analytics.evidence import quay
from tests.analytics.evidence.conftest import KEY
from tests.analytics.evidence.forging import (
    all_anew,
    drawn,
    edited,
    grades,
    is_found,
    said,
    setting,
    with_reading,
)

S = 1_000_000_000
PUBLIC = KEY.public_key()
STRANGER = Ed25519PrivateKey.from_private_bytes(b"s" * 32)


@pytest.fixture(scope="module", autouse=True)
def _not_drawn() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("analytics.evidence.building.drawings", drawn)
        yield


@pytest.fixture(scope="module")
def made(sketched: Package) -> Package:
    return sketched


@pytest.fixture
def not_looked_into(monkeypatch: pytest.MonkeyPatch) -> None:
    """What the files say is not looked at: their bytes alone must tell."""
    monkeypatch.setattr("analytics.evidence.verifying.checks_of_content", lambda files: ([], None))


def test_a_package_as_it_was_made_is_sound(made: Package) -> None:
    found = verify_bytes(made.content)
    assert found.sound
    assert grades(found) == {
        "zip": Grade.GOOD, "files": Grade.GOOD, "signature": Grade.UNTOLD,
        "SHA-256": Grade.UNTOLD, "readings": Grade.GOOD, "reviews": Grade.GOOD,
        "rules": Grade.GOOD, "documents": Grade.GOOD, "page": Grade.GOOD,
    }  # fmt: skip
    assert found.transfer == quay.TRANSFER
    assert (found.sha256, found.manifest_sha256) == (made.sha256, made.manifest_sha256)
    assert "gives what is enclosed: 1 transfer, 1 hookup, 1 trip, 5 findings" in said(
        found, "rules"
    )


# What can be said of who made it


@pytest.mark.usefixtures("not_looked_into")
def test_one_without_a_signature_could_have_been_made_anew_and_says_so(made: Package) -> None:
    assert "Not signed. Somebody who can write all of it could have built all of it anew" in said(
        verify_bytes(made.content), "signature"
    )


@pytest.mark.usefixtures("not_looked_into")
def test_a_signature_by_an_enclosed_key_alone_proves_nothing_and_says_so(signed: Package) -> None:
    found = verify_bytes(signed.content)
    assert grades(found)["signature"] is Grade.UNTOLD
    assert fingerprint(PUBLIC) in said(found, "signature")
    assert "proves nothing by itself" in said(found, "signature")


def test_a_signature_by_the_given_key_is_good(signed: Package) -> None:
    found = verify_bytes(signed.content, key=PUBLIC)
    assert grades(found)["signature"] is Grade.GOOD
    assert found.sound


def resigned(signed: Package, key: Ed25519PrivateKey) -> bytes:
    files = quay.files_of(signed.content)
    return quay.remade({**files, "signer.pem": public_pem(key.public_key())}, key=key)


def test_a_signature_by_somebody_else_is_told(signed: Package) -> None:
    theirs = resigned(signed, STRANGER)
    assert verify_bytes(theirs).sound  # by itself there is nothing wrong with it
    found = verify_bytes(theirs, key=PUBLIC)
    assert "signed by another key" in said(found, "signature")
    assert not found.sound


@pytest.mark.usefixtures("not_looked_into")
@pytest.mark.parametrize(
    ("change", "why"),
    [
        pytest.param({"MANIFEST.sig": None}, "the signature was taken out", id="taken-out"),
        pytest.param({"MANIFEST.sig": b"\0" * 64}, "does not fit", id="another"),
        pytest.param({"MANIFEST.sig": b""}, "does not fit", id="empty"),
        pytest.param({"signer.pem": None}, "no signer.pem", id="no-key"),
        pytest.param({"signer.pem": b"no key"}, "no public key in PEM", id="key-that-is-none"),
        pytest.param(
            {"signer.pem": public_pem(STRANGER.public_key())}, "does not fit", id="another-key"
        ),
    ],
)
def test_a_signature_that_is_not_as_it_was_is_told(
    signed: Package, change: Mapping[str, bytes | None], why: str
) -> None:
    files = {**quay.files_of(signed.content), **change}
    data = quay.remade({name: content for name, content in files.items() if content is not None})
    for key in (None, PUBLIC):
        found = verify_bytes(data, key=key)
        assert why in said(found, "signature")
        assert not found.sound


@pytest.mark.usefixtures("not_looked_into")
def test_one_that_should_be_signed_and_is_not_is_told(made: Package) -> None:
    found = verify_bytes(made.content, key=PUBLIC)
    assert grades(found)["signature"] is Grade.WRONG


@pytest.mark.usefixtures("not_looked_into")
@pytest.mark.parametrize("of", ["sha256", "manifest_sha256"])
def test_a_digest_that_was_kept_is_compared(made: Package, of: str) -> None:
    kept = getattr(made, of)
    for expected in (kept, kept.upper(), f" {kept}\n"):
        assert grades(verify_bytes(made.content, expected=expected))["SHA-256"] is Grade.GOOD
    assert not verify_bytes(made.content, expected="0" * 64).sound


# Whatever is changed is found

NAMES = [
    "README.txt", "about.json", "coverage.json", "events.csv", "evidence.html",
    "figures/record.svg", "paperwork.json", "readings/bypass.csv", "readings/bypass.parquet",
    "readings/flow.csv", "readings/flow.parquet", "readings/permissive.csv",
    "readings/permissive.parquet", "readings/resistance.csv", "readings/resistance.parquet",
    "rejects.json", "replay.json", "results.json", "reviews.json", "site/1.toml",
]  # fmt: skip


def test_each_file_of_a_package_is_tampered_with_below(made: Package) -> None:
    listed = set(quay.files_of(made.content)) - {"MANIFEST", "figures/hazard.svg"}
    assert listed == set(NAMES)


def changed(content: bytes) -> bytes:
    """The same with one letter or digit in its middle another."""
    place = next(k for k in range(len(content) // 2, len(content)) if chr(content[k]).isalnum())
    return content[:place] + bytes([content[place] ^ 1]) + content[place + 1 :]


TAMPERED: dict[str, Callable[[dict[str, bytes], str], None]] = {
    "changed": lambda files, name: files.update({name: changed(files[name])}),
    "emptied": lambda files, name: files.update({name: b""}),
    "longer": lambda files, name: files.update({name: files[name] + b"\n"}),
    "removed": lambda files, name: files.pop(name) and None,
    "renamed": lambda files, name: files.update({f"{name}x": files.pop(name)}),
    "swapped": lambda files, name: files.update(
        {name: files[other(name)], other(name): files[name]}
    ),
    "copied": lambda files, name: files.update({f"{name}-2": files[name]}),
}


def other(name: str) -> str:
    return NAMES[(NAMES.index(name) + 1) % len(NAMES)]


@pytest.mark.parametrize("how", TAMPERED)
@pytest.mark.parametrize("name", NAMES)
def test_a_file_that_was_tampered_with_is_found(made: Package, name: str, how: str) -> None:
    """With MANIFEST as it was, and made anew: the page alone tells of each file's SHA-256."""
    files = quay.files_of(made.content)
    TAMPERED[how](files, name)
    assert is_found(quay.remade(files, listed=False))
    assert is_found(quay.remade(files))


@pytest.mark.usefixtures("not_looked_into")
@pytest.mark.parametrize("name", ["MANIFEST", "MANIFEST.sig", "signer.pem"])
@pytest.mark.parametrize("how", ["changed", "emptied", "longer", "removed", "renamed"])
def test_the_chain_itself_cannot_be_tampered_with(signed: Package, name: str, how: str) -> None:
    files = quay.files_of(signed.content)
    TAMPERED[how](files, name)
    assert is_found(quay.remade(files, listed=False), key=PUBLIC)
    assert is_found(quay.remade(files, listed=False))


def test_a_file_that_was_added_is_found(made: Package) -> None:
    files = {**quay.files_of(made.content), "extra.txt": b"x"}
    assert "extra.txt is not named in MANIFEST" in said(
        verify_bytes(quay.remade(files, listed=False)), "files"
    )
    assert "extra.txt is no file of a package" in said(
        verify_bytes(quay.remade(files)), "documents"
    )


FEW = ("README.txt", "about.json", "readings/bypass.parquet", "signer.pem")


@pytest.mark.usefixtures("not_looked_into")
@pytest.mark.parametrize("names", [FEW, None], ids=["few-files", "all-files"])
def test_bytes_all_over_it_are_told(signed: Package, names: Sequence[str] | None) -> None:
    """One bit of one byte in some 200 places of each of two packages.

    And, of the one with few files, of every byte at both ends, where the zip has its marks.
    """
    files = quay.files_of(signed.content)
    if names:
        files = {name: files[name] for name in names}
    whole, seed = quay.remade(files, key=KEY), random.Random(7)
    assert not is_found(whole)
    ends = [*range(400), *range(len(whole) - 700, len(whole))] if names else [0, len(whole) - 1]
    for place in {*ends, *range(0, len(whole), len(whole) // 200)}:
        flipped = bytearray(whole)
        flipped[place] ^= 1 << seed.randrange(8)
        assert is_found(bytes(flipped)), place


@pytest.mark.usefixtures("not_looked_into")
def test_bits_that_mean_nothing_to_a_zip_are_told(made: Package) -> None:
    """A deflated file ends in up to seven bits that no reader looks at."""
    whole, same_content = made.content, 0
    with zipfile.ZipFile(BytesIO(whole)) as file:
        packed = [info for info in file.infolist() if info.compress_type == zipfile.ZIP_DEFLATED]
    for info in packed:
        flipped = bytearray(whole)
        end = info.header_offset + 30 + len(info.filename) + info.compress_size
        flipped[end - 1] ^= 0x80
        with (
            zipfile.ZipFile(BytesIO(bytes(flipped))) as file,
            suppress(zipfile.BadZipFile, zlib.error),
        ):
            same_content += file.read(info.filename) == quay.files_of(whole)[info.filename]
        assert is_found(bytes(flipped)), info.filename
    assert same_content > 0  # so it was the hash of the packed file that told


@pytest.mark.usefixtures("not_looked_into")
@settings(max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_whatever_is_done_to_its_bytes_is_told(made: Package, data: st.DataObject) -> None:
    whole = made.content
    start = data.draw(st.integers(0, len(whole)))
    end = data.draw(st.integers(start, min(start + 40, len(whole))))
    put = data.draw(st.binary(max_size=40))
    tried = whole[:start] + put + whole[end:]
    assert (tried == whole) or is_found(tried)


def test_a_zip_written_by_another_program_is_told_and_its_files_looked_at(made: Package) -> None:
    again = BytesIO()
    with zipfile.ZipFile(again, "w", zipfile.ZIP_DEFLATED) as file:
        for name, content in quay.files_of(made.content).items():
            file.writestr(name, content)
    found = verify_bytes(again.getvalue())
    assert grades(found)["zip"] is Grade.WRONG
    assert grades(found)["files"] is Grade.GOOD
    assert grades(found)["rules"] is Grade.GOOD


# All of it made anew, as far as somebody can


def test_a_reading_that_matters_is_found_by_the_rules(made: Package) -> None:
    """The bond that was lost for 20 s: now it comes back after two."""
    forged = quay.files_of(made.content)
    for second in range(902, 920):
        forged = with_reading(forged, second, 3.0)
    found = verify_bytes(quay.remade(forged))
    assert grades(found)["zip"] is grades(found)["files"] is grades(found)["readings"] is Grade.GOOD
    assert grades(found)["rules"] is Grade.WRONG
    assert f"finding {quay.LOST}: the rules do not give it" in said(found, "rules")


def test_a_reading_that_no_rule_looks_at_is_found_by_a_signature_or_a_digest_alone(
    signed: Package, made: Package
) -> None:
    """Whoever runs this software on a changed reading makes a package without a contradiction."""
    forged = quay.remade(all_anew(with_reading(quay.files_of(made.content), 150, 9e8)))
    assert verify_bytes(forged).sound
    assert is_found(forged, key=PUBLIC)
    assert is_found(forged, expected=made.sha256)
    assert is_found(forged, expected=made.manifest_sha256)
    kept = quay.files_of(signed.content)
    both = {**quay.files_of(forged), **{n: kept[n] for n in ("MANIFEST.sig", "signer.pem")}}
    assert is_found(quay.remade(both))


def _drop_finding(says: Any) -> None:
    says["findings"] = [row for row in says["findings"] if row["id"] != quay.LOST]


EDITS = [
    pytest.param("results.json", _drop_finding, "not enclosed", id="finding-left-out"),
    pytest.param("results.json", setting("findings", 0, "severity", "minor"), "another severity",
                 id="severity"),
    pytest.param("results.json", setting("findings", 0, "summary", "Nothing happened."),
                 "another summary", id="summary"),
    pytest.param("results.json", setting("findings", 0, "limits", "limit_ohm", 1e6),
                 "another limits", id="limit"),
    pytest.param("results.json", setting("findings", 0, "end", "2027-01-01T00:00:00.000Z"),
                 "does not say one thing", id="time-for-people"),
    pytest.param("results.json", setting("findings", 0, "rules", "1"), "another rules", id="rules"),
    pytest.param("results.json", setting("hookups", 0, "lowest_ohm", 1.0), "another lowest_ohm",
                 id="hookup"),
    pytest.param("results.json", setting("transfer", "compliant", True),
                 "does not hold the transfer", id="transfer"),
    pytest.param("results.json", setting("trips", []), "", id="nothing-changed"),
    pytest.param("paperwork.json", setting("tickets", 0, "operator", "B. Crane"),
                 "another operator", id="operator"),
    pytest.param("paperwork.json", setting("work", 0, "what", "none"), "", id="work-in-words-only"),
    pytest.param("replay.json", setting("events", 3, "detail", "all was well"), "events",
                 id="event"),
    pytest.param("replay.json", setting("caution", "It was safe."), "caution", id="caution"),
    pytest.param("replay.json", setting("limits", 0, "limits", "limit_ohm", 99.0), "limits",
                 id="limits-told"),
    pytest.param("coverage.json", setting("bond", "share", 1.0), "bond", id="coverage"),
    pytest.param("about.json", setting("cautions", []), "cautions", id="cautions"),
    pytest.param("about.json", setting("station_name", "Rail spot 2"), "station_name", id="name"),
    pytest.param("about.json", setting("beyond", ["finding x: it began before"]), "beyond",
                 id="excuse"),
    pytest.param("about.json", setting("points", []), "points", id="points"),
    pytest.param("reviews.json", setting(0, "comment", "rejected"), "review 1 was edited",
                 id="review"),
    pytest.param("reviews.json", lambda says: says.pop(1), "review 2 is missing",
                 id="review-taken-out"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "edit", "why"), EDITS)
def test_what_is_said_must_follow_from_what_is_enclosed(
    made: Package, name: str, edit: Callable[[Any], object], why: str
) -> None:
    files = quay.files_of(made.content)
    forged = edited(files, name, edit)
    found = verify_bytes(quay.remade(forged))
    if forged == files:
        assert found.sound
        return
    assert not found.sound
    assert why in " ".join(sentence for check in found.checks for sentence in check.said)


@pytest.mark.parametrize(
    ("name", "edit"),
    [
        ("about.json", setting("judged", "since", "ns", 2**63 - 1)),
        ("about.json", setting("judged", "since", "ns", 2**70)),
        ("about.json", setting("judged", "start", "ns", -(2**63))),
        ("about.json", setting("judged", "until", "ns", 0)),
        ("about.json", setting("judged", "end", "ns", 1.5)),
        ("about.json", setting("shown_from", "ns", 2**62)),
        ("about.json", setting("timezone", "../etc/passwd")),
        ("about.json", setting("timezone", "Nowhere/Else")),
        ("about.json", setting("station", "rail-2")),
        ("about.json", setting("transfer", "rail-1/none")),
        ("about.json", setting("sites", [])),
        ("about.json", setting("sites", 0, "file", "../site.toml")),
        ("about.json", setting("sites", 0, "file", "site/2.toml")),
        ("about.json", setting("more", 1)),
        ("about.json", setting("format", 1)),
        ("about.json", setting("format", 3)),
        ("about.json", setting("floor", {})),
        ("about.json", setting("margin_s", "wide")),
        ("about.json", setting("margin_s", 1e300)),
        ("results.json", setting("findings", None)),
        ("results.json", setting("findings", [1])),
        ("results.json", setting("findings", 0, "start_ns", 2**80)),
        ("results.json", setting("findings", 0, "kind", "nonsense")),
        ("results.json", setting("findings", 0, "evidence", "x", "a")),
        ("results.json", setting("transfers", [])),
        ("results.json", setting("transfers", 0, "volume", "open")),
        ("paperwork.json", setting("tickets", 0, "start_ns", -(2**63))),
        ("paperwork.json", setting("work", {})),
        ("rejects.json", setting("rejects", [1])),
        ("rejects.json", setting("rejects", {})),
        ("results.json", setting("transfer", None)),
        ("replay.json", setting("transfer", 5)),
        ("replay.json", setting("hazard", "low", 5)),
        ("replay.json", setting("events", 0, "what", 5)),
        ("about.json", setting("points", 0, "heard_from", None)),
        ("about.json", setting("points", [])),
        ("about.json", setting("margin_s", -1.0)),
        ("replay.json", setting("hazard", None)),
        ("replay.json", setting("events", None)),
        ("replay.json", setting("events", 0, 5)),
        ("replay.json", setting("typical", 5)),
        ("replay.json", setting("typical", {})),
        ("coverage.json", setting("bond", 5)),
        ("reviews.json", setting(0, 5)),
        ("reviews.json", setting(0, "number", "1")),
        ("reviews.json", setting(0, "at_ns", "x")),
    ],
)  # fmt: skip
def test_nonsense_in_a_document_is_told_and_does_no_harm(
    made: Package, name: str, edit: Callable[[Any], object]
) -> None:
    found = verify_bytes(quay.remade(edited(quay.files_of(made.content), name, edit)))
    assert not found.sound
    assert all("\n" not in sentence for check in found.checks for sentence in check.said)


@pytest.mark.parametrize("name", ["about.json", "replay.json", "reviews.json", "results.json"])
@pytest.mark.parametrize(
    "content",
    [b"", b"[]", b"{}\n", b"[]\n", b"null\n", b"5\n", b'"x"\n', b"NaN\n", b"1e999\n",
     b"[" * 100_000, b"9" * 5000, b"\xff", b'{"a": 1, "a": 1}\n', b"{\"a\":1}\n"],
)  # fmt: skip
def test_a_document_that_is_none_is_told(made: Package, name: str, content: bytes) -> None:
    files = quay.files_of(made.content)
    if name == "reviews.json" and content == b"[]\n":
        return  # no reviews are no nonsense: the page tells
    assert is_found(quay.remade({**files, name: content}))


@pytest.mark.parametrize("content", [b"", b"PAR1", b"PAR1" + b"\xff" * 100 + b"PAR1", b"\0" * 5000])
def test_readings_that_are_none_are_told(made: Package, content: bytes) -> None:
    files = {**quay.files_of(made.content), "readings/flow.parquet": content}
    found = verify_bytes(quay.remade(files))
    assert "readings/flow.parquet: no Parquet that can be read" in said(found, "content")


@pytest.mark.parametrize("text", ["", "schema = 1", "a" * 100_000, "[[[[", "x = 1"])
def test_a_site_file_that_is_none_is_told(made: Package, text: str) -> None:
    files = {**quay.files_of(made.content), "site/1.toml": text.encode()}
    assert "site/1.toml: no site file" in said(verify_bytes(quay.remade(files)), "content")


def test_another_site_file_is_found_by_the_rules(made: Package) -> None:
    files = quay.files_of(made.content)
    lenient = quay.SITE.replace("[limits]", "[limits]\nstop_allowance_s = 60.0")
    found = verify_bytes(quay.remade({**files, "site/1.toml": lenient.encode()}))
    assert grades(found)["rules"] is Grade.WRONG


def test_no_manifest_is_no_package(made: Package) -> None:
    files = quay.files_of(made.content)
    del files["MANIFEST"]
    with pytest.raises(UnreadableError, match="no package of evidence"):
        verify_bytes(quay.remade(files, listed=False))


def test_what_could_not_be_read_when_it_was_made_is_not_passed_over(made: Package) -> None:
    files = edited(quay.files_of(made.content), "about.json", setting("damaged", ["block 7"]))
    found = verify_bytes(quay.remade(files))
    assert "could not be read: block 7" in said(found, "rules")


def test_the_same_is_said_again(made: Package) -> None:
    assert dataclasses.asdict(verify_bytes(made.content)) == dataclasses.asdict(
        verify_bytes(made.content)
    )
