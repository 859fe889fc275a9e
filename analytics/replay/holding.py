"""Which site files held in a span: each with what it says of one station."""

from __future__ import annotations

from collections.abc import Sequence

from analytics.replay.replayed import Held
from bondtrail.site import Product, Site, Station, same_judgement


def held_in(sites: Sequence[tuple[int, Site]], station: str, start: int, end: int) -> list[Held]:
    """Return the site files that name a station and hold in ``[start, end)``, by time. [ns]

    Parameters
    ----------
    sites : sequence of (int, Site)
        Each file with the moment from which it holds, in order. The first to name the station
        holds for all that came before it too; the last to name it, for all that came after.
    station : str
        Its id.
    start, end : int
        Of what is asked for. The first that is returned is given as holding from ``start`` on.
    """
    held: list[Held] = []
    for since, site in sites:
        known = next((item for item in site.stations if item.id == station), None)
        if known is None or (held and since >= end):
            continue
        if since <= start or not held:
            held = [Held(start, site, known)]
        else:
            held.append(Held(since, site, known))
    return held


def held_at(held: Sequence[Held], moment: int) -> Held:
    """Return the one of some files, in order, that holds at a moment, else the first. [ns]"""
    return next((each for each in reversed(held) if each.since <= moment), held[0])


def product_named(site: Site, name: str | None) -> Product | None:
    """Return a product by the name on a ticket: case, blanks, hyphens and underscores alike."""
    if name is None or name in site.products:
        return site.products.get(name) if name is not None else None
    alike = {_plain(known): product for known, product in site.products.items()}
    return alike.get(_plain(name))


def _plain(name: str) -> str:
    return "".join(name.casefold().replace("-", " ").replace("_", " ").split())


def pieces(
    held: Sequence[Held], span: tuple[int, int], begun: Sequence[tuple[int, int]]
) -> list[tuple[int, int, Station]]:
    """Return by which station's limits each stretch of a span is read, adjoining, in order. [ns]

    Parameters
    ----------
    held : sequence of Held
        Of the span, by time.
    span : tuple of int
        Start and end. [ns]
    begun : sequence of (int, int)
        Hookups and transfers, from start to end: what began under older limits is read by them to
        its end. [ns]
    """
    found = [(span[0], span[1], held[0].station)]
    for each in held[1:]:
        start, end, station = found[-1]
        # What had begun before it and still went on then.
        until = max([each.since, *(b for a, b in begun if a < each.since < b)])
        if until >= end or same_judgement(station, each.station):
            continue
        if until <= start:  # an even newer file holds by the time that the older one's turn comes
            found[-1] = start, end, each.station
        else:
            found[-1:] = [(start, until, station), (until, end, each.station)]
    return found
