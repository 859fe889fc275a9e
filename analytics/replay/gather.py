"""From a store to a replay: one span of one station, with all that is said of it.

Everything comes from one state of the store. Limits, points and products are those of the site
files that held then, never of later ones.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from zoneinfo import ZoneInfo

from analytics.core.electrostatics.estimate import estimate
from analytics.core.events import Event
from analytics.core.metering import Metering
from analytics.core.sequence import sequence
from analytics.core.situation import Signals, Situation, situation
from analytics.core.splicing import spliced
from analytics.replay.found import Found, product_of
from analytics.replay.holding import held_at, held_in, pieces, product_named
from analytics.replay.missing import missing_of
from analytics.replay.replacements import replacements
from analytics.replay.replayed import Held, Replay, UnknownSpanError, clock_error_s
from analytics.replay.spans import AROUND_NS, DAY_NS, FARTHEST_NS, LONGEST_DAYS, replayed_span
from analytics.replay.typicals import typical_of
from analytics.signals import load_signals
from analytics.site_files import stored_sites
from analytics.source import Source
from bondtrail.results import Transfer
from bondtrail.samples import Samples
from bondtrail.site import Role, Station
from bondtrail.times import local, nanoseconds
from store import DamageError

EARLIEST, LATEST = -(8 * 10**18), 8 * 10**18
"""So far from 1970 a reading and all that is reckoned from it are within 64 bits. [ns]"""
SHOW_TRANSFERS = "see which there are with: bondtrail show transfers"


def replay_transfer(
    store: Source, transfer_id: str, *, now: int, form: str | None = None
) -> Replay:
    """Return the replay of a transfer, from before its clamp came on until after it was off.

    Parameters
    ----------
    store : Source
        Read in one snapshot.
    transfer_id : str
        As `bondtrail show transfers` tells it.
    now : int
        The clock: nothing is claimed of what lies beyond it. [ns]
    form : str, optional
        The one form of the streaming current to use, by name, or ``spread`` for all of them; left
        out, as the site file says.

    Raises
    ------
    UnknownSpanError
        If there is no such transfer, or no site file names its station.
    ValueError
        If there is no such form.
    """
    with store.snapshot():
        transfer = store.transfer(transfer_id)
        if transfer is None:
            raise UnknownSpanError(f"there is no transfer {transfer_id}", SHOW_TRANSFERS)
        return _of_transfer(store, transfer, now, form)


def replay_at(
    store: Source, station_id: str, moment: int, *, now: int, form: str | None = None
) -> Replay:
    """Return the replay of the transfer in which a moment lies, else of 5 min on either side.

    Parameters
    ----------
    store : Source
        Read in one snapshot.
    station_id : str
        Id of the station.
    moment : int
        Any moment, of a pause too. [ns]
    now, form
        As for `replay_transfer`.

    Raises
    ------
    UnknownSpanError
        If there is no such station, or nothing is recorded there around that moment.
    """
    moment = min(max(moment, EARLIEST), LATEST)
    with store.snapshot():
        for transfer in store.transfers(station_id, moment, moment + 1):
            if transfer.start <= moment < transfer.end:
                return _of_transfer(store, transfer, now, form)
        span = moment - AROUND_NS, moment + AROUND_NS
        return _of_span(store, station_id, span, None, now, form)


def replay_span(
    store: Source, station_id: str, start: int, end: int, *, now: int, form: str | None = None
) -> Replay:
    """Return the replay of ``[start, end)`` of a station, whatever happened in it. [ns]

    Other parameters are those of `replay_transfer`.

    Raises
    ------
    UnknownSpanError
        If there is no such station, nothing is recorded there in the span, or it is longer than
        `LONGEST_DAYS`.
    ValueError
        If the span does not end after its start.
    """
    if end <= start:
        raise ValueError(f"a span must end after its start, got {start} to {end}")
    if end - start > LONGEST_DAYS * DAY_NS:
        raise UnknownSpanError(
            f"{_too_long(end - start)}: a replay takes {LONGEST_DAYS} days at most",
            "name a shorter one; bondtrail show findings tells where to look",
        )
    span = max(start, EARLIEST), min(end, LATEST)
    with store.snapshot():
        return _of_span(store, station_id, span, None, now, form)


def _of_transfer(store: Source, transfer: Transfer, now: int, form: str | None) -> Replay:
    station = transfer.station
    hookups = store.hookups(station, transfer.start, transfer.end)
    near = transfer.start - FARTHEST_NS, transfer.end + FARTHEST_NS
    others = [each for each in store.transfers(station, *near) if each.start != transfer.start]
    span = replayed_span(transfer, hookups, others)
    return _of_span(store, station, span, transfer, now, form)


def _of_span(
    store: Source,
    station_id: str,
    asked: tuple[int, int],
    transfer: Transfer | None,
    now: int,
    form: str | None,
) -> Replay:
    span = asked[0], _known_until(store, station_id, asked, now)
    if span[1] <= span[0]:
        raise _nothing_recorded(store, station_id, span)
    held = held_in(stored_sites(store), station_id, *span)
    if not held:
        raise UnknownSpanError(
            f"no site file in this store names a station {station_id}",
            "see which there are with: bondtrail show points",
        )
    judged_by = held_at(held, transfer.start if transfer else span[0])
    station, found = judged_by.station, Found.of(store, station_id, span)
    damage: list[DamageError] = []
    signals = _signals(store, judged_by, held, span, damage)
    if not damage and not any(len(line) for line in signals.values()):
        raise _nothing_recorded(store, station_id, span)
    name = transfer.product if transfer else product_of(station, found.tickets, span)
    product = product_named(judged_by.site, name)
    read_by = [(*span, station)] if transfer else _read_by(held, span, found)
    states = spliced([(a, b, _situation(each, signals, span)) for a, b, each in read_by])
    told_from = span[0] - _hold(station), span[1]  # a bond may be verified as the span begins
    replaced = list(replacements(store, station_id, signals, told_from, damage.append))
    rejected = [each for role in signals for each in store.rejected(f"{station_id}.{role}", *span)]
    signals = _within(station, signals, span)
    counted = (transfer.start, transfer.end) if transfer else span
    metering = Metering.of(station, signals, states, counted)
    typical = None
    if transfer:
        typical = typical_of(store, station, transfer, span, signals, found.hookups, found.trips)
    return Replay(
        site=judged_by.site,
        station=station,
        start=span[0],
        end=span[1],
        transfer=transfer,
        held=held,
        product_name=name,
        product=product,
        signals=signals,
        now=states,
        events=_events(station, signals, span, states, held, found, transfer),
        findings=found.findings,
        trips=found.trips,
        hookups=found.hookups,
        work=found.work,
        tickets=found.tickets,
        missing=missing_of(
            station,
            signals,
            span,
            transfer=transfer,
            metering=metering,
            tickets=found.tickets,
            damage=damage,
            replaced=replaced,
            rejected=rejected,
            waiting_since=found.waiting_since,
            kept_from=store.kept_from(station_id),
        ),
        damaged=sorted({str(error) for error in damage}),
        waiting=found.waiting_since is not None,
        hazard=estimate(
            station,
            product,
            name,
            signals,
            states,
            span,
            judged_by.site.hazard,
            form=form,
            heard=_heard(store, station),
        ),
        typical=typical,
        metering=metering,
        replaced=replaced,
        rejected=rejected,
    )


def _signals(
    store: Source,
    judged_by: Held,
    held: Sequence[Held],
    span: tuple[int, int],
    damage: list[DamageError],
) -> Signals:
    """Return the readings of every point that the station has in the span.

    They reach back so far that a hold that was served as the span began is seen.
    """
    start = span[0] - max(_hold(each.station) for each in (judged_by, *held))
    signals: dict[Role, Samples] = {}
    for each in (judged_by, *held):
        others = {role: p for role, p in each.station.points.items() if role not in signals}
        part = each.station.model_copy(update={"points": others})
        signals |= load_signals(store, part, start, span[1], damage.append)
    return signals


def _heard(store: Source, station: Station) -> dict[Role, tuple[int, int]]:
    """Return the first and the last reading on record of each point of a station. [ns]"""
    known = {each.point: (each.first, each.last) for each in store.points()}
    named = {role: point.name for role, point in station.points.items()}
    return {role: known[name] for role, name in named.items() if name in known}


def _within(station: Station, signals: Signals, span: tuple[int, int]) -> Signals:
    """Return the readings that may hold into a span, without those that only a hold was read of."""
    stale = {role: nanoseconds(point.stale_after_s) for role, point in station.points.items()}
    return {
        role: line.between(span[0] - stale[role], span[1]) if role in stale else line
        for role, line in signals.items()
    }


def _hold(station: Station) -> int:
    return nanoseconds(station.limits.hold_s)


def _situation(station: Station, signals: Signals, span: tuple[int, int]) -> Situation:
    """Return the states over a span and the hold before it: a bond may be verified by then."""
    return situation(station, signals, (span[0] - _hold(station), span[1]))


def _read_by(
    held: Sequence[Held], span: tuple[int, int], found: Found
) -> list[tuple[int, int, Station]]:
    """Return by which station's limits each stretch of a span is read. [ns]"""
    begun = [(each.start, each.end) for each in found.hookups]
    return pieces(held, span, begun + [(each.start, each.end) for each in found.transfers])


def _events(
    station: Station,
    signals: Signals,
    span: tuple[int, int],
    states: Situation,
    held: Sequence[Held],
    found: Found,
    transfer: Transfer | None,
) -> list[Event]:
    return sequence(
        station,
        signals,
        span,
        trips=found.trips,
        findings=found.findings,
        work=found.work,
        tickets=found.tickets,
        changes=[(b.since, a.station, b.station) for a, b in pairwise(held)],
        counted_from=transfer.start if transfer else None,
        clock_error_s=clock_error_s(held),
        now=states,
    )


def _too_long(lasts_ns: int) -> str:
    """Return the length of a span in words that do not round it to what would be taken."""
    days = lasts_ns / DAY_NS
    told = f"{days:.1f} days" if days >= LONGEST_DAYS + 0.1 else f"more than {LONGEST_DAYS} days"
    return f"the span is {told} long"


def _known_until(store: Source, station: str, span: tuple[int, int], now: int) -> int:
    """Return where a span ends of which nothing is claimed beyond now or the last reading. [ns]"""
    heard = store.readings().get(station)
    latest = now if heard is None else max(now, heard[1] + 1)
    if span[0] >= latest:
        began = _site_times(store, span[0])
        raise UnknownSpanError(f"{station}: nothing is recorded from {began} on: yet to come")
    return min(span[1], latest)


def _nothing_recorded(store: Source, station: str, span: tuple[int, int]) -> UnknownSpanError:
    heard = store.readings().get(station)
    if heard is None:
        return UnknownSpanError(f"{station}: nothing is recorded at all", "load its readings")
    kept_from = store.kept_from(station)
    removed = kept_from is not None and span[0] < kept_from
    return UnknownSpanError(
        f"{station}: nothing is recorded from {_site_times(store, *span)}",
        f"its readings go from {_site_times(store, *heard)}"
        + ("; older ones were removed, as the site file asks" if removed else ""),
    )


def _site_times(store: Source, *moments: int) -> str:
    """Return one or two moments on the site's clock, which is named."""
    sites = stored_sites(store)
    zone = sites[-1][1].zone if sites else ZoneInfo("UTC")
    return f"{' to '.join(f'{local(m, zone):%Y-%m-%d %H:%M:%S}' for m in moments)} ({zone.key})"
