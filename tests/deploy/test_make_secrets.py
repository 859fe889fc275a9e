from __future__ import annotations

import base64
import hashlib
import shutil
import stat
import subprocess
from pathlib import Path

import pytest

from tests.deploy.secrets import make_secrets, script


def contents(folder: Path) -> dict[str, str]:
    return {path.name: path.read_text() for path in folder.iterdir()}


def test_passwords_are_random_long_and_kept(tmp_path: Path) -> None:
    first, second = tmp_path / "a", tmp_path / "b"
    assert (make_secrets(first), make_secrets(second)) == (0, 0)
    before = contents(first)
    passwords = [text for name, text in before.items() if "password" in name]
    assert all(len(password) > 30 for password in passwords)
    assert len({*passwords, *(contents(second)[name] for name in before if "pass" in name)}) == 8
    make_secrets(first, "gateway-1")
    after = contents(first)
    assert {name: after[name] for name in before if "password" in name} == {
        name: text for name, text in before.items() if "password" in name
    }
    users = [line.partition(":")[0] for line in after["broker_users"].splitlines()]
    assert users == ["feed", "gateway-1", "health", "listener"]


def test_one_that_was_cut_short_leaves_no_part_of_a_secret(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "secrets"
    with monkeypatch.context() as cut:
        cut.setattr(Path, "replace", cut_short)
        with pytest.raises(OSError, match="cut short"):
            make_secrets(folder)
    assert [name for name in contents(folder) if not name.startswith("new.")] == []
    (folder / "broker_password_feed").touch(0o444)  # as a full disk may leave one
    assert make_secrets(folder) == 0
    after = contents(folder)
    assert all(after.values())
    assert not [name for name in after if name.startswith("new.")]
    assert len(after["broker_users"].splitlines()) == 3


def cut_short(*_: object) -> None:
    raise OSError("cut short")


def test_nothing_secret_is_printed_or_lies_open(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "secrets"
    make_secrets(folder)
    printed = capsys.readouterr().out
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    for name, text in contents(folder).items():
        assert name in printed
        assert text.strip() not in printed
        if name != "broker_users":
            assert text.strip() not in contents(folder)["broker_users"]


@pytest.mark.parametrize("name", ["", "../gateway", "a:b", "a b", "-x y"])
def test_an_odd_name_of_a_gateway_is_refused(tmp_path: Path, name: str) -> None:
    assert make_secrets(tmp_path / "secrets", name) == 2
    assert not (tmp_path / "secrets").exists()


def test_the_hash_is_that_of_the_brokers_own_tool(tmp_path: Path) -> None:
    """mosquitto_passwd writes `$7$rounds$salt$hash`; the same salt must give the same hash."""
    tool = shutil.which("mosquitto_passwd")
    if tool is None:
        pytest.skip("mosquitto_passwd is not installed")
    users = tmp_path / "users"
    users.touch(0o600)
    subprocess.run([tool, "-b", str(users), "listener", "a password"], check=True)
    _, kind, rounds, salt, key = users.read_text().strip().partition(":")[2].split("$")
    derived = hashlib.pbkdf2_hmac("sha512", b"a password", base64.b64decode(salt), int(rounds))
    assert (kind, rounds, base64.b64decode(key)) == ("7", str(script()["ROUNDS"]), derived)
