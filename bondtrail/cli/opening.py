"""Opening the store that a command names, and settling which site file holds."""

from __future__ import annotations

import time
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from bondtrail.cli.faults import Fault, near, print_warning
from bondtrail.cli.output import counted, site_time
from bondtrail.running import LINGERING_S
from bondtrail.settings import DB_VARIABLE, SITE_VARIABLE, hide_password, sqlite_file
from bondtrail.times import nanoseconds, parse_time

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from bondtrail.site import Site
    from store import Store

REMEDY = (
    "  To change that: bondtrail analyse --site FILE --holds-from TIME, or once --by-present-limits"
)
"""What to do about history that is not judged by the site file that is in force now."""

FROM_THE_BEGINNING = 0
"""The first site file of a store holds for all history, in ns since 1970."""


def clock_ns() -> int:
    """Return the moment it is now; the only clock of the command line."""
    return time.time_ns()


def is_missing(url: str) -> bool:
    """Return whether a URL names a SQLite file that does not exist."""
    file = sqlite_file(url)
    return file is not None and not file.exists()


def existing_store(url: str) -> Store:
    """Open a store that must be there already: reading never makes an empty one.

    Raises
    ------
    Fault
        If the URL names a SQLite file that does not exist.
    """
    from store import open_store

    if is_missing(url):
        raise Fault(
            f"no store at {hide_password(url)}",
            f"Load readings first (bondtrail load), or name another one by --db or {DB_VARIABLE}.",
        )
    return open_store(url)


def given_site(path: Path | None) -> Site | None:
    """Return the checked site file of ``--site``, if there was one."""
    if path is None:
        return None
    from bondtrail.site import load_site

    return load_site(path)


def stored_site(store: Store) -> Site | None:
    """Return the site file in force in the store, or None."""
    from bondtrail.site import parse_site

    copies = store.sites()
    return parse_site(copies[-1][1], "the site file in the store") if copies else None


def needed_site(store: Store) -> Site:
    """Return the site file in force in the store.

    Raises
    ------
    Fault
        If the store has none.
    """
    site = stored_site(store)
    if site is None:
        raise Fault(
            "the store has no site file",
            f"Name one by --site FILE or {SITE_VARIABLE} with bondtrail load or analyse.",
        )
    return site


def holding_moment(text: str | None, given: Site | None, now: int) -> int | None:
    """Return the moment of ``--holds-from``, in ns.

    Raises
    ------
    Fault
        If the text is no time, or one that is yet to come.
    UsageError
        If there is no site file that could hold from then on.
    """
    if text is None:
        return None
    if given is None:
        raise click.UsageError("--holds-from goes with --site: it says since when that file holds")
    found = moment(text, given.zone, "--holds-from")
    if found is not None and found > now:
        raise Fault(
            f"--holds-from: {text} is yet to come",
            "Give the site file when it holds: it does so from that moment on.",
        )
    return found


def settle_site(store: Store, given: Site | None, now: int, holds_from: int | None = None) -> Site:
    """Return the site to work with; a file that is new to the store holds from now on.

    The first one ever holds from the beginning. ``holds_from`` says otherwise of the given one.

    Raises
    ------
    Fault
        If there is no site file, or the given one is of another site than the store.
    """
    if given is None:
        return needed_site(store)
    present = stored_site(store)
    if present is not None and present.id != given.id:
        raise Fault(
            f"the store belongs to site {present.id!r}, the site file is of {given.id!r}",
            "Name another store by --db: one store holds one site.",
        )
    if holds_from is not None:
        _hold_from(store, given, holds_from)
    elif store.put_site(given, FROM_THE_BEGINNING if present is None else now) and present:
        print_warning(f"the site file has changed and holds for readings from now on\n{REMEDY}")
    return given


def _hold_from(store: Store, given: Site, holds_from: int) -> None:
    since = f"{site_time(holds_from, given.zone)} ({given.timezone})"
    if not store.put_site(given, holds_from):
        print_warning(f"the site file holds at {since} already: nothing changed")
        return
    copies = store.sites()
    later = [start for start, text in copies if start > holds_from and text != given.text]
    if later:
        until = f"until {site_time(later[0], given.zone)}, when another one follows"
    else:
        until = "on" if len(copies) > 1 else "on and, as the first one, for all before it"
    print_warning(f"the site file holds from {since} {until}")


def waiting_stations(store: Store) -> list[str]:
    """Return the stations whose results are not up to date, in order.

    Not those alone with new readings: the last ones may have gone on holding for a while since.
    """
    return sorted(store.waiting(clock_ns() - nanoseconds(LINGERING_S)))


def warn_of_waiting(store: Store) -> None:
    """Say on standard error that results are not up to date, if some are not."""
    waiting = waiting_stations(store)
    if waiting:
        stations = counted(len(waiting), "station")
        print_warning(f"results of {stations} are not up to date yet: bondtrail analyse")


def known_station(wanted: str | None, stations: Iterable[str]) -> str | None:
    """Return the station if there is one of that id.

    Raises
    ------
    Fault
        If there is none; names those that were probably meant.
    """
    known = set(stations)
    if wanted is None or wanted in known:
        return wanted
    raise Fault(f"no station {wanted!r}", near(wanted, known))


def moment(text: str | None, zone: ZoneInfo, option: str) -> int | None:
    """Return the moment that an option names, in ns; without an offset it is site time.

    Raises
    ------
    Fault
        If the text is no time.
    """
    if text is None:
        return None
    try:
        return parse_time(text, zone)
    except ValueError as exc:
        clock = f"A time without an offset, such as 2026-03-01, is on the clock of {zone.key}."
        raise Fault(f"{option}: {exc}", clock) from exc
