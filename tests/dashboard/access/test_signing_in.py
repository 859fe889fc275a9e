"""Signing in and out: what is open before, what ends a session, and what is never told."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator

import dash
import pytest
from argon2 import PasswordHasher
from flask import Flask
from flask.testing import FlaskClient

from dashboard.access.guard import OPEN_ADDRESSES, ask_for_sign_in
from dashboard.access.sessions import COOKIE, LIFE_S
from dashboard.access.throttle import FREE, Throttle
from dashboard.access.views import SIGNED_OUT, STALE, WRONG
from dashboard.history import KEY, History
from store import Person, Store, StoreFullError
from store.users import Users
from tests.dashboard.access.conftest import NAMED, PASSWORD, QUICK, Clock, Visit

Visitor = Callable[[], Visit]


def addresses(server: dash.Dash) -> list[tuple[str, str]]:
    """Return every method and address that the board answers, with something in each gap."""
    found = []
    for rule in server.server.url_map.iter_rules():
        values = dict.fromkeys(rule.arguments, "x")
        _, path = rule.build(values, append_unknown=False) or ("", "")
        found += [(method, path) for method in sorted(rule.methods or ()) if method != "OPTIONS"]
    return found


def test_nothing_but_the_sign_in_page_is_open(visit: Visitor, guarded: dash.Dash) -> None:
    client = visit().client
    known = addresses(guarded)
    assert {"/_dash-layout", "/_dash-update-component", "/_dash-dependencies"} <= {
        path for _, path in known
    }
    opened = set()
    for method, path in known:
        with client.open(path, method=method) as answer:
            if answer.status_code not in (302, 401):
                opened.add((method, path))
            elif answer.status_code == 302:
                assert answer.headers["Location"].startswith("/sign-in")
    assert opened == {
        *(("GET", "/sign-in"), ("HEAD", "/sign-in"), ("POST", "/sign-in")),
        *(("GET", "/sign-in/scheme.js"), ("HEAD", "/sign-in/scheme.js")),
    }


@pytest.mark.parametrize("path", ["/assets/replay.css", "/assets/../app.py", "/assets//board.css"])
def test_of_the_assets_only_the_style_sheet_is_open(visit: Visitor, path: str) -> None:
    client = visit().client
    with client.get("/assets/board.css") as answer:
        assert answer.status_code == 200
    assert client.get(path).status_code == 401
    assert set(OPEN_ADDRESSES) == {"/assets/board.css"}


@pytest.mark.parametrize("method", ["OPTIONS", "PUT", "TRACE", "X-ODD"])
def test_no_other_method_is_a_way_in(visit: Visitor, method: str) -> None:
    answer = visit().client.open("/_dash-layout", method=method)
    assert answer.status_code == 401
    assert answer.get_data(as_text=True) == "Sign in first.\n"


def test_one_gets_in_and_back_to_the_page_that_was_asked_for(visit: Visitor) -> None:
    visitor = visit()
    sent = visitor.client.get("/station/rail-1?from=2026-03-01")
    assert sent.headers["Location"] == "/sign-in?next=/station/rail-1%3Ffrom%3D2026-03-01"
    answer = visitor.sign_in("kim ode", back_to="/station/rail-1?from=2026-03-01")
    assert (answer.status_code, answer.headers["Location"]) == (
        302,
        "/station/rail-1?from=2026-03-01",
    )
    assert visitor.gets_in()
    layout = visitor.client.get("/_dash-layout").get_data(as_text=True)
    assert "Kim Ode" in layout
    assert "Sign out" in layout
    assert visitor.client.get("/sign-in").headers["Location"] == "/"


def test_the_way_back_never_leads_elsewhere(visit: Visitor) -> None:
    answer = visit().sign_in("Kim Ode", back_to="//elsewhere.example")
    assert answer.headers["Location"] == "/"


def test_an_unknown_name_and_a_wrong_password_get_the_same_answer(visit: Visitor) -> None:
    said = []
    for name, password in (("Kim Ode", "not the password"), ("Kim Odd", PASSWORD), ("", PASSWORD)):
        visitor = visit()
        answer = visitor.sign_in(name, password)
        assert answer.status_code == 403
        assert not visitor.gets_in()
        text = answer.get_data(as_text=True)
        said.append(
            [line for line in text.splitlines() if "token" not in line and name not in line]
        )
        assert WRONG in text
        assert password not in text
    assert said[0] == said[1]


def test_a_disabled_user_cannot_sign_in(visit: Visitor, people: Store) -> None:
    people.users.disable("Kim Ode", 1)
    assert visit().sign_in("Kim Ode").status_code == 403


def test_a_name_is_shown_as_it_was_typed_and_runs_nothing(visit: Visitor) -> None:
    text = (
        visit().sign_in('"><script>alert(1)</script>', "wrong wrong wrong").get_data(as_text=True)
    )
    assert "<script>alert" not in text
    assert "&lt;script&gt;alert" in text


@pytest.mark.parametrize(
    "change",
    [
        pytest.param(lambda users: users.disable("Kim Ode", 1), id="disabled"),
        pytest.param(
            lambda users: users.set_password("Kim Ode", QUICK.hash(PASSWORD), 1), id="password"
        ),
    ],
)
def test_what_ends_every_session_of_somebody(
    visit: Visitor, people: Store, change: Callable[[Users], object]
) -> None:
    one, other, another = visit(), visit(), visit()
    for visitor, who in ((one, "Kim Ode"), (other, "Kim Ode"), (another, "Robin")):
        visitor.sign_in(who)
        assert visitor.gets_in()
    change(people.users)
    assert [one.gets_in(), other.gets_in(), another.gets_in()] == [False, False, True]


def test_a_session_lasts_for_a_shift_however_busy_it_is(visit: Visitor, clock: Clock) -> None:
    visitor = visit()
    begun = clock.now_s
    visitor.sign_in("Kim Ode")
    for passed in (LIFE_S / 2, LIFE_S - 1):
        clock.now_s = begun + passed
        assert visitor.gets_in()
    clock.now_s = begun + LIFE_S
    assert not visitor.gets_in()


def copied(visit: Visitor, visitor: Visit) -> Visit:
    """Return somebody with a copy of a visitor's cookie."""
    cookie = visitor.client.get_cookie(COOKIE)
    assert cookie is not None
    copy = visit()
    copy.client.set_cookie(COOKIE, cookie.value)
    assert copy.gets_in()
    return copy


def sign_out(visitor: Visit) -> str:
    """Return the page that signing out leads to."""
    answer = visitor.client.post("/sign-out", data={"token": token_of(visitor.client)})
    return visitor.client.get(answer.headers["Location"]).get_data(as_text=True)


@pytest.fixture
def served_anew(people: Store, clock: Clock) -> Iterator[Callable[[Visit], Visit]]:
    """Return a visitor, with all cookies, of a board that was just started over the same store."""
    server = Flask("board")
    server.config[KEY] = History(people.where)
    ask_for_sign_in(server, clock)
    server.add_url_rule("/_dash-layout", view_func=lambda: "in")

    def visited(before: Visit) -> Visit:
        again, cookie = Visit(server.test_client()), before.client.get_cookie(COOKIE)
        if cookie is not None:
            again.client.set_cookie(COOKIE, cookie.value)
        return again

    yield visited
    server.config[KEY].close()


def test_signing_out_ends_the_session_and_each_copy_of_it_over_a_restart_too(
    visit: Visitor, served_anew: Callable[[Visit], Visit]
) -> None:
    visitor, other = visit(), visit()
    visitor.sign_in("Kim Ode")
    other.sign_in("Kim Ode")
    copy = copied(visit, visitor)
    assert SIGNED_OUT in sign_out(visitor)
    assert [visitor.gets_in(), copy.gets_in(), other.gets_in()] == [False, False, True]
    again = [served_anew(each) for each in (visitor, copy, other)]
    assert [each.gets_in() for each in again] == [False, False, True]


def test_who_signs_out_while_the_store_cannot_be_written_is_out_of_this_board(
    visit: Visitor,
    people: Store,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:
    def full(*_: object, **__: object) -> None:
        raise StoreFullError("here", "no room")

    visitor = visit()
    visitor.sign_in("Kim Ode")
    copy = copied(visit, visitor)
    monkeypatch.setattr(Users, "sign_out", full)
    assert SIGNED_OUT in sign_out(visitor)
    assert [visitor.gets_in(), copy.gets_in()] == [False, False]
    [warning] = [line for line in caplog.records if line.levelname == "WARNING"]
    assert "that 'Kim Ode' signed out could not be kept" in warning.getMessage()


WAIT_S = Throttle.wait_s


def token_of(client: FlaskClient) -> str:
    with client.session_transaction() as session:
        return str(session["token"])


def test_a_session_outlives_a_restart_of_the_board(
    visit: Visitor, served_anew: Callable[[Visit], Visit]
) -> None:
    visitor = visit()
    visitor.sign_in("Kim Ode")
    assert served_anew(visitor).gets_in()


def test_a_session_of_another_store_is_none(visit: Visitor, guarded: dash.Dash) -> None:
    visitor = visit()
    visitor.sign_in("Kim Ode")
    guarded.server.secret_key = b"the secret of another store"
    assert not visitor.gets_in()


def test_signing_in_begins_a_new_session(visit: Visitor) -> None:
    visitor = visit()
    before = visitor.token()
    visitor.sign_in("Kim Ode")
    with visitor.client.session_transaction() as session:
        first = session["key"]
        assert session.get("token") != before
    visitor.client.post("/sign-out", data={"token": token_of(visitor.client)})
    visitor.sign_in("Kim Ode")
    with visitor.client.session_transaction() as session:
        assert session["key"] != first


@pytest.mark.parametrize("token", [None, "", "x", "\u00e9", b"\xff"])
def test_a_form_of_another_page_does_nothing(visit: Visitor, token: str | bytes | None) -> None:
    visitor = visit()
    sent = {} if token is None else {"token": token}
    strange = visitor.client.post("/sign-in", data={"name": "Kim Ode", "password": PASSWORD} | sent)
    assert strange.status_code == 400
    assert STALE in strange.get_data(as_text=True)
    assert not visitor.gets_in()
    visitor.sign_in("Kim Ode")
    assert visitor.client.post("/sign-out", data=sent).status_code == 400
    assert visitor.gets_in()


OLDER = PasswordHasher(time_cost=1, memory_cost=16, parallelism=1)
"""Settings of another version."""


def kept_by(people: Store) -> Person:
    found = people.users.find("Kim Ode")
    assert found is not None
    return found


def test_a_password_that_was_kept_by_other_settings_is_kept_by_ours_after_signing_in(
    visit: Visitor, people: Store
) -> None:
    people.users.set_password("Kim Ode", OLDER.hash(PASSWORD), 7)
    before = kept_by(people)
    one, other, wrong = visit(), visit(), visit()
    wrong.sign_in("Kim Ode", "not the password")
    assert kept_by(people) == before
    one.sign_in("Kim Ode")
    after = kept_by(people)
    assert after.hash != before.hash
    assert not QUICK.check_needs_rehash(after.hash)
    assert after.changed == before.changed
    other.sign_in("Kim Ode")
    assert kept_by(people) == after
    assert [one.gets_in(), other.gets_in()] == [True, True]


def test_of_two_who_sign_in_at_once_neither_is_turned_away(
    visit: Visitor, people: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second finds the hash as it was before the first made it anew."""
    people.users.set_password("Kim Ode", OLDER.hash(PASSWORD), 7)
    before = kept_by(people)
    one, other = visit(), visit()
    one.sign_in("Kim Ode")
    find = Users.find
    monkeypatch.setattr(Users, "find", lambda *_: before)
    other.sign_in("Kim Ode")
    monkeypatch.setattr(Users, "find", find)
    assert [one.gets_in(), other.gets_in()] == [True, True]


def test_a_store_that_cannot_be_written_keeps_nobody_out(
    visit: Visitor, people: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise StoreFullError("here", "no room")

    people.users.set_password("Kim Ode", OLDER.hash(PASSWORD), 7)
    monkeypatch.setattr(Users, "rehash", full)
    visitor = visit()
    visitor.sign_in("Kim Ode")
    assert visitor.gets_in()


def test_a_form_of_any_size_is_refused(visit: Visitor) -> None:
    answer = visit().client.post("/sign-in", data={"name": "x" * 100_000})
    assert answer.status_code == 413


@pytest.mark.parametrize(("scheme", "secure"), [("http", False), ("https", True)])
def test_the_cookie_is_for_this_board_alone(visit: Visitor, scheme: str, secure: bool) -> None:
    answer = visit().client.get("/sign-in", base_url=f"{scheme}://{NAMED}")
    (cookie,) = answer.headers.getlist("Set-Cookie")
    parts = {part.strip() for part in cookie.split(";")}
    assert {"HttpOnly", "SameSite=Lax", "Path=/"} <= parts
    assert ("Secure" in parts) is secure
    assert not [part for part in parts if part.startswith(("Domain", "Expires", "Max-Age"))]


def test_no_other_page_may_frame_the_board_and_nothing_of_it_is_kept(visit: Visitor) -> None:
    visitor = visit()
    visitor.sign_in("Kim Ode")
    for path in ("/", "/_dash-layout", "/sign-in"):
        headers = visitor.client.get(path).headers
        assert headers["X-Frame-Options"] == "DENY"
        assert headers["Cache-Control"] == "no-store"
        assert headers["X-Content-Type-Options"] == "nosniff"


def test_too_many_failures_have_even_the_right_password_wait(
    visit: Visitor, monkeypatch: pytest.MonkeyPatch
) -> None:
    visitor = visit()
    monkeypatch.setattr(Throttle, "wait_s", WAIT_S)
    for _ in range(FREE + 3):
        answer = visitor.sign_in("Kim Ode", "wrong wrong wrong")
    assert answer.status_code == 429
    right = visitor.sign_in("Kim Ode")
    assert right.status_code == 429
    assert 1 <= int(right.headers["Retry-After"]) <= 8
    assert "Too many attempts failed. Try again in" in right.get_data(as_text=True)


def test_the_log_tells_who_came_from_where_and_no_secret(
    visit: Visitor, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO, "bondtrail.sign_in")
    visitor = visit()
    visitor.sign_in("kim ode", "not the password")
    visitor.sign_in("my secret typed in the wrong box", "x")
    visitor.sign_in("kim ode")
    visitor.client.post("/sign-out", data={"token": token_of(visitor.client)})
    assert [(line.levelname, line.getMessage()) for line in caplog.records] == [
        ("WARNING", "sign-in as 'Kim Ode' failed, from 127.0.0.1"),
        ("WARNING", "sign-in as a name that nobody has failed, from 127.0.0.1"),
        ("INFO", "'Kim Ode' signed in, from 127.0.0.1"),
        ("INFO", "'Kim Ode' signed out, from 127.0.0.1"),
    ]


@pytest.mark.parametrize("path", ["/", "/sign-in", "/_dash-layout"])
def test_while_the_store_is_gone_nobody_gets_in_and_no_name_of_it_is_told(
    guarded: dash.Dash, gone_url: str, path: str
) -> None:
    guarded.server.secret_key = None
    guarded.server.config[KEY] = History(gone_url)
    answer = guarded.server.test_client().get(path)
    assert answer.status_code == 503
    text = answer.get_data(as_text=True)
    assert "The history cannot be read" in text
    assert "no/such/folder" not in text


@pytest.mark.parametrize(
    ("host", "status"), [(NAMED, 200), ("Board.Example:8710", 200), ("other.example", 403)]
)
def test_the_board_answers_to_the_names_it_was_given(
    visit: Visitor, host: str, status: int
) -> None:
    answer = visit().client.get("/sign-in", headers={"Host": host})
    assert answer.status_code == status
    if status == 403:
        assert "--name NAME" in answer.get_data(as_text=True)
