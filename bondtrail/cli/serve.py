"""``bondtrail serve``: the board, for this machine, or for others who sign in."""

from __future__ import annotations

import ipaddress
import re
from collections.abc import Sequence
from threading import Event
from typing import TYPE_CHECKING, Any, TypeVar

import click

from bondtrail.cli import opening
from bondtrail.cli.faults import Fault, print_warning
from bondtrail.cli.options import db_option, example
from bondtrail.cli.stopping import told_to_stop

if TYPE_CHECKING:
    from dashboard.access import Access
    from store import Store

Command = TypeVar("Command", bound=Any)

LOOPBACK = "127.0.0.1"
DEFAULT_PORT = 8710

IN_CLEAR = (
    "passwords and pages travel in clear text, unless something in front of the board adds TLS\n"
    "  If something does, name it by --behind-proxy: docs/board-access.md says how."
)
_NAME = re.compile(r"[a-z0-9]([a-z0-9.-]*[a-z0-9])?", re.IGNORECASE)


def board_options(command: Command) -> Command:
    """Add the options of where the board listens, and for whom."""
    for option in (
        click.option(
            "--behind-proxy",
            "proxy",
            metavar="ADDRESS",
            help="Address of the proxy that adds TLS; it is believed who asked, and how.",
        ),
        click.option(
            "--name",
            "names",
            metavar="NAME",
            multiple=True,
            help="A name by which others call this machine; repeat it for more.",
        ),
        click.option(
            "--port",
            type=click.IntRange(0, 65535),
            default=DEFAULT_PORT,
            show_default=True,
            help="0 takes any free one.",
        ),
        click.option(
            "--host",
            default=LOOPBACK,
            show_default=True,
            help="Address to listen on; if others can reach it, people sign in.",
        ),
    ):
        command = option(command)
    return command


@click.command(
    "serve",
    epilog=example(
        "bondtrail serve",
        "bondtrail serve --host 0.0.0.0 --name bonding.plant.example --behind-proxy 10.0.0.2",
    ),
)
@board_options
@db_option
def command(host: str, port: int, names: tuple[str, ...], proxy: str | None, db: str) -> None:
    """Serve the board and print its address.

    Ctrl-C ends it.

    Left alone, the board can be opened from this machine only, and nobody signs in. With --host,
    --name or --behind-proxy others can reach it: then everyone signs in, by a name and a password
    that `bondtrail user add` gave them.
    """
    from bondtrail.logs import log_plainly

    with opening.existing_store(db) as store:
        opening.needed_site(store)
        access = access_of(store, host, names, proxy)
    log_plainly()
    with told_to_stop() as stop:
        serve_board(db, host, port, access, stop)


def access_of(store: Store, host: str, names: Sequence[str], proxy: str | None) -> Access:
    """Return who may reach the board; say if passwords would travel in clear.

    Raises
    ------
    Fault
        If a name or address is none, or others could reach the board and nobody may sign in.
    """
    from dashboard.access import OPEN, Access

    if is_loopback(host) and not names and proxy is None:
        return OPEN
    access = Access(True, _names(host, names), _proxy(proxy))
    if all(person.disabled for person in store.users.all()):
        raise Fault(
            "others could open the board, and there is nobody yet who may sign in",
            "Add somebody first: bondtrail user add NAME",
        )
    if access.proxy is None:
        print_warning(IN_CLEAR)
    return access


def is_loopback(host: str) -> bool:
    """Tell whether a host to listen on is this machine alone."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _names(host: str, names: Sequence[str]) -> frozenset[str]:
    """Return what a request may call this machine: its names, and an address if it is one."""
    found = {_checked_name(name) for name in names}
    try:
        address = ipaddress.ip_address(host)
    except ValueError:
        found.add(host.lower())
    else:
        if not address.is_unspecified:
            found.add(str(address))
    return frozenset(found)


def _checked_name(name: str) -> str:
    try:
        return str(ipaddress.ip_address(name.strip("[]")))
    except ValueError:
        pass
    if not _NAME.fullmatch(name):
        raise Fault(
            f"--name {name}: that is no name of a machine",
            "Give it as people type it, without http:// and without a port: board.plant.example",
        )
    return name.lower()


def _proxy(address: str | None) -> str | None:
    if address is None:
        return None
    try:
        return str(ipaddress.ip_address(address))
    except ValueError as exc:
        raise Fault(
            f"--behind-proxy {address}: that is no address",
            "Give the address from which the proxy connects, such as 127.0.0.1 or 10.0.0.2.",
        ) from exc


def serve_board(
    db: str, host: str, port: int, access: Access | None = None, stop: Event | None = None
) -> None:
    """Serve until interrupted or told to stop.

    Raises
    ------
    Fault
        If the address cannot be listened on.
    """
    from dashboard import serve
    from dashboard.access import OPEN

    try:
        serve(db, access=access or OPEN, host=host, port=port, on_ready=_say_where, stop=stop)
    except OSError as exc:
        raise Fault(
            f"cannot listen on {host} port {port}: {exc.strerror or exc}",
            "Take another port by --port; --port 0 finds a free one.",
        ) from exc


def _say_where(address: str) -> None:
    print(f"The board is at {address} (Ctrl-C ends it)", flush=True)
