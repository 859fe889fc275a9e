"""``bondtrail replay``: what happened in a transfer, and what the charge could have been."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import click

from bondtrail.cli import opening, output
from bondtrail.cli.faults import Fault, near, print_warning
from bondtrail.cli.options import db_option, example, format_option
from bondtrail.times import NS_PER_S, TimeError, parse_time

if TYPE_CHECKING:
    from analytics.replay import Replay
    from bondtrail.results import Transfer
    from bondtrail.site import Site
    from store import Store

FORMS = ("spread", "schon", "iec_60079_32_1", "crowl_louvar", "nfpa_77")
"""What `streaming_form` of the site file takes, too."""

DAY_NS = 86_400 * NS_PER_S


class Asked(NamedTuple):
    """What is to be replayed, as it was typed; either a transfer, or a station and when."""

    transfer: str | None
    station: str | None
    at: str | None
    start: str | None
    end: str | None
    streaming_form: str | None


@click.command(
    "replay",
    epilog=example(
        "bondtrail replay rail-1/20260309T082209.409Z",
        "bondtrail replay --station rail-1 --at 2026-03-09T08:30",
        "bondtrail replay --station rail-1 --from 2026-03-09T08:00 --to 2026-03-09T09:00"
        " --format json",
    ),
)
@click.argument("transfer", metavar="[TRANSFER]", required=False)
@click.option("--station", metavar="ID", help="The station, where no TRANSFER is named.")
@click.option("--at", metavar="TIME", help="The transfer in which this lies, or the time around.")
@click.option("--from", "start", metavar="TIME", help="Any span: from here on.")
@click.option("--to", "end", metavar="TIME", help="Up to here, not included; at most 7 days.")
@click.option(
    "--streaming-form",
    type=click.Choice(FORMS),
    help="The published form of the streaming current; spread takes the least and the greatest "
    "of them. As the site file says unless given.",
)
@format_option("For people, spreadsheets (the events) or programs (all of it).")
@db_option
def command(form: str, db: str, **asked: str | None) -> None:
    """Replay a transfer: the sequence of events, and the hazard estimate.

    TRANSFER is the id that `bondtrail show transfers --format csv` prints. A TIME without an
    offset is on the site's clock.

    The estimate says what the charge could have been, as low, typical and high. It ranks and
    explains; it sees only what a bond, a flow and a vessel can tell.
    """
    wanted = Asked(**asked)
    _refuse_unfit(wanted)
    with opening.existing_store(db) as store:
        replay = _gathered(store, wanted)
    _warn(replay)
    _print(replay, form)


def _refuse_unfit(asked: Asked) -> None:
    """Refuse options that do not go together."""
    when = {"--at": asked.at, "--from": asked.start, "--to": asked.end}
    named = [name for name, text in when.items() if text is not None]
    if asked.transfer is not None:
        if asked.station is not None or named:
            beside = "--station" if asked.station is not None else named[0]
            raise click.UsageError(f"{beside} does not go with TRANSFER: the id says both")
    elif asked.station is None:
        needed = f"{named[0]} needs --station ID" if named else "TRANSFER is needed"
        raise click.UsageError(f"{needed}; or --station ID with --at, or with --from and --to")
    elif named not in (["--at"], ["--from", "--to"]):
        raise click.UsageError("--station goes with --at TIME, or with both --from and --to")


def _gathered(store: Store, asked: Asked) -> Replay:
    from analytics.replay import UnknownSpanError

    try:
        return _replay(store, asked)
    except UnknownSpanError as exc:
        raise Fault(str(exc), exc.remedy) from exc


def _replay(store: Store, asked: Asked) -> Replay:
    from analytics.replay.gather import replay_at, replay_span, replay_transfer

    now, form = opening.clock_ns(), asked.streaming_form
    if asked.transfer is not None:
        if store.transfer(asked.transfer) is None:
            raise _unknown(store, asked.transfer)
        return replay_transfer(store, asked.transfer, now=now, form=form)
    site = opening.needed_site(store)
    station = opening.known_station(asked.station, _stations(store, site))
    assert station is not None
    moment = opening.moment(asked.at, site.zone, "--at")
    if moment is not None:
        return replay_at(store, station, moment, now=now, form=form)
    return replay_span(store, station, *_span(asked, site), now=now, form=form)


def _span(asked: Asked, site: Site) -> tuple[int, int]:
    """Return the span of ``--from`` and ``--to``. [ns]"""
    start = opening.moment(asked.start, site.zone, "--from")
    end = opening.moment(asked.end, site.zone, "--to")
    assert start is not None
    assert end is not None
    if end <= start:
        raise click.UsageError("--to must be later than --from")
    return start, end


def _stations(store: Store, site: Site) -> set[str]:
    return {station.id for station in site.stations} | store.readings().keys()


def _unknown(store: Store, wanted: str) -> Fault:
    """Return what to say of a transfer that there is not: the nearest ones."""
    station, _, start = wanted.rpartition("/")
    stations = _stations(store, opening.needed_site(store))
    if not station:
        hint = "A transfer is named STATION/START: bondtrail show transfers --format csv"
    elif station not in stations:
        hint = f"No station {station!r}. {near(station, stations)}"
    else:
        close = _nearest(store, station, start)
        named = f"The nearest: {', '.join(close)}. " if close else ""
        hint = f"{named}Others: bondtrail show transfers --station {station} --format csv"
    return Fault(f"no transfer {wanted!r}", hint)


def _nearest(store: Store, station: str, start: str) -> list[str]:
    """Return the ids of the two transfers that began nearest to a stamp, within a day of it."""
    try:
        moment = parse_time(start)
    except TimeError:
        return []

    def distance(transfer: Transfer) -> int:
        return abs(transfer.start - moment)

    found = store.transfers(station, moment - DAY_NS, moment + DAY_NS)
    return [transfer.id for transfer in sorted(found, key=distance)[:2]]


def _warn(replay: Replay) -> None:
    """Say on standard error what makes the replay less than whole."""
    if replay.waiting:
        print_warning(
            f"findings of {replay.station.id} are not up to date with its readings: "
            "bondtrail analyse"
        )
    for damage in replay.damaged:
        print_warning(f"{damage}\n  It is left out: bondtrail check")


def _print(replay: Replay, form: str) -> None:
    if form == "table":
        from bondtrail.cli.replay_text import print_text

        print_text(replay)
        return
    from analytics.replay.objects import EVENT, replay_object
    from bondtrail.objects import as_object

    if form == "csv":
        output.print_csv(list(EVENT), (as_object(EVENT, event) for event in replay.events))
    else:
        output.print_object(replay_object(replay))
