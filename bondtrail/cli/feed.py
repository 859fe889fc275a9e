"""``bondtrail feed``: recorded readings to a broker, as if they came from the plant."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from bondtrail.cli import opening, output
from bondtrail.cli.broker_options import broker_options
from bondtrail.cli.faults import Fault, print_warning
from bondtrail.cli.load import DONE_WITH_REJECTS, given_zone
from bondtrail.cli.options import db_option, example, site_option
from bondtrail.cli.progress import shown_progress
from bondtrail.settings import SITE_VARIABLE
from bondtrail.times import NS_PER_S

if TYPE_CHECKING:
    from bondtrail.site import Site
    from ingest.feeding import FeedReport
    from ingest.live.broker_url import Broker

INTERRUPTED = 130
MOST_READINGS = 1000
_HOUR_NS = 3600 * NS_PER_S


class _Speed(click.ParamType[float | None]):
    """A number above 0, or ``max``, which is None."""

    name = "speed"

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> float | None:
        if value == "max":
            return None
        try:
            speed = float(str(value))
        except ValueError:
            speed = 0.0
        if not 0 < speed < float("inf"):
            self.fail(f"{value!r}: expected a number above 0, or max", param, ctx)
        return speed


@click.command(
    "feed",
    epilog=example(
        "bondtrail feed --demo --speed 60 --broker mqtt://127.0.0.1:1883",
        "bondtrail feed recorded/ --now --site site.toml --broker mqtt://127.0.0.1:1883",
    ),
)
@click.argument("paths", nargs=-1, metavar="[PATH...]")
@click.option("--demo", is_flag=True, help="The readings of the invented site, instead of a PATH.")
@click.option(
    "--as",
    "form",
    type=click.Choice(["native", "sparkplug"]),
    default="native",
    show_default=True,
    help="Bondtrail's own topics, or an edge node of Sparkplug B whose devices are the stations.",
)
@click.option(
    "--speed",
    type=_Speed(),
    default="1",
    show_default=True,
    metavar="X",
    help="So many times as fast as it was recorded, or max: as fast as it goes.",
)
@click.option(
    "--now",
    "is_shifted",
    is_flag=True,
    help="Shift the times so that the first reading is of now. Without it they stay as recorded; "
    "then the death of the Sparkplug node at the end marks its points unknown from today on.",
)
@click.option("--station", metavar="ID", help="Only this one.")
@click.option("--from", "start", metavar="TIME", help="From this moment of the record on.")
@click.option("--to", "end", metavar="TIME", help="Up to this moment of the record.")
@click.option(
    "--most",
    type=click.IntRange(1, MOST_READINGS),
    default=50,
    show_default=True,
    help="Readings of one point that may share a message, where so many are due at once.",
)
@click.option(
    "--zone", metavar="NAME", help="Zone of times that have no offset, such as Europe/Lisbon."
)
@broker_options
@site_option
@db_option
@click.pass_context
def command(
    ctx: click.Context,
    paths: Sequence[str],
    demo: bool,
    form: str,
    speed: float | None,
    is_shifted: bool,
    station: str | None,
    start: str | None,
    end: str | None,
    most: int,
    zone: str | None,
    broker: Broker,
    site_file: Path | None,
    db: str,
) -> None:
    """Publish recorded readings to an MQTT broker.

    For commissioning, training and tests of load: a listener takes them as if they came from the
    plant. PATH is what bondtrail load takes: CSV or Parquet files of readings, or a folder of
    them. Readings go out in the order of their times, and the command waits until the broker has
    acknowledged them all.

    What cannot be read is printed, up to 20 rows of it. The exit status is 3 when there was any.

    Caution: a listener cannot tell what is fed from what a monitor says. It stays in the record
    and is judged. Feed to a broker and a store set apart for it, or before the plant is connected;
    never among the readings of people at work.
    """
    from ingest.feeding import Form, Plan, Wanted, feed

    if demo == bool(paths):
        raise click.UsageError("name what to publish: files, a folder, or --demo (one of them)")
    site, files = _demo() if demo else (_site(site_file, db), list(paths))
    opening.known_station(station, (each.id for each in site.stations))
    wanted = Wanted(
        station,
        opening.moment(start, site.zone, "--from"),
        opening.moment(end, site.zone, "--to"),
    )
    plan = Plan(Form(form), speed, wanted, is_shifted, most, given_zone(zone))
    if is_shifted and (speed is None or speed > 1):
        print_warning(
            "--now at more than --speed 1: the times run ahead of the clock\n"
            "  A listener rejects readings of more than an hour ahead."
        )
    if plan.form is Form.SPARKPLUG and not is_shifted:
        print_warning(
            "times as recorded, and an edge node that dies today: at the end a listener marks the\n"
            "  points unknown as of now, long after the record. For a record alone: bondtrail load"
        )
    print_warning(caution(site))
    with _progress(site) as step:
        report = feed(site, files, broker, plan, clock=opening.clock_ns, progress=step)
    print_report(report, broker.where)
    if report.is_stopped:
        ctx.exit(INTERRUPTED)
    _refuse_nothing(report)
    if not report.is_clean:
        ctx.exit(DONE_WITH_REJECTS)


def _demo() -> tuple[Site, list[str]]:
    from bondtrail.site import load_site
    from replay_data import demo_files

    files = demo_files()
    return load_site(files.site), list(map(str, files.readings))


def _site(given: Path | None, db: str) -> Site:
    """Return the site file of ``--site``, else that of the store.

    Raises
    ------
    Fault
        If there is neither.
    """
    site = opening.given_site(given)
    if site is not None:
        return site
    if opening.is_missing(db):
        raise Fault(
            "no site file, and no store that would have one",
            f"Say what the tags mean: --site FILE, or {SITE_VARIABLE}.",
        )
    with opening.existing_store(db) as store:
        return opening.needed_site(store)


@contextmanager
def _progress(site: Site) -> Iterator[Callable[[int, int], None] | None]:
    with shown_progress() as step:
        yield step and (
            lambda done, at: step(done, None, f"up to {output.site_time(at, site.zone)}")
        )


def caution(site: Site) -> str:
    """Return what to know before anything is fed in the name of a site."""
    return (
        f"caution: this is fed as readings of {site.id}, {site.name}\n"
        "  A listener to that site keeps it in the record, and nothing takes it out again."
    )


def print_report(report: FeedReport, where: str) -> None:
    """Print what was published, and what was not and why."""
    published = output.counted(report.published, "reading")
    messages = output.counted(report.messages, "message")
    output.say(f"Published {published} in {messages} to {where}.", *report.notes)
    if report.left_out:
        output.say(f"Left out {output.counted(report.left_out, 'reading')} not asked for.")
    if report.unheard:
        print_warning(
            f"{output.counted(report.unheard, 'message')} had no subscriber: nobody has them now\n"
            "  Start bondtrail listen first: the broker keeps for those that it knows."
        )
    if report.is_stopped:
        print_warning("stopped before the end; what is published stays published")
    for file in report.errors:
        print_warning(f"{file.path} was not published: {file.reason}")
    for reject in report.rejects:
        print_warning(f"{reject.source}, {reject.where}: {reject.reason}")
    if report.rejected:
        print_warning(f"{output.counted(report.rejected, 'row')} not taken")
    if report.refused:
        print_warning(
            f"{output.counted(report.refused, 'message')} refused by the broker\n"
            "  Give this user the right to write there (ACL)."
        )


def _refuse_nothing(report: FeedReport) -> None:
    """Refuse a feed that has published nothing.

    Raises
    ------
    Fault
        If it has not.
    """
    if not report.published:
        raise Fault(
            "nothing was published",
            "See that the site file knows the tags, and that --station, --from and --to are right.",
        )
