"""``bondtrail user``: who may sign in to the board."""

from __future__ import annotations

import sys
from collections.abc import Callable
from operator import attrgetter
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from bondtrail.cli import opening, output
from bondtrail.cli.faults import Fault, near, printable
from bondtrail.cli.options import db_option, example, format_option
from bondtrail.objects import Fields, as_is, as_object, moment

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from store import Person, Store

MOST_BYTES = 8192
"""Of a password file to read."""

password_option = click.option(
    "--password-file",
    "file",
    type=click.Path(path_type=Path, dir_okay=False),
    help="File whose first line is the password. Left out, it is asked for twice.",
)


class _InOrder(click.Group):
    """A group that lists what it does in the order in which it is needed."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names."""
        return list(self.commands)


@click.group(
    "user",
    cls=_InOrder,
    epilog=example('bondtrail user add "A. Reed"', "bondtrail user list"),
)
def command() -> None:
    """Say who may sign in to the board.

    Needed where others than this machine can reach it. A password has at least 12 characters, and
    is kept as a hash alone. What is changed here holds from the next request on.
    """


@command.command("add", epilog=example('bondtrail user add "A. Reed"'))
@click.argument("name")
@password_option
@db_option
def add(name: str, file: Path | None, db: str) -> None:
    """Let somebody sign in, by a name as people type it."""
    from store import open_store

    with open_store(db) as store:
        if store.users.find(name) is not None:
            raise Fault(
                f"there is a user {name} already",
                "Another password, also for one who was disabled: bondtrail user password NAME",
            )
        made = _told(lambda: store.users.add(name, _hashed(file), opening.clock_ns()))
    print(printable(f"{made.name} may sign in."))


@command.command("list", epilog=example("bondtrail user list --format json"))
@format_option()
@db_option
def listed(form: str, db: str) -> None:
    """Print who may sign in, and who may no longer."""
    with opening.existing_store(db) as store:
        people = store.users.all()
        site = opening.stored_site(store)
    if form == "json":
        output.print_json(as_object(FIELDS, person) for person in people)
    elif form == "csv":
        output.print_csv(list(FIELDS), (as_object(FIELDS, person) for person in people))
    elif people:
        zone = site.zone if site else None
        notes = [f"Times are {site.timezone if site else 'UTC'}."]
        output.print_table("Users of the board", _columns(zone), people, notes)
    else:
        print("No users. Without one the board serves this machine alone.")


@command.command("disable", epilog=example('bondtrail user disable "A. Reed"'))
@click.argument("name")
@db_option
def disable(name: str, db: str) -> None:
    """Let somebody sign in no longer; who is signed in is out with the next request."""
    with opening.existing_store(db) as store:
        known = _known(store, name)
        store.users.disable(known.name, opening.clock_ns())
    print(printable(f"{known.name} may sign in no longer. A new password lets them in again."))


@command.command("password", epilog=example('bondtrail user password "A. Reed"'))
@click.argument("name")
@password_option
@db_option
def password(name: str, file: Path | None, db: str) -> None:
    """Give somebody another password; all their sessions end.

    Who was disabled may sign in again with it.
    """
    with opening.existing_store(db) as store:
        known = _known(store, name)
        _told(lambda: store.users.set_password(known.name, _hashed(file), opening.clock_ns()))
    print(printable(f"{known.name} has another password; sessions with the old one are over."))


def _known(store: Store, name: str) -> Person:
    """Return who has a name.

    Raises
    ------
    Fault
        If nobody has; names those that were probably meant.
    """
    found = store.users.find(name)
    if found is None:
        names = [person.name for person in store.users.all()]
        raise Fault(f"there is no user {name}", near(name, names))
    return found


def _told(change: Callable[[], Person]) -> Person:
    """Return what a change made; what was wrong with what was given is told."""
    try:
        return change()
    except ValueError as exc:
        raise Fault(str(exc)) from exc


def _hashed(file: Path | None) -> str:
    """Return the hash of the password in a file, or of one that is asked for.

    Raises
    ------
    Fault
        If there is nobody to ask.
    ValueError
        If it is too short or too long.
    """
    from bondtrail.passwords import SHORTEST, hash_password

    if file is not None:
        return hash_password(_first_line(file))
    if not sys.stdin.isatty():
        raise Fault(
            "there is no terminal to ask for a password on",
            "Put it into the first line of a file that only you can read: --password-file FILE",
        )

    asked = f"Password, {SHORTEST} characters or more"
    chosen: str = click.prompt(asked, hide_input=True, confirmation_prompt="Once more")
    return hash_password(chosen)


def _first_line(file: Path) -> str:
    with file.open("rb") as opened:
        first = opened.readline(MOST_BYTES)
    try:
        return first.decode("utf-8").rstrip("\r\n")
    except UnicodeDecodeError:
        raise Fault(f"{file}: the password is not written in UTF-8") from None


FIELDS: Fields[Person] = {
    **as_is("name"),
    "added": moment("created"),
    "changed": moment("changed"),
    "disabled": attrgetter("disabled"),
}
"""What programs get of each; never anything of the password."""


def _columns(zone: ZoneInfo | None) -> list[output.Column[Any]]:
    from zoneinfo import ZoneInfo

    clock = zone or ZoneInfo("UTC")
    return [
        output.Column("Name", lambda row: row.name, wraps=True),
        output.Column("May sign in", lambda row: "NO, disabled" if row.disabled else "yes"),
        output.Column("Added", lambda row: output.site_time(row.created, clock)),
        output.Column("Changed", lambda row: output.site_time(row.changed, clock)),
    ]
