"""``bondtrail listen``: what a broker has, into the store, for as long as it runs."""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING

import click

from bondtrail.cli import opening
from bondtrail.cli.broker_options import broker_options, session_options
from bondtrail.cli.faults import Fault, print_warning
from bondtrail.cli.options import db_option, example, holds_from_option, site_option

if TYPE_CHECKING:
    from bondtrail.metrics import Metrics
    from bondtrail.site import Site
    from ingest.live.broker_url import Broker
    from ingest.live.listening import Listener, ListenSettings
    from store import Store

NO_HEALTH = "off"


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
    "--health",
    metavar="HOST:PORT",
    default="127.0.0.1:8711",
    show_default=True,
    help="Where /healthz, /readyz and /metrics answer; off for nowhere.",
)
@site_option
@holds_from_option
@db_option
def command(
    broker: Broker,
    client_id: str | None,
    share: str | None,
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
    """
    from bondtrail.logs import log_plainly
    from bondtrail.metrics import Metrics
    from ingest.live.listening import Listener

    settings = listen_settings(broker, client_id, share)
    given = opening.given_site(site_file)
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
    with stopped_by_signals() as stop, _health(health, listener, metrics):
        listener.run(stop)
    print("Stopped; all that was committed is acknowledged.", flush=True)


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
    """Return what opens the store and puts the given site file in force there."""

    def opened() -> Store:
        from store import open_store

        store = open_store(db)
        try:
            opening.settle_site(store, given, opening.clock_ns(), since)
        except BaseException:
            store.close()
            raise
        return store

    return opened


def say_listening(where: str, client_id: str) -> None:
    """Say that all is subscribed."""
    print(f"Listening to {where} as {client_id} (Ctrl-C ends it)", flush=True)


@contextmanager
def stopped_by_signals() -> Iterator[threading.Event]:
    """Yield an event that SIGTERM and Ctrl-C set, instead of what they else do."""
    stop = threading.Event()
    before = {
        each: signal.signal(each, lambda *_: stop.set()) for each in (signal.SIGTERM, signal.SIGINT)
    }
    try:
        yield stop
    finally:
        for each, handler in before.items():
            signal.signal(each, handler)


def _health(address: str, listener: Listener, metrics: Metrics) -> AbstractContextManager[object]:
    """Return what answers those who watch, while the listener listens."""
    if address == NO_HEALTH:
        return nullcontext()
    ready = {"listener": listener.why_not_ready}
    return health_server(address, {}, ready, metrics)


def health_server(
    address: str,
    live: Mapping[str, Callable[[], str | None]],
    ready: Mapping[str, Callable[[], str | None]],
    metrics: Metrics,
) -> AbstractContextManager[object]:
    """Return a server of /healthz, /readyz and /metrics; where it answers is said.

    Raises
    ------
    Fault
        If the address is none, or cannot be listened on.
    """
    from bondtrail.health import AddressError, HealthServer

    try:
        server = HealthServer(address, live, ready, metrics.registry)
    except AddressError as exc:
        raise Fault(f"--health {exc}") from exc
    except OSError as exc:
        raise Fault(
            f"--health {address}: cannot listen there: {exc.strerror or exc}",
            "Take another port; port 0 finds a free one, and off listens nowhere.",
        ) from exc
    moved = f"{address} is taken, so " if server.moved else ""
    print_warning(f"{moved}health and figures are at {server.url}")
    return server
