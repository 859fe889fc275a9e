"""``bondtrail run``: listen, judge by the clock and serve the board, in one process."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from bondtrail.cli import opening
from bondtrail.cli.broker_options import broker_options, session_options
from bondtrail.cli.health import answering, health_option
from bondtrail.cli.listen import listen_settings, say_listening, site_settler, waits_for
from bondtrail.cli.options import db_option, example, holds_from_option, site_option
from bondtrail.cli.parts import Part, end_of, run_together
from bondtrail.cli.schedule import jobs_of, readiness, refuse_missing, wait_for_store
from bondtrail.cli.serve import access_of, board_options, serve_board
from bondtrail.cli.stopping import told_to_stop

if TYPE_CHECKING:
    from ingest.live.broker_url import Broker


@click.command(
    "run",
    epilog=example(
        "bondtrail run --broker mqtt://127.0.0.1:1883 --site site.toml",
        "bondtrail run --broker mqtts://broker:8883 --ca ca.pem --port 8710",
    ),
)
@broker_options
@session_options
@board_options
@health_option
@site_option
@holds_from_option
@db_option
def command(
    broker: Broker,
    client_id: str | None,
    share: str | None,
    host: str,
    port: int,
    names: tuple[str, ...],
    proxy: str | None,
    health: str,
    site_file: Path | None,
    holds_from: str | None,
    db: str,
) -> None:
    """Listen, judge what is new and serve the board, in one process: for a small site.

    What each of listen, analyse --every and serve says of itself holds here too. A broker or a
    database that is away is waited for. Where one part ends by itself the others are ended too,
    and the status is 1: have a service manager begin it anew.

    Ctrl-C or SIGTERM ends it, in good order and within half a minute.
    """
    from bondtrail.logs import log_plainly
    from bondtrail.metrics import Metrics
    from ingest.live.listening import Listener

    settings = listen_settings(broker, client_id, share)
    given = opening.given_site(site_file)
    since = opening.holding_moment(holds_from, given, opening.clock_ns())
    if given is None:
        refuse_missing(db)
    log_plainly()
    metrics = Metrics()
    settled = site_settler(db, given, since)
    listener = Listener(
        settings, settled, clock=opening.clock_ns, metrics=metrics, on_listening=say_listening
    )
    jobs = jobs_of(db, metrics)
    listening = Part("the listener", listener.run)
    live = {
        "listener": lambda: listening.alive() or listener.why_not_alive(),
        "schedule": jobs.alive,
    }
    ready = {"broker": lambda: waits_for(listener), **readiness(jobs)}
    with told_to_stop() as stop, answering(health, live, ready, metrics):
        died = None
        if wait_for_store(settled, stop):
            board = _board(db, host, port, names, proxy)
            died = run_together([listening, Part("the schedule", jobs.keep), board], stop)
    end_of(died)
    print("Stopped; all that was committed is acknowledged.", flush=True)


def _board(db: str, host: str, port: int, names: Sequence[str], proxy: str | None) -> Part:
    """Return the board as a part; whoever may see it is settled now."""
    with opening.existing_store(db) as store:
        access = access_of(store, host, names, proxy)
    return Part("the board", lambda stop: serve_board(db, host, port, access, stop))
