"""``bondtrail listen``: what a broker has, into the store, for as long as it runs."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from bondtrail.cli import opening
from bondtrail.cli.broker_options import broker_options, session_options
from bondtrail.cli.faults import Fault
from bondtrail.cli.health import answering, health_option
from bondtrail.cli.options import db_option, example, holds_from_option, site_option
from bondtrail.cli.stopping import told_to_stop
from bondtrail.settings import sqlite_file

if TYPE_CHECKING:
    from bondtrail.site import Site
    from ingest.live.broker_url import Broker
    from ingest.live.listening import Listener, ListenSettings
    from store import Store


@click.command(
    "listen",
    epilog=example(
        "bondtrail listen --broker mqtt://127.0.0.1:1883 --site site.toml",
        "bondtrail listen --broker mqtts://broker:8883 --ca ca.pem",
    ),
)
@broker_options
@session_options
@click.option(
    "--leave",
    is_flag=True,
    help="Do not listen: have the broker forget the listener of this name and discard what it "
    "still keeps for it. For one that is not to come back.",
)
@health_option
@site_option
@holds_from_option
@db_option
def command(
    broker: Broker,
    client_id: str | None,
    share: str | None,
    leave: bool,
    health: str,
    site_file: Path | None,
    holds_from: str | None,
    db: str,
) -> None:
    """Take readings from an MQTT broker into the store.

    A message is acknowledged once its readings are committed, so that the broker keeps what is
    not yet safe. The store gone, the broker gone, the disk full: it waits, says so, and carries
    on. What cannot be taken is kept with the reason: see bondtrail show rejects.

    Ctrl-C or SIGTERM ends it: what it holds is committed and acknowledged first.

    Bondtrail reads and reports; it is not a safety function. What must act at once belongs into
    the interlock. Local codes and licensed practice come first.
    """
    from bondtrail.logs import log_plainly
    from bondtrail.metrics import Metrics
    from ingest.live.listening import Listener

    settings = listen_settings(broker, client_id, share)
    given = opening.given_site(site_file)
    if leave:
        leave_broker(broker, client_id, given, db)
        return
    since = opening.holding_moment(holds_from, given, opening.clock_ns())
    log_plainly()
    metrics = Metrics()
    listener = Listener(
        settings,
        site_settler(db, given, since),
        clock=opening.clock_ns,
        metrics=metrics,
        on_listening=say_listening,
    )
    live = {"listener": listener.why_not_alive}
    ready = {"broker": lambda: waits_for(listener), "store": listener.why_no_store}
    with told_to_stop() as stop, answering(health, live, ready, metrics):
        listener.run(stop)
    print("Stopped; all that was committed is acknowledged.", flush=True)


def leave_broker(broker: Broker, client_id: str | None, given: Site | None, db: str) -> None:
    """Have a broker forget a listener, and say what that discards.

    Raises
    ------
    Fault
        If no site file tells how the listener is called.
    """
    from ingest.live.leaving import leave
    from ingest.live.rounds import default_client_id
    from ingest.live.status import status_topic

    if given is None:
        with opening.existing_store(db) as store:
            given = opening.needed_site(store)
    name = client_id or default_client_id(given.id)
    if leave(broker, name, status_topic(given.id, name)):
        print(f"{broker.where} has forgotten {name}; what it still kept for it is discarded.")
    else:
        print(f"{broker.where} knows no {name}: nothing was kept for it.")


def listen_settings(broker: Broker, client_id: str | None, share: str | None) -> ListenSettings:
    """Return what to listen to.

    Raises
    ------
    Fault
        If the client id or the group cannot be one.
    """
    from ingest.live.listening import ListenSettings

    for option, text in (("--client-id", client_id), ("--share", share)):
        if text is not None and (not text or set(text) & set("/+#\0")):
            raise Fault(f"{option} {text!r}: expected a name without / + #")
    return ListenSettings(broker, client_id, share)


def site_settler(db: str, given: Site | None, since: int | None) -> Callable[[], Store]:
    """Return what opens the store and puts the given site file in force there.

    A database that is away is waited for by whoever calls it; a file of SQLite that cannot be
    opened is a fault, for it does not come by itself.
    """

    def opened() -> Store:
        from store import StoreUnavailableError, open_store

        try:
            store = open_store(db)
        except StoreUnavailableError as exc:
            if sqlite_file(db) is None:
                raise
            raise Fault(str(exc)) from exc
        try:
            opening.settle_site(store, given, opening.clock_ns(), since)
        except BaseException:
            store.close()
            raise
        return store

    return opened


def waits_for(listener: Listener) -> str | None:
    """Return what a listener waits for, without a name or an address; None where it listens."""
    why = listener.why_not_ready()
    return why and why.partition(":")[0]


def say_listening(where: str, client_id: str) -> None:
    """Say that all is subscribed."""
    print(f"Listening to {where} as {client_id} (Ctrl-C ends it)", flush=True)
