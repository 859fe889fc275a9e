"""What `evidence` writes and prints, what its check says and ends with, and holds."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from cryptography.hazmat.primitives.serialization import (
    BestAvailableEncryption,
    Encoding,
    NoEncryption,
    PrivateFormat,
)

from analytics.evidence.documents import events_csv
from analytics.evidence.readings import parse_parquet
from analytics.evidence.signing import Ed25519PrivateKey, public_pem
from analytics.runs import analyse
from bondtrail.cli import evidence, opening
from bondtrail.samples import Samples
from store import StoreFullError, open_store
from tests.analytics.evidence import quay
from tests.analytics.evidence.forging import edited, with_page
from tests.bondtrail.cli.conftest import Run

DB = "sqlite:///bondtrail.db"
KEY = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
HOLD = ("--hold", "--why", "a claim", "--author", "A. Reed")


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a store and a pair of keys."""
    folder = tmp_path_factory.mktemp("evidence")
    with open_store(f"sqlite:///{folder / 'bondtrail.db'}") as store:
        quay.fill(store)
    plain = KEY.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    locked = KEY.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, BestAvailableEncryption(b"pw"))
    (folder / "key.pem").write_bytes(plain)
    (folder / "locked.pem").write_bytes(locked)
    (folder / "public.pem").write_bytes(public_pem(KEY.public_key()))
    return folder


@pytest.fixture
def ready(whole: Path, folder: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of it, where the commands run."""
    monkeypatch.delenv(evidence.PASSWORD_VARIABLE, raising=False)
    monkeypatch.setattr(opening, "clock_ns", lambda: quay.LONG_AFTER)
    shutil.copytree(whole, folder, dirs_exist_ok=True)
    return folder


@pytest.fixture(scope="module")
def made() -> list[tuple[str, bytes]]:
    """What the command printed and wrote when it made a package first."""
    return []


@pytest.fixture
def packed(run: Run, ready: Path, made: list[tuple[str, bytes]]) -> str:
    """That package, as e.zip in that folder; what was printed of it."""
    if not made:
        done = run("evidence", quay.TRANSFER, "--out", "e.zip")
        made.append((done.out, (ready / "e.zip").read_bytes()))
    ((told, content),) = made
    (ready / "e.zip").write_bytes(content)
    return told


@pytest.fixture(autouse=True)
def _quickly_drawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """In place of drawings, which take a second."""
    drawn = {"record": b"<svg></svg>"}
    monkeypatch.setattr("analytics.evidence.building.drawings", lambda replay, shown: drawn)


def digests(text: str) -> list[str]:
    return re.findall(r"\b[0-9a-f]{64}\b", text)


def test_a_package_is_written_and_its_digests_told(run: Run, ready: Path) -> None:
    done = run("evidence", quay.TRANSFER, "--out", "e.zip")
    assert (done.status, done.err) == (0, "")
    assert "Wrote e.zip: " in done.out
    assert len(digests(done.out)) == 2
    assert "Keep both elsewhere" in done.out
    assert "Not signed" in done.out
    assert "not a safety function" in done.out
    first = (ready / "e.zip").read_bytes()
    assert run("evidence", quay.TRANSFER, "--out", "e.zip", "--replace").out == done.out
    assert (ready / "e.zip").read_bytes() == first


@pytest.mark.usefixtures("ready")
def test_no_file_is_written_over_unless_asked(run: Run) -> None:
    Path("e.zip").write_bytes(b"the only evidence of a record that was changed since")
    kept = Path("e.zip").read_bytes()
    done = run("evidence", quay.TRANSFER, "--out", "e.zip", *HOLD)
    assert (done.status, done.out) == (2, "")
    assert done.err == (
        "bondtrail: --out e.zip: there is such a file, and it may be evidence\n"
        "  Take another name, or write over it with --replace.\n"
    )
    assert Path("e.zip").read_bytes() == kept
    assert run("evidence", "--holds").out == "No holds.\n"
    assert run("evidence", quay.TRANSFER, "--out", "e.zip", "--replace").status == 0
    assert Path("e.zip").read_bytes() != kept


def test_its_check_says_what_is_good_and_what_it_cannot_tell(
    run: Run, ready: Path, packed: str
) -> None:
    (ready / "bondtrail.db").unlink()
    found = run("evidence", "--verify", "e.zip")
    assert (found.status, found.err) == (0, "")
    assert found.out.startswith(f"e.zip: evidence of {quay.TRANSFER}\n")
    assert digests(found.out) == digests(packed)
    assert "could have built all of it anew" in " ".join(found.out.split())
    assert found.out.splitlines()[-1] == "Nothing wrong was found."
    assert "not a safety function" in found.out


def test_a_signed_one_is_good_by_its_key_alone(run: Run, ready: Path) -> None:
    assert "Signed by the key " in run("evidence", quay.TRANSFER, "--out", "e.zip",
                                       "--sign", "key.pem").out  # fmt: skip
    alone = run("evidence", "--verify", "e.zip")
    assert alone.status == 0
    assert "proves nothing by itself" in " ".join(alone.out.split())
    found = run("evidence", "--verify", "e.zip", "--key", "public.pem")
    assert found.status == 0
    assert "MANIFEST is signed by the given key" in found.out
    (ready / "else.pem").write_bytes(
        public_pem(Ed25519PrivateKey.from_private_bytes(b"x" * 32).public_key())
    )
    other = run("evidence", "--verify", "e.zip", "--key", "else.pem")
    assert other.status == 3
    assert "signed by another key" in other.out


def test_openssl_agrees(run: Run, ready: Path) -> None:
    program = shutil.which("openssl")
    if program is None:
        pytest.skip("openssl is not installed")
    run("evidence", quay.TRANSFER, "--out", "e.zip", "--sign", "key.pem")
    for name, content in quay.files_of((ready / "e.zip").read_bytes()).items():
        if name.startswith("MANIFEST"):
            (ready / name).write_bytes(content)
    call = [
        program, "pkeyutl", "-verify", "-pubin", "-inkey", "public.pem", "-rawin",
        "-in", "MANIFEST", "-sigfile", "MANIFEST.sig",
    ]  # fmt: skip
    assert subprocess.run(call, cwd=ready, capture_output=True).returncode == 0
    (ready / "MANIFEST").write_bytes(b"another")
    assert subprocess.run(call, cwd=ready, capture_output=True).returncode != 0


def test_the_password_of_a_key_comes_from_the_environment(
    run: Run, ready: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    call = ("evidence", quay.TRANSFER, "--out", "e.zip", "--sign", "locked.pem")
    assert "no password is given" in run(*call).err
    monkeypatch.setenv(evidence.PASSWORD_VARIABLE, "no")
    refused = run(*call)
    assert refused.status == 2
    assert "the password does not open this key" in refused.err
    monkeypatch.setenv(evidence.PASSWORD_VARIABLE, "pw")
    assert run(*call).status == 0


def test_a_digest_that_was_kept_is_compared(run: Run, packed: str) -> None:
    zipped, manifest = digests(packed)
    assert "that of the zip" in run("evidence", "--verify", "e.zip", "--sha256", zipped).out
    assert "that of MANIFEST" in run("evidence", "--verify", "e.zip", "--sha256", manifest).out
    wrong = run("evidence", "--verify", "e.zip", "--sha256", "0" * 64)
    assert wrong.status == 3
    assert "Something is WRONG" in wrong.out


def test_a_changed_package_ends_with_3_and_no_package_with_2(
    run: Run, ready: Path, packed: str
) -> None:
    files = quay.files_of((ready / "e.zip").read_bytes())
    (ready / "e.zip").write_bytes(
        quay.remade({**files, "README.txt": b"all was well"}, listed=False)
    )
    found = run("evidence", "--verify", "e.zip")
    assert found.status == 3
    assert "README.txt was changed" in found.out
    for content in (b"", b"no zip", b"PK\x05\x06" + b"\0" * 18):
        (ready / "e.zip").write_bytes(content)
        unread = run("evidence", "--verify", "e.zip")
        assert (unread.status, unread.out) == (2, "")
        assert unread.err.startswith("bondtrail: e.zip: ")
        assert "Traceback" not in unread.err


@pytest.mark.usefixtures("packed")
@pytest.mark.parametrize("key", ["software", "rules"])
def test_what_cannot_be_checked_here_ends_with_3_and_is_not_called_wrong(
    run: Run, key: str
) -> None:
    def claim(says: dict[str, Any]) -> None:
        says[key] = "99"
        says["versions"]["bondtrail" if key == "software" else key] = "99"

    def reword(says: dict[str, Any]) -> None:
        says["events"][3]["detail"] = "all was well"

    files = edited(quay.files_of(Path("e.zip").read_bytes()), "about.json", claim)
    files = edited(files, "replay.json", reword)
    files["events.csv"] = events_csv(json.loads(files["replay.json"]))
    Path("e.zip").write_bytes(quay.remade(with_page(files)))
    found = run("evidence", "--verify", "e.zip")
    assert found.status == 3
    assert found.out.splitlines()[-1].startswith("Not all of it could be checked")
    assert "WRONG" not in found.out


@pytest.mark.usefixtures("ready")
def test_a_machine_that_is_too_small_says_so(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object, **__: object) -> None:
        raise MemoryError

    monkeypatch.setattr("analytics.evidence.verify", fail)
    done = run("evidence", "--verify", "e.zip")
    assert (done.status, done.out) == (2, "")
    assert "too little memory to check it, which says nothing of it" in done.err


def test_readings_that_came_since_are_to_be_analysed_first(run: Run, ready: Path) -> None:
    with open_store(DB) as store:
        store.write({"rail-1.resistance": Samples.of([quay.START + 500 * 10**9], [9.0])})
    done = run("evidence", quay.TRANSFER, "--out", "e.zip")
    assert done.status == 2
    assert done.err == (
        "bondtrail: rail-1 is to be analysed again: what was found there may be out of date\n"
        "  First: bondtrail analyse\n"
    )
    assert not (ready / "e.zip").exists()


def test_damage_is_told_and_ends_with_3(run: Run, ready: Path) -> None:
    import sqlite3

    with open_store(DB) as store:
        store.fold()
    with sqlite3.connect("bondtrail.db") as base:
        base.execute(
            "update segment set block = x'00' where rowid = (select min(rowid) from segment)"
        )
    base.close()
    done = run("evidence", quay.TRANSFER, "--out", "e.zip")
    assert done.status == 3
    assert "stored readings cannot be read" in done.err
    assert (ready / "e.zip").exists()
    assert run("evidence", "--verify", "e.zip").status == 3


WRONG_USE = [
    pytest.param((), "name a TRANSFER and --out FILE, or --verify FILE", id="nothing"),
    pytest.param(("T",), "TRANSFER needs --out", id="no-out"),
    pytest.param(("T", "--out", "e.zip", "--key", "k"), "--key does not go with TRANSFER",
                 id="key"),
    pytest.param(("--verify", "e.zip", "--replace"), "--replace does not go with --verify",
                 id="verify-replace"),
    pytest.param(("--verify", "e.zip", "--out", "x.zip"), "--out does not go with --verify",
                 id="verify-out"),
    pytest.param(("T", "--verify", "e.zip"), "go one at a time", id="both"),
    pytest.param(("--holds", "--release", "1"), "go one at a time", id="holds-release"),
    pytest.param(("--release", "1", "--why", "x"), "--release needs --author", id="no-author"),
    pytest.param(("T", "--out", "e.zip", "--hold"), "--hold needs --why and --author", id="why"),
    pytest.param(("T", "--out", "e.zip", "--why", "x"), "go with --hold or --release",
                 id="no-hold"),
    pytest.param(("T", "--out", "e.pdf"), "must end with .zip", id="pdf"),
    pytest.param(("T", "--out", "e.zip", "--margin", "-1"), "not in the range", id="margin"),
    pytest.param(("T", "--out", "nowhere/e.zip"), "there is no folder nowhere", id="folder"),
    pytest.param(("T", "--out", "e.zip"), "no transfer 'T'", id="no-such-transfer"),
    pytest.param(("T", "--out", "e.zip", "--sign", "none.pem"), "none.pem", id="no-key"),
    pytest.param(("T", "--out", "e.zip", "--sign", "public.pem"), "is a public key", id="public"),
    pytest.param(("--verify", "none.zip"), "none.zip", id="no-file"),
    pytest.param(("--verify", "e.zip", "--sha256", "x"), "64 hexadecimal digits", id="digest"),
    pytest.param(("--verify", "e.zip", "--key", "key.pem"), "key.pem is a private key",
                 id="secret"),
    pytest.param(("--release", "7", "--why", "x", "--author", "y"), "there is no such hold",
                 id="no-hold-7"),
]  # fmt: skip


@pytest.mark.parametrize(("arguments", "why"), WRONG_USE)
@pytest.mark.usefixtures("ready")
def test_wrong_use_is_told_in_a_line_or_two(run: Run, arguments: tuple[str, ...], why: str) -> None:
    done = run("evidence", *arguments)
    assert (done.status, done.out) == (2, "")
    assert why in done.err
    assert len(done.err.splitlines()) <= 2


@pytest.mark.usefixtures("ready")
def test_a_hold_is_placed_once_listed_and_released(run: Run) -> None:
    assert run("evidence", "--holds").out == "No holds.\n"
    placed = run("evidence", quay.TRANSFER, "--out", "e.zip", *HOLD)
    assert "Hold 1 keeps these readings from any retention" in placed.out
    again = run("evidence", quay.TRANSFER, "--out", "e.zip", "--replace", *HOLD)
    assert "Hold 1, by A. Reed, keeps these readings already." in again.out
    listed = run("evidence", "--holds").out
    assert "a claim" in listed
    assert "in force" in " ".join(listed.split())
    with open_store(DB) as store:
        (held,) = store.holds.over("rail-1", quay.START + 500 * 10**9, quay.START + 501 * 10**9)
    assert held.transfer == quay.TRANSFER
    released = run("evidence", "--release", "1", "--why", "settled", "--author", "B. Crane")
    assert (released.status, released.out) == (0, "Hold 1 of rail-1 is released, by B. Crane.\n")
    twice = run("evidence", "--release", "1", "--why", "settled", "--author", "B. Crane")
    assert "it was released before" in twice.err
    assert "settled" in run("evidence", "--holds").out


@pytest.mark.usefixtures("ready")
def test_a_hold_keeps_all_that_is_enclosed(run: Run) -> None:
    """A contact on change holds into what is enclosed from two hours before it."""
    with open_store(DB) as store:
        store.write({"rail-1.permissive": Samples.of([quay.START - 5000 * 10**9], [0.0])})
        store.write({"rail-1.resistance": Samples.of([quay.START - 150_000 * 10**9], [np.inf])})
        analyse(store, now=quay.LONG_AFTER)
    run("evidence", quay.TRANSFER, "--out", "e.zip", *HOLD)
    files = quay.files_of(Path("e.zip").read_bytes())
    with open_store(DB) as store:
        (hold,) = store.holds.all()
    for name in files:
        if name.endswith(".parquet"):
            times = parse_parquet(files[name], name).samples.time
            assert hold.start <= times[0]
            assert times[-1] < hold.end
    assert hold.start < json.loads(files["about.json"])["judged"]["start"]["ns"]


@pytest.mark.usefixtures("ready")
def test_without_its_hold_no_package_is_written(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise StoreFullError("there", "no room left")

    monkeypatch.setattr("store.holds.Holds.add", refuse)
    done = run("evidence", quay.TRANSFER, "--out", "e.zip", *HOLD)
    assert (done.status, done.out) == (2, "")
    assert not Path("e.zip").exists()


@pytest.mark.usefixtures("ready")
def test_a_hold_whose_package_could_not_be_written_is_told(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object) -> None:
        raise OSError(28, "No space left on device", "e.zip")

    monkeypatch.setattr("analytics.evidence.write_package", refuse)
    done = run("evidence", quay.TRANSFER, "--out", "e.zip", *HOLD)
    assert (done.status, done.out) == (2, "")
    assert "Hold 1 keeps these readings" in done.err
    assert "was not written" in done.err
    assert "No space left on device" in done.err


@pytest.mark.usefixtures("packed")
def test_a_hold_makes_no_difference_to_the_package(run: Run, ready: Path) -> None:
    run("evidence", quay.TRANSFER, "--out", "b.zip", *HOLD)
    assert (ready / "e.zip").read_bytes() == (ready / "b.zip").read_bytes()


@pytest.mark.usefixtures("ready")
def test_a_wider_margin_encloses_more(run: Run, ready: Path) -> None:
    sizes = []
    for margin in ("0", "300"):
        run("evidence", quay.TRANSFER, "--out", f"{margin}.zip", "--margin", margin)
        sizes.append((ready / f"{margin}.zip").stat().st_size)
    assert sizes[0] < sizes[1]
