"""``bondtrail check``: what is wrong with the site file, the store or its readings."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from operator import itemgetter
from pathlib import Path
from typing import TYPE_CHECKING

import click

from bondtrail.cli import opening, output, tables
from bondtrail.cli.broker_options import optional_broker_options
from bondtrail.cli.faults import Fault, print_fault, printable, translated
from bondtrail.cli.options import db_option, example, site_option
from bondtrail.cli.remarks import Level, Remark, named
from bondtrail.cli.service_remarks import broker_remark, service_remarks
from bondtrail.cli.show import point_rows
from bondtrail.settings import hide_password
from bondtrail.times import nanoseconds
from bondtrail.watching import AHEAD_S, DAY_S

if TYPE_CHECKING:
    from bondtrail.cli.rows import PointRow
    from bondtrail.coverage import Judgement
    from bondtrail.site import Site, Station
    from ingest.live.broker_url import Broker
    from store import Store

UNUSABLE = 2
SOMETHING_WRONG = 3

MOST_HOLDS = 6
MOST_WHY = 120
"""Characters of the reason of a hold to show."""


@click.command(
    "check",
    epilog=example(
        "bondtrail check --site site.toml", "bondtrail check --broker mqtt://127.0.0.1:1883"
    ),
)
@site_option
@optional_broker_options
@db_option
@click.pass_context
def command(ctx: click.Context, site_file: Path | None, broker: Broker | None, db: str) -> None:
    """Say what is wrong, and what to do about it.

    Looks at the site file, the store, its readings and the clocks behind them, the jobs that run
    by themselves and, where one is named, the broker; and says what each station can and cannot
    be judged on. Nothing is changed: a new site file takes effect with the next load or analyse.

    The exit status is 3 when something is wrong, 2 when the site file or the store is unusable.
    """
    faults: list[Fault] = []
    given = site = None
    remarks: list[Remark] = []
    with _noted(faults):
        given = site = opening.given_site(site_file)
    with _noted(faults):
        site, remarks = _examined(db, given)
    if broker is not None:
        remarks.append(broker_remark(broker))
    if site is not None:
        remarks.insert(0, _site_remark(site, site_file if given else None))
        if site_file is None or given is not None:  # not that of another file than the one asked of
            print_coverage(site)
    _print_remarks(remarks)
    if faults:
        ctx.exit(UNUSABLE)
    if any(remark.level is Level.WRONG for remark in remarks):
        ctx.exit(SOMETHING_WRONG)


@contextmanager
def _noted(faults: list[Fault]) -> Iterator[None]:
    """Print what a user can cause and go on: one look tells everything that is wrong."""
    try:
        yield
    except Exception as exc:
        fault = exc if isinstance(exc, Fault) else translated(exc)
        if fault is None:
            raise
        print_fault(fault)
        faults.append(fault)


def _examined(db: str, given: Site | None) -> tuple[Site | None, list[Remark]]:
    """Return the site to look at, and what there is to say of the store and its readings."""
    if given is not None and opening.is_missing(db):
        return given, [Remark(Level.NOTE, f"no store yet at {db}", "bondtrail load makes it")]
    with opening.existing_store(db) as store:
        site = given or opening.needed_site(store)
        now = opening.clock_ns()
        held = point_rows(store, site, now)
        remarks = [
            *_store_remarks(store, db, held),
            *_replaced_remarks(store),
            *_copy_remarks(store, given),
            *_reading_remarks(held, site),
            *_result_remarks(store, now),
            *_hold_remarks(store, site),
            *service_remarks(store, site, now),
        ]
        return site, remarks


def _site_remark(site: Site, file: Path | None) -> Remark:
    points = output.counted(sum(1 for _ in site.points()), "point")
    stations = output.counted(len(site.stations), "station")
    source = f"site file {file}" if file else "site file in the store"
    return Remark(
        Level.FINE,
        f"{source}: {site.name}, {stations}, {points}, {site.timezone}",
    )


def _store_remarks(store: Store, db: str, held: Sequence[PointRow]) -> Iterator[Remark]:
    samples = sum(row.samples for row in held)
    yield Remark(Level.FINE, f"store {hide_password(db)}: {output.amount(samples)} samples")
    damaged = store.check()
    for damage in damaged:
        yield Remark(Level.WRONG, str(damage))
    if not damaged:
        yield Remark(Level.FINE, "every block of samples matches its checksum")


def _replaced_remarks(store: Store) -> Iterator[Remark]:
    """Yield how many readings were ever replaced, the points with most of them first."""
    replaced = store.replacements()
    if replaced:
        most = sorted(replaced, key=lambda point: (-replaced[point], point))
        counts = [f"{point} {output.amount(replaced[point])}" for point in most]
        yield Remark(
            Level.NOTE,
            f"{output.counted(sum(replaced.values()), 'reading')} replaced by later ones that "
            f"differ: {named(counts)}; the earlier values are kept",
            "bondtrail replay tells when, and what they said first",
        )


def _copy_remarks(store: Store, given: Site | None) -> Iterator[Remark]:
    present = opening.stored_site(store)
    if given is None or present is None or present.text == given.text:
        return
    if present.id != given.id:
        yield Remark(
            Level.WRONG,
            f"the store belongs to site {present.id}, the site file is of {given.id}",
            "name another store by --db: one store holds one site",
        )
        return
    yield Remark(
        Level.NOTE,
        "the site file differs from the copy that the store holds",
        "it takes effect with the next load or analyse: from then on, or from their --holds-from",
    )


def _reading_remarks(held: Sequence[PointRow], site: Site) -> Iterator[Remark]:
    stale_s = {point.name: point.stale_after_s for point in site.points()}
    ages = {row.point: row.age_s for row in held if row.age_s is not None}
    yield from _about_points(
        Level.WRONG,
        "with the last reading in the future",
        [name for name, age_s in ages.items() if age_s < -AHEAD_S],
        "set the clock of the source or of this machine; if the times had no offset, the zone",
    )
    yield from _about_points(
        Level.NOTE,
        "never seen",
        [row.point for row in held if not row.samples],
        "load its readings, or correct its alias: bondtrail show rejects names unknown tags. Where "
        "it is published, see that the topic has the site id and station of the site file",
    )
    silent = [name for name, age_s in ages.items() if age_s > stale_s.get(name, age_s)]
    if silent and len(silent) == len(ages):
        yield Remark(
            Level.NOTE,
            f"every point is silent: the newest reading is {tables.age(min(ages.values()))} old",
            "nothing to do for readings that come in files, else look at the source",
        )
    else:
        yield from _about_points(
            Level.NOTE,
            "silent, the last reading no longer holds",
            silent,
            "load newer readings, or look at the source: bondtrail show points tells since when",
        )
    yield from _about_points(
        Level.NOTE,
        "in the store but not in the site file",
        [row.point for row in held if row.point not in stale_s],
        "add it to the site file if it is to be judged",
    )


def _about_points(level: Level, what: str, points: list[str], remedy: str) -> Iterator[Remark]:
    if points:
        yield Remark(
            level, f"{output.counted(len(points), 'point')} {what}: {named(points)}", remedy
        )


def _result_remarks(store: Store, now: int) -> Iterator[Remark]:
    waiting = opening.waiting_stations(store)
    if waiting:
        yield Remark(
            Level.NOTE,
            f"results of {output.counted(len(waiting), 'station')} are not up to date yet: "
            f"{named(waiting)}",
            "bondtrail analyse",
        )
    refused = store.rejected_since(now - nanoseconds(DAY_S))
    if refused or store.rejects(limit=1):
        lately = f", {output.amount(refused)} of them within about a day" if refused else ""
        yield Remark(Level.NOTE, f"some rows were not taken{lately}", "bondtrail show rejects")


def _hold_remarks(store: Store, site: Site) -> Iterator[Remark]:
    """Yield a remark on each hold in force, the newest first, and one on those left out."""
    in_force = [hold for hold in store.holds.all() if hold.in_force][::-1]
    for hold in in_force[:MOST_HOLDS]:
        start, end = (output.site_time(edge, site.zone) for edge in (hold.start, hold.end))
        yield Remark(
            Level.FINE,
            f"hold {hold.number}, by {hold.author}: readings of {hold.station} from {start} to "
            f"{end} are kept: {textwrap.shorten(hold.why, MOST_WHY, placeholder='...')}",
        )
    if in_force[MOST_HOLDS:]:
        left = output.counted(len(in_force) - MOST_HOLDS, "older hold")
        yield Remark(Level.FINE, f"{left} in force too", "bondtrail evidence --holds lists them")


def _print_remarks(remarks: Sequence[Remark]) -> None:
    for remark in remarks:
        _print_hanging(f"{remark.level:5}  ", remark.text)
        if remark.remedy:
            _print_hanging("       -> ", remark.remedy)


def _print_hanging(start: str, text: str) -> None:
    lines = textwrap.wrap(printable(text), output.WIDTH - len(start), break_on_hyphens=False)
    print(start + f"\n{' ' * len(start)}".join(lines))


def print_coverage(site: Site) -> None:
    """Print what each station can and cannot be judged on; stations that are alike share a row."""
    from bondtrail.coverage import judgement

    alike: dict[tuple[Judgement, ...], list[str]] = {}
    for station in site.stations:
        found = (*judgement(station), _estimate(station, site))
        alike.setdefault(found, []).append(station.id)
    rows = [("\n".join(names), _judged(found)) for found, names in alike.items()]
    columns = [
        output.Column("Station", itemgetter(0)),
        output.Column("Can be judged on", itemgetter(1), wraps=True),
    ]
    output.print_table("What the readings can tell", columns, rows, [output.CAUTION, ""])


def _estimate(station: Station, site: Site) -> Judgement:
    """Return whether its hazard can be estimated, by the site file and the table of substances."""
    from analytics.core.electrostatics.inputs import tabled
    from bondtrail.coverage import estimate_reach

    if station.product is None:
        return estimate_reach(station, None)
    product = site.products[station.product]
    substance = tabled(product, station.product)
    keys = ("conductivity_pS_m", "relative_permittivity", "mie_mJ")
    return estimate_reach(
        station, product, [key for key in keys if getattr(substance, key, None) is not None]
    )


def _judged(found: Sequence[Judgement]) -> str:
    full = [item.about for item in found if item.reach == "yes"]
    lines = [f"yes: {', '.join(full)}"] if full else []
    for item in found:
        if item.reach != "yes":
            add = f" (add: {item.add})" if item.add else ""
            lines.append(f"{item.reach}: {item.about} - {item.reason}{add}")
    return "\n".join(lines)
