"""Who may sign in. The store keeps hashes of passwords; it never sees a password."""

from __future__ import annotations

import secrets
import unicodedata
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import bindparam, delete, insert, select, update

from store.engine import Database, Transaction
from store.schema import person, secret, signed_out
from store.texts import bounded
from store.upsert import upsert

LONGEST_NAME = 100
"""Characters of a name."""
KEY_BYTES = 32

_HASHED = "$argon2"


@dataclass(frozen=True, slots=True)
class Person:
    """Someone who may sign in, unless ``disabled``.

    ``changed`` is when the password was last set, or the person last disabled: a session that
    began before it is over. Times in ns.
    """

    name: str
    hash: str = field(repr=False)
    created: int
    changed: int
    disabled: bool


class Users:
    """The people of a store. Every method raises a `StoreError` if the database does.

    Names are told apart by their letters, not by how these are written: Kim and KIM are one.
    """

    def __init__(self, db: Database) -> None:
        self._db = db

    def add(self, name: str, hashed: str, at: int) -> Person:
        """Let someone sign in.

        Parameters
        ----------
        name : str
            As it is shown; blanks around it go.
        hashed : str
            The argon2 hash of the password.
        at : int
            When this is. [ns]

        Raises
        ------
        ValueError
            If there is someone of that name, the name is empty, too long or has characters that
            cannot be seen, or the hash is none.
        """
        kept = _name(name)
        made = Person(kept, _hash(hashed), int(at), int(at), disabled=False)
        with self._db.writing() as tx:
            if _find(tx, kept) is not None:
                raise ValueError(f"user {kept}: there is one of that name already")
            tx.conn.execute(insert(person), _row(made))
        return made

    def find(self, name: str) -> Person | None:
        """Return who has that name, disabled or not, or None."""
        with self._db.reading() as tx:
            return _find(tx, name)

    def all(self) -> list[Person]:
        """Return everyone, by name."""
        with self._db.reading() as tx:
            return [Person(*row) for row in tx.conn.execute(_ALL.order_by(person.c.folded))]

    def set_password(self, name: str, hashed: str, at: int) -> Person:
        """Give someone another password, given as its argon2 hash, at a time in ns.

        Whoever was disabled may sign in again with it.

        Raises
        ------
        ValueError
            If there is nobody of that name, or the hash is none.
        """
        return self._change(name, {"hash": _hash(hashed), "disabled": False}, at)

    def rehash(self, name: str, old: str, new: str) -> None:
        """Keep the same password by another hash, unless it was changed meanwhile.

        Parameters
        ----------
        name : str
            Of whom; nothing happens where there is nobody.
        old, new : str
            The argon2 hash that is kept, and the one to keep.

        Raises
        ------
        ValueError
            If the new hash is none.
        """
        same = person.c.folded == _folded(name), person.c.hash == old
        with self._db.writing() as tx:
            tx.conn.execute(update(person).where(*same).values(hash=_hash(new)))

    def disable(self, name: str, at: int) -> Person:
        """Let someone sign in no longer, from a time in ns on.

        Raises
        ------
        ValueError
            If there is nobody of that name.
        """
        return self._change(name, {"disabled": True}, at)

    def sign_out(self, session: str, *, at: int, until: int) -> None:
        """Keep that a session was signed out of, for as long as it would have lasted.

        Parameters
        ----------
        session : str
            What tells it from all others.
        at : int
            When this is: of sessions that would have ended by then no more is kept. [ns]
        until : int
            When it would have ended. [ns]
        """
        with self._db.writing() as tx:
            tx.conn.execute(delete(signed_out).where(signed_out.c.until_ns <= int(at)))
            kept = upsert(tx.conn, signed_out).values(session=session, until_ns=int(until))
            tx.conn.execute(kept.on_conflict_do_nothing())

    def is_signed_out(self, session: str) -> bool:
        """Tell whether a session was signed out of."""
        with self._db.reading() as tx:
            return tx.conn.execute(_SIGNED_OUT, {"session": session}).scalar() is not None

    def _change(self, name: str, values: dict[str, Any], at: int) -> Person:
        with self._db.writing() as tx:
            changed = update(person).where(person.c.folded == _folded(name))
            tx.conn.execute(changed.values(**values, changed_ns=int(at)))
            found = _find(tx, name)
        if found is None:
            raise ValueError(f"user {name}: there is nobody of that name")
        return found


def _name(name: str) -> str:
    kept = bounded("name", name, LONGEST_NAME)
    if not kept.isprintable():
        raise ValueError(f"name {kept!r}: expected letters that can be seen")
    return kept


def _folded(name: str) -> str:
    return unicodedata.normalize("NFKC", name.strip()).casefold()


def _hash(hashed: str) -> str:
    if not hashed.startswith(_HASHED):  # it must not be told: it may be the password itself
        raise ValueError("expected the argon2 hash of a password, not a password")
    return hashed


def _row(each: Person) -> dict[str, Any]:
    return {
        "folded": _folded(each.name),
        "name": each.name,
        "hash": each.hash,
        "created_ns": each.created,
        "changed_ns": each.changed,
        "disabled": each.disabled,
    }


_SIGNED_OUT = select(signed_out.c.until_ns).where(signed_out.c.session == bindparam("session"))

_C = person.c
_ALL = select(_C.name, _C.hash, _C.created_ns, _C.changed_ns, _C.disabled)


def _find(tx: Transaction, name: str) -> Person | None:
    row = tx.conn.execute(_ALL.where(_C.folded == _folded(name))).one_or_none()
    return None if row is None else Person(*row)


def secret_key(db: Database) -> bytes:
    """Return the store's secret; the first one to ask makes it."""
    with db.reading() as tx:
        found = _secret(tx)
    if found is not None:
        return found
    with db.writing() as tx:
        made = upsert(tx.conn, secret).values(number=1, value=secrets.token_bytes(KEY_BYTES))
        tx.conn.execute(made.on_conflict_do_nothing())
        return _secret(tx) or b""


def _secret(tx: Transaction) -> bytes | None:
    found = tx.conn.execute(select(secret.c.value).where(secret.c.number == 1)).scalar()
    return None if found is None else bytes(found)
