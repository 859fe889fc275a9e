#!/usr/bin/env python3
"""Make the secrets of docker-compose.yml: what is there already stays as it is.

    python3 deploy/make_secrets.py [GATEWAY...]

Writes random passwords for the database and for each user of the broker into ``secrets/``, and
the broker's file of users, which holds their hashes. Name your gateways to give each a user. To
change a password, remove its file and call this again.

The folder is yours alone; the files in it can be read by everyone, because a container, which
gets single files of it, runs as another user.
"""

from __future__ import annotations

import argparse
import base64
import hashlib
import os
import re
import secrets
import sys
from pathlib import Path

OURS = ("listener", "feed", "health")
PREFIX = "broker_password_"
ROUNDS = 101
"""Of PBKDF2, as mosquitto's own tool takes; these passwords cannot be guessed anyway."""
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,63}")


def main(arguments: list[str]) -> int:
    """Write what lacks and say which files; never what is in them."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("gateways", nargs="*", metavar="GATEWAY", help="a user of the broker")
    parser.add_argument("--folder", type=Path, default=Path("secrets"), help="where to write")
    given = parser.parse_args(arguments)
    odd = [name for name in given.gateways if not _NAME.fullmatch(name)]
    if odd:
        print(f"{odd[0]!r} is no name of a user: letters, digits, . _ -", file=sys.stderr)
        return 2
    given.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    given.folder.chmod(0o700)
    names = ["db_password", *(PREFIX + user for user in (*OURS, *given.gateways))]
    made = [name for name in names if make_password(given.folder / name)]
    write_users(given.folder)
    for name in (*made, "broker_users"):
        print(f"wrote {given.folder / name}")
    return 0


def make_password(path: Path) -> bool:
    """Write a random password unless there is one; return whether it was written."""
    if path.exists() and path.read_text().strip():
        return False
    write(path, secrets.token_urlsafe(24) + "\n")
    return True


def write(path: Path, text: str) -> None:
    """Write a file beside its place and move it there: whatever ends this, no part of one is."""
    fresh = path.with_name(f"new.{path.name}")
    fresh.unlink(missing_ok=True)
    with fresh.open("x") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    fresh.chmod(0o444)
    fresh.replace(path)


def write_users(folder: Path) -> None:
    """Write the broker's file of users: a line for each password that is in the folder."""
    lines = [
        f"{path.name.removeprefix(PREFIX)}:{hashed(path.read_text().strip())}\n"
        for path in sorted(folder.glob(PREFIX + "*"))
    ]
    write(folder / "broker_users", "".join(lines))


def hashed(password: str) -> str:
    """Return a password as the broker keeps it: salted, PBKDF2 with SHA-512."""
    salt = os.urandom(12)
    key = hashlib.pbkdf2_hmac("sha512", password.encode(), salt, ROUNDS)
    return f"$7${ROUNDS}${base64.b64encode(salt).decode()}${base64.b64encode(key).decode()}"


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
