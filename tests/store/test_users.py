"""Who may sign in, and what sessions are signed with."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import pytest
from sqlalchemy import text

from store import Person, Store, open_store

T0 = 1_767_225_600 * 10**9
HASH = "$argon2id$v=19$m=65536,t=3,p=4$c29tZXNhbHQ$aGFzaA"
OTHER = HASH.replace("aGFz", "b3Ro")


def test_someone_is_found_however_the_name_is_written(store: Store) -> None:
    made = store.users.add(" Kim Reed ", HASH, T0)
    assert made == Person("Kim Reed", HASH, T0, T0, disabled=False)
    for name in ("Kim Reed", "KIM REED", " kim reed", "\uff2bim Reed"):
        assert store.users.find(name) == made
    assert store.users.find("Kim") is None


@pytest.mark.parametrize("name", ["kim", "KIM ", "\uff2bim"])
def test_a_name_is_taken_once(store: Store, name: str) -> None:
    first = store.users.add("Kim", HASH, T0)
    with pytest.raises(ValueError, match="one of that name already"):
        store.users.add(name, OTHER, T0 + 1)
    assert store.users.all() == [first]


@pytest.mark.parametrize(
    ("name", "hashed", "told"),
    [
        pytest.param("  ", HASH, "expected some text", id="no-name"),
        pytest.param("k" * 101, HASH, "100 characters or fewer", id="too-long"),
        pytest.param("Kim\u200b", HASH, "letters that can be seen", id="unseen"),
        pytest.param("Kim\nReed", HASH, "letters that can be seen", id="two-lines"),
        pytest.param("Kim", "hunter2", "not a password", id="a-password"),
    ],
)
def test_who_cannot_be_added(store: Store, name: str, hashed: str, told: str) -> None:
    with pytest.raises(ValueError, match=told) as caught:
        store.users.add(name, hashed, T0)
    assert "hunter2" not in str(caught.value)
    assert store.users.all() == []


def test_a_password_is_changed_and_someone_is_disabled_and_let_in_again(store: Store) -> None:
    kim, bo = store.users.add("Kim", HASH, T0), store.users.add("Bo", HASH, T0)
    disabled = store.users.disable("KIM", T0 + 5)
    assert disabled == replace(kim, disabled=True, changed=T0 + 5)
    again = store.users.set_password("kim", OTHER, T0 + 7)
    assert again == replace(kim, hash=OTHER, changed=T0 + 7)
    assert store.users.all() == [bo, again]


def test_a_password_may_be_kept_anew_and_is_no_other_for_it(store: Store) -> None:
    made = store.users.add("Kim", HASH, T0)
    store.users.rehash("KIM", HASH, OTHER)
    assert store.users.find("Kim") == replace(made, hash=OTHER)


def test_a_password_that_was_changed_meanwhile_is_not_kept_anew(store: Store) -> None:
    store.users.add("Kim", HASH, T0)
    changed = store.users.set_password("Kim", OTHER, T0 + 1)
    store.users.rehash("Kim", HASH, HASH)
    assert store.users.find("Kim") == changed


def test_nobody_of_a_name_is_said_so(store: Store) -> None:
    for change in (
        lambda: store.users.disable("Kim", T0),
        lambda: store.users.set_password("Kim", HASH, T0),
    ):
        with pytest.raises(ValueError, match="user Kim: there is nobody of that name"):
            change()


def test_a_hash_is_not_shown_where_a_person_is_printed() -> None:
    assert HASH not in repr(Person("Kim", HASH, T0, T0, disabled=False))


def test_a_session_stays_signed_out_whoever_asks(store_url: str) -> None:
    with open_store(store_url) as one, open_store(store_url) as other:
        for _ in range(2):  # a second time does no harm
            one.users.sign_out("k-1", at=T0, until=T0 + 9)
        assert [store.users.is_signed_out("k-1") for store in (one, other)] == [True, True]
        assert not other.users.is_signed_out("k-2")


def test_no_more_is_kept_of_a_session_that_would_have_ended(store: Store) -> None:
    for session, until in {"k-1": T0 + 9, "k-2": T0 + 10}.items():
        store.users.sign_out(session, at=T0, until=until)
    store.users.sign_out("k-3", at=T0 + 9, until=T0 + 20)
    with store._db.reading() as tx:
        left = tx.conn.execute(text("select session from signed_out order by session"))
        assert left.scalars().all() == ["k-2", "k-3"]


def test_the_secret_is_made_once_whoever_asks_first(store_url: str) -> None:
    with open_store(store_url) as one, open_store(store_url) as other, ThreadPoolExecutor(4) as p:
        made = list(p.map(lambda store: store.secret_key(), [one, other] * 4))
        assert len(set(made)) == 1
        assert len(made[0]) == 32
        with one._db.reading() as tx:
            assert tx.conn.execute(text("select count(*) from secret")).scalar() == 1


def test_each_store_has_a_secret_of_its_own(sqlite_url: str, made_database: str) -> None:
    with open_store(sqlite_url) as one, open_store(made_database) as other:
        assert one.secret_key() != other.secret_key()
