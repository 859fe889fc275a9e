"""Passwords: what is asked of one, and that nothing of it is kept but a hash."""

from __future__ import annotations

import pytest
from argon2 import PasswordHasher, extract_parameters
from argon2.low_level import Type

from bondtrail.passwords import (
    LONGEST,
    SHORTEST,
    hash_password,
    hashed_anew,
    is_password,
    password_problem,
)

GOOD = "four grey clamps"
WEAK = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
"""As another version may have kept one, and quick."""


@pytest.mark.parametrize(
    ("password", "problem"),
    [
        ("", "fewer than 12"),
        ("x" * (SHORTEST - 1), "fewer than 12"),
        ("x" * SHORTEST, None),
        ("ключ от будки", None),
        ("x" * LONGEST, None),
        ("x" * (LONGEST + 1), "more than 1,024"),
    ],
)
def test_length_is_all_that_is_asked_of_a_password(password: str, problem: str | None) -> None:
    told = password_problem(password)
    assert told is None if problem is None else problem in str(told)


@pytest.fixture(scope="module")
def kept() -> str:
    """What is kept of a good password; it takes a while on purpose."""
    return hash_password(GOOD)


def test_only_a_hash_is_kept_by_the_settings_of_the_rfc(kept: str) -> None:
    assert GOOD not in kept
    assert hash_password(GOOD) != kept
    found = extract_parameters(kept)
    # RFC 9106, section 4, second recommended option: Argon2id, t = 3, p = 4, m = 64 MiB, salt of
    # 128 bits, tag of 256 bits.
    assert (found.type, found.time_cost, found.parallelism) == (Type.ID, 3, 4)
    assert (found.memory_cost, found.salt_len, found.hash_len) == (64 * 1024, 16, 32)
    assert is_password(GOOD, kept)


@pytest.mark.parametrize(
    ("typed", "kept", "expected"),
    [
        pytest.param(GOOD, WEAK.hash(GOOD), True, id="its-own"),
        pytest.param(GOOD.upper(), WEAK.hash(GOOD), False, id="in-capitals"),
        pytest.param("", WEAK.hash(GOOD), False, id="empty"),
        pytest.param(GOOD, "no hash at all", False, id="no-hash"),
        pytest.param(GOOD, None, False, id="nobody"),
        pytest.param("x" * (LONGEST + 1), WEAK.hash("x" * (LONGEST + 1)), False, id="too-long"),
    ],
)
def test_a_password_is_known_by_its_hash(typed: str, kept: str | None, expected: bool) -> None:
    assert is_password(typed, kept) is expected


def test_what_other_settings_made_is_made_anew_once(kept: str) -> None:
    anew = hashed_anew(GOOD, WEAK.hash(GOOD))
    assert anew is not None
    assert is_password(GOOD, anew)
    assert extract_parameters(anew) == extract_parameters(kept)
    assert hashed_anew(GOOD, anew) is None


def test_a_letter_is_the_same_however_a_keyboard_sends_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("bondtrail.passwords._hasher", lambda: WEAK)
    composed, apart = "caf\u00e9 caf\u00e9 caf\u00e9", "cafe\u0301 cafe\u0301 cafe\u0301"
    assert is_password(apart, hash_password(composed))


def test_a_password_that_is_refused_is_not_told() -> None:
    with pytest.raises(ValueError, match="fewer than 12") as told:
        hash_password("sesame")
    assert "sesame" not in str(told.value)
