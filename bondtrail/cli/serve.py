"""``bondtrail serve``: the board, on this machine only."""

from __future__ import annotations

import ipaddress

import click

from bondtrail.cli import opening
from bondtrail.cli.faults import Fault
from bondtrail.cli.options import db_option, example

DEFAULT_PORT = 8710


@click.command(
    "serve", epilog=example("bondtrail serve", "bondtrail serve --port 0 --db sqlite:///plant.db")
)
@click.option("--host", default="127.0.0.1", show_default=True, help="A loopback address.")
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=DEFAULT_PORT,
    show_default=True,
    help="0 takes any free one.",
)
@db_option
def command(host: str, port: int, db: str) -> None:
    """Serve the board and print its address.

    Ctrl-C ends it.

    The board can be opened from this machine only: it has no sign-in yet, and an address that
    others can reach is refused until it has.
    """
    refuse_without_sign_in(host)
    with opening.existing_store(db) as store:
        opening.needed_site(store)
    serve_board(db, host, port)


def refuse_without_sign_in(host: str) -> None:
    """Refuse an address that others can reach.

    Raises
    ------
    Fault
        Unless the host is a loopback address.
    """
    if not _is_loopback(host):
        raise Fault(
            f"--host {host}: others could open the board there, and it has no sign-in yet",
            "Serve on 127.0.0.1 and reach it from elsewhere through an encrypted tunnel.",
        )


def _is_loopback(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def serve_board(db: str, host: str, port: int) -> None:
    """Serve until interrupted.

    Raises
    ------
    Fault
        If the address cannot be listened on.
    """
    from dashboard import serve

    try:
        serve(db, host=host, port=port, on_ready=_say_where)
    except OSError as exc:
        raise Fault(
            f"cannot listen on {host} port {port}: {exc.strerror or exc}",
            "Take another port by --port; --port 0 finds a free one.",
        ) from exc


def _say_where(address: str) -> None:
    print(f"The board is at {address} (Ctrl-C ends it)", flush=True)
