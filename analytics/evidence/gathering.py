"""What goes into a package: one state of a store, and so much of it that the rules run again."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from analytics.core.isolation import AFTER_WORK_NS
from analytics.core.situation import Signals
from analytics.epochs import FOREVER, OF_TRANSFER, Epoch, limits_at
from analytics.evidence.faults import EvidenceError, NotAnalysedError, UnknownTransferError
from analytics.evidence.gone import lacking, narrower
from analytics.evidence.left import FromLeft, Left
from analytics.evidence.losses import loss_ends
from analytics.evidence.reach import needed
from analytics.evidence.readings import Enclosed, signals_of
from analytics.evidence.rerun import (
    NAMED_BY,
    Difference,
    Grounds,
    Window,
    compared,
    quiet_before,
    run_again,
)
from analytics.evidence.rows import Plain, plain_rows
from analytics.replay.gather import replay_transfer
from analytics.replay.replayed import Replay, UnknownSpanError
from analytics.replay.spans import FARTHEST_NS
from analytics.signals import load_signals
from analytics.site_files import stored_sites
from bondtrail.results import (
    RULES_VERSION,
    Finding,
    Hookup,
    Kind,
    Reject,
    Review,
    Ticket,
    Transfer,
    Trip,
    WorkWindow,
)
from bondtrail.samples import Replaced
from bondtrail.site import Role, Site, Station
from bondtrail.times import NS_PER_S, nanoseconds
from store import DamageError, Floor, Store

MARGIN_S = 300.0
"""Enclosed on both sides of a transfer, unless said otherwise."""
MOST_MARGIN_S = 7 * 86_400.0

_HOUR = 3600 * NS_PER_S
_LOOK_BACK = tuple(_HOUR * 4**k for k in range(5))
"""How far before what is shown a quiet moment is looked for: 1 h to 10 days."""
_LOOK_BACK_CUT = _LOOK_BACK[:3]
"""Below a floor: 1 h to 16 h, within the day that is kept before an open finding."""
_MOST_LOOKED_THROUGH = 4_000_000
"""Readings: behind so many no quiet moment is looked for."""
_LOOK_AHEAD = tuple(10 * NS_PER_S * 4**k for k in range(7))
"""How far behind the end of what began in a transfer readings may be needed to judge it."""
_MOST_AHEAD = 24 * _HOUR


Heard = Mapping[Role, tuple[int, int]]
"""When the first and the last reading of each point are, as far as the window reaches. [ns]"""


@dataclass(frozen=True, slots=True, eq=False)
class Gathered:
    """All that a package is made of.

    Attributes
    ----------
    transfer : Transfer
        The one that it is about.
    replay : Replay
        What is said of it.
    shown : (int, int)
        The transfer with its margins. [ns]
    window : Window
        Which readings are enclosed, and what is judged from them.
    sites : sequence of (int, Site)
        The site files up to the end, each with the moment from which it holds. [ns]
    work, tickets : sequence
        Of the station, as far as they bear on what is enclosed.
    readings : mapping of Role to Enclosed
        Of every point of the station.
    replaced : mapping of Role to sequence of Replaced
        The earlier values of those that others took the place of, by commit; of points that have
        any.
    rejects : sequence of Reject
        What would have been readings of that time and could not be taken.
    results : mapping of str to list
        Rows of transfers, hookups, trips and findings, as plain values.
    findings : sequence of Finding
        The same that are in ``results``.
    reviews : sequence of Review
        The whole log.
    left : Left or None
        What is left of the readings, where old ones were removed and that matters.
    differences : sequence of Difference
        Where the rules do not give the results again from what is enclosed.
    damaged : sequence of str
        Stored readings that cannot be read, in words.
    heard : mapping of Role to (int, int)
        When the first and the last reading of each point are that the store holds at all, moved
        to the ends of the window where they are beyond it: an estimate asks for them. [ns]
    lacking : sequence of (int, int)
        Where readings lack in the window that may have been removed. [ns]
    """

    transfer: Transfer
    replay: Replay
    shown: tuple[int, int]
    window: Window
    sites: Sequence[tuple[int, Site]]
    work: Sequence[WorkWindow]
    tickets: Sequence[Ticket]
    readings: Mapping[Role, Enclosed]
    replaced: Mapping[Role, Sequence[Replaced]]
    rejects: Sequence[Reject]
    results: Mapping[str, Sequence[Plain]]
    findings: Sequence[Finding]
    reviews: Sequence[Review]
    left: Left | None
    differences: Sequence[Difference]
    damaged: Sequence[str]
    heard: Heard
    lacking: Sequence[tuple[int, int]] = ()


def gathered(store: Store, transfer_id: str, margin_s: float) -> Gathered:
    """Return what a package of a transfer is made of, from one state of the store.

    No clock has a say in it: nothing is claimed beyond the last reading.

    Raises
    ------
    UnknownTransferError
        If there is no such transfer.
    NotAnalysedError
        If its station is to be analysed first.
    EvidenceError
        If the margin is none or too long, or the readings are gone.
    """
    if not 0 <= margin_s <= MOST_MARGIN_S:
        raise EvidenceError(f"a margin of {margin_s:g} s: expected 0 to {MOST_MARGIN_S:g} s")
    with store.snapshot():
        transfer = store.transfer(transfer_id)
        if transfer is None:
            raise UnknownTransferError(
                f"no transfer {transfer_id!r}", "Their ids: bondtrail show transfers --format csv."
            )
        return _gathered(store, transfer, nanoseconds(margin_s))


def _gathered(store: Store, transfer: Transfer, margin: int) -> Gathered:
    floor = store.floors().get(transfer.station)
    begins = transfer.start - max(margin, FARTHEST_NS)
    left = None if floor is None or begins >= floor.since else Left.of(floor, transfer)
    while True:
        found = _within(store, transfer, margin, floor, left)
        if left is None or left.is_above(transfer):
            return found
        span = found.replay.start, found.replay.end
        # Before the floor nothing else tells whose readings are all there.
        late = 0 if floor is None else floor.late
        narrowed = narrower(left, transfer, span, found.differences, found.lacking, late)
        if narrowed == left:
            return found
        left = narrowed


def _within(
    store: Store, transfer: Transfer, margin: int, floor: Floor | None, left: Left | None
) -> Gathered:
    """Return what a package is made of that rests on what is left of the readings."""
    source = FromLeft(store, left, transfer)
    stored = _stored_grounds(source, transfer.station)
    first, last = _recorded(source, stored)
    last = min(last, _ended(store, transfer))
    replay = _replayed(source, transfer, last)
    begins = min(replay.start, transfer.start - margin)
    shown = (
        max(begins, first, source.judged[0]),
        min(_with_next(store, transfer, max(replay.end, transfer.end + margin)), last),
    )
    if floor is not None and transfer.start >= floor.since:
        start, since = _beginning_above(stored, shown[0], floor)
    else:
        is_cut = _is_cut(store, floor, shown[0])
        start, since = _beginning(stored, shown[0], first, is_cut=is_cut)
    limits = limits_at(stored.epochs(), transfer.start)
    needs = needed((transfer.start, transfer.end), limits)
    start = max(min(start, needs[0]), first if floor is None else _all_from(floor, transfer, first))
    found = _Found.of(store, transfer, since, shown[1], needs[1])
    judged_until = _analysed_until(store, found, max(shown[1], min(found.settled, last)))
    window = Window(start, since, shown[1], shown[1])
    rows = found.rows()
    window = _window(stored, found, rows, window, min(last, judged_until))
    grounds = _bearing_on(stored, window)
    readings, replaced, damage = _readings(store, source, grounds.epochs(), window)
    enclosed = replace(
        grounds, read=lambda station, begin, end: signals_of(readings, station, begin, end)
    )
    heard = _heard(store, stored.station, readings, window)
    within = min(window.start, transfer.start), window.end
    return Gathered(
        transfer=transfer,
        replay=replay,
        shown=shown,
        window=window,
        sites=grounds.sites,
        work=grounds.work,
        tickets=grounds.tickets,
        readings=readings,
        replaced=replaced,
        rejects=[
            each
            for role in readings
            for each in store.rejected(f"{stored.station}.{role}", window.start, window.end)
        ],
        results=rows,
        findings=found.findings,
        reviews=store.reviews.log(),
        left=left,
        differences=compared(
            rows,
            run_again(enclosed, window),
            window,
            asked=asked(left, transfer, begins),
            about=transfer.id,
        ),
        damaged=sorted({str(error) for error in damage}),
        heard=heard,
        lacking=[] if left is None else _lacking(left, within, grounds, readings, heard, damage),
    )


def _lacking(
    left: Left,
    within: tuple[int, int],
    grounds: Grounds,
    readings: Mapping[Role, Enclosed],
    heard: Heard,
    damage: Sequence[DamageError],
) -> list[tuple[int, int]]:
    stale = longest_held(grounds.epochs())
    lines = {role: (each.samples, stale[role]) for role, each in readings.items()}
    return lacking(left, within, lines, heard, damage)


def asked(left: Left | None, transfer: Transfer, begins: int) -> int | None:
    """Return from when on more would be shown were there no floor, or None; see `compared`."""
    return begins if left is not None and left.is_above(transfer) else None


def _heard(store: Store, station: str, roles: Iterable[Role], window: Window) -> Heard:
    known = {each.point: (each.first, each.last) for each in store.points()}
    return {
        role: (
            min(max(known[name][0], window.start), window.end),
            max(min(known[name][1], window.end), window.start),
        )
        for role in roles
        if (name := f"{station}.{role}") in known
    }


def _stored_grounds(store: FromLeft, station: str) -> Grounds:
    def read(of: Station, start: int, end: int) -> Signals:
        return load_signals(store, of, start, end, on_damage=_told_of_later)

    return Grounds(station, stored_sites(store), store.work(station), store.tickets(station), read)


def _told_of_later(_: DamageError) -> None:
    """Leave damage to the reading of what is enclosed: that tells of it."""


def _recorded(store: FromLeft, stored: Grounds) -> tuple[int, int]:
    """Return from when to when anything is known of a station by its readings. [ns]"""
    heard = store.readings().get(stored.station)
    longest = longest_held(stored.epochs()).values()
    if heard is None or not longest:
        raise EvidenceError(
            f"the store holds no readings, or no site file, of {stored.station} any more"
        )
    return heard[0], min(heard[1] + max(longest), store.span[1])


def _with_next(store: Store, transfer: Transfer, end: int) -> int:
    """Return an end that shows that the next transfer begins there, if one does. [ns]

    A replay ends where the next one begins, which has to be enclosed to tell so.
    """
    following = store.transfers(transfer.station, end, end + 1)
    return end + 1 if any(each.start == end for each in following) else end


def _ended(store: Store, transfer: Transfer) -> int:
    """Return where the analysis ended of what still holds: results go no further. [ns]

    Raises
    ------
    NotAnalysedError
        If limits or papers came since that hold in the transfer.
    """
    mark = store.touched().get(transfer.station)
    if mark is None or transfer.station in store.waiting():
        return FOREVER
    if mark.since < transfer.end:
        raise _not_analysed(transfer.station)
    return mark.since


def _not_analysed(station: str) -> NotAnalysedError:
    return NotAnalysedError(
        f"{station} is to be analysed again: what was found there may be out of date",
        "First: bondtrail analyse",
    )


def longest_held(epochs: Sequence[Epoch]) -> dict[Role, int]:
    """Return for each point how long a reading of it holds at most, over all epochs. [ns]"""
    longest: dict[Role, int] = {}
    for epoch in epochs:
        for role, point in epoch.station.points.items():
            longest[role] = max(nanoseconds(point.stale_after_s), longest.get(role, 0))
    return longest


def _replayed(store: FromLeft, transfer: Transfer, now: int) -> Replay:
    try:
        return replay_transfer(store, transfer.id, now=now)
    except UnknownSpanError as exc:
        raise EvidenceError(str(exc), exc.remedy) from exc


def _all_from(floor: Floor, transfer: Transfer, first: int) -> int:
    """Return from when on all readings of a transfer's time are there that ever were. [ns]"""
    return max(first, floor.context) if transfer.start >= floor.since else first


def _is_cut(store: Store, floor: Floor | None, moment: int) -> bool:
    """Tell whether readings before a moment may have been removed, and no hold kept them. [ns]"""
    if floor is None or moment >= floor.since:
        return False
    return not store.holds.over(floor.station, moment, moment + 1)


def _beginning_above(stored: Grounds, before: int, floor: Floor) -> tuple[int, int]:
    """Return the same as `_beginning` of what is shown from a floor on.

    That is quiet itself, and so near that it is looked for no further back.
    """
    for back in _LOOK_BACK:
        start = max(before - back, floor.context)
        quiet = quiet_before(stored, start, before, whole=False)
        if quiet is not None and quiet.at >= floor.since and quiet.context >= floor.context:
            return quiet.context, quiet.at
        if start == floor.context:
            return floor.context, floor.since
        if _is_much(stored, start, before):
            break
    return max(before - _LOOK_BACK[0], floor.context), before


def _beginning(stored: Grounds, before: int, first: int, *, is_cut: bool) -> tuple[int, int]:
    """Return from where readings must be enclosed, and from where on they tell what began. [ns]

    Where no quiet moment is near, that is from what is shown on: what was under way then cannot
    be judged from the package. The same goes where readings were removed (``is_cut``): further
    back than around a finding that is open there are but some of them.
    """
    for back in _LOOK_BACK_CUT if is_cut else _LOOK_BACK:
        start = max(before - back, first)
        quiet = quiet_before(stored, start, before, whole=start == first and not is_cut)
        if quiet is not None:
            return max(quiet.context, first), quiet.at
        if start == first:
            return first, before if is_cut else first
        if _is_much(stored, start, before):
            break
    return max(before - _LOOK_BACK[0], first), before


def _is_much(stored: Grounds, start: int, before: int) -> bool:
    station = stored.epochs()[-1].station
    return sum(map(len, stored.read(station, start, before).values())) > _MOST_LOOKED_THROUGH


@dataclass(frozen=True, slots=True, eq=False)
class _Found:
    """The results of a station that a package tells."""

    transfer: Transfer
    needs: int
    transfers: Sequence[Transfer]
    hookups: Sequence[Hookup]
    trips: Sequence[Trip]
    findings: Sequence[Finding]

    @classmethod
    def of(cls, store: Store, transfer: Transfer, since: int, until: int, needs: int) -> _Found:
        """Return those that overlap ``[since, until)``, and what goes with its transfers. [ns]

        ``needs`` is until when the readings have to tell whether the transfer went on.
        """
        station = transfer.station
        transfers = store.transfers(station, since, until)
        ids = {row.id for row in transfers}
        latest = max([until, *(row.end + 1 for row in transfers)])
        findings = {each.id: each for each in store.findings(station, since, until)}
        for row in transfers:
            findings |= {
                each.id: each
                for each in store.findings(station, transfer=row.id)
                if each.kind in OF_TRANSFER
            }
        return cls(
            transfer,
            needs,
            transfers,
            store.hookups(station, since, until),
            [
                each
                for each in store.trips(station, since, latest)
                if each.time < until or each.transfer in ids
            ],
            sorted(findings.values(), key=lambda each: (each.start, each.kind)),
        )

    @property
    def settled(self) -> int:
        """When all that began in the transfer was over for good, within a day of its end. [ns]"""
        ends = [each.end for each in self.hookups if each.start <= self.transfer.end]
        ends += [
            each.end
            for each in self.findings
            if each.start <= self.transfer.end and each.kind is not Kind.RESISTANCE_DRIFT
        ]
        ends += [loss_ends(each) for each in self.trips if each.time <= self.transfer.end]
        return min(max([self.needs, *ends]), self.transfer.end + _MOST_AHEAD)

    def rows(self) -> dict[str, list[Plain]]:
        """Return them as plain values, by sort."""
        return {sort: plain_rows(getattr(self, sort)) for sort in NAMED_BY}


def _analysed_until(store: Store, found: _Found, until: int) -> int:
    """Return until when the results are those of the readings. [ns]

    Raises
    ------
    NotAnalysedError
        If readings, tickets or limits from before ``until`` came since, or other rules judged.
    """
    station = found.transfer.station
    mark = store.waiting().get(station)
    if mark is not None and mark.since < until:
        raise _not_analysed(station)
    others = {each.rules for each in found.findings} - {RULES_VERSION}
    if others:
        raise NotAnalysedError(
            f"{station} was judged by version {', '.join(sorted(others))} of the rules, "
            f"this is version {RULES_VERSION}",
            "First: bondtrail analyse",
        )
    return FOREVER if mark is None else mark.since


def _window(
    stored: Grounds,
    found: _Found,
    rows: Mapping[str, Sequence[Plain]],
    window: Window,
    last: int,
) -> Window:
    """Return a window that reaches so far that the results come out of its readings again.

    It goes no further for what only begins in the margin behind the transfer.
    """
    for ahead in _LOOK_AHEAD:
        end = min(max(window.until, found.settled + ahead), last)
        wider = replace(window, end=end)
        again = run_again(_bearing_on(stored, wider), wider)
        found_again = compared(rows, again, wider, about=found.transfer.id)
        if end == last or all(map(_is_far, found_again)):
            return wider
    return replace(window, end=min(max(window.until, found.settled + _LOOK_AHEAD[0]), last))


def _is_far(difference: Difference) -> bool:
    """Tell whether no few readings more would settle a difference."""
    return difference.beyond and not (difference.is_given and difference.sort == "hookup")


def _bearing_on(stored: Grounds, window: Window) -> Grounds:
    """Return the site files and papers that can matter to a window, and no later ones."""
    held = [each for each in stored.sites if each[0] < window.end]
    named = [any(s.id == stored.station for s in site.stations) for _, site in stored.sites]
    # The first file to name a station holds for all that came before it.
    held = held if any(named[: len(held)]) else list(stored.sites[: named.index(True) + 1])
    return replace(
        stored,
        sites=held,
        work=[
            each
            for each in stored.work
            if each.start < window.end and each.end + AFTER_WORK_NS > window.start
        ],
        tickets=[
            each for each in stored.tickets if each.start < window.end and each.end > window.start
        ],
    )


def _readings(
    store: Store, source: FromLeft, epochs: Sequence[Epoch], window: Window
) -> tuple[dict[Role, Enclosed], dict[Role, Sequence[Replaced]], list[DamageError]]:
    """Return the readings of every point that hold in a window, and their earlier values.

    And what of them is damaged.
    """
    damage: list[DamageError] = []
    readings: dict[Role, Enclosed] = {}
    replaced: dict[Role, Sequence[Replaced]] = {}
    for role, stale in longest_held(epochs).items():
        name = f"{epochs[-1].station.id}.{role}"
        span = window.start - stale, window.end
        samples = source.read(name, *span, on_damage=damage.append)
        if earlier := source.replaced(name, *span, on_damage=damage.append):
            replaced[role] = earlier
        arrived = store.arrivals(name, samples.time)
        readings[role] = Enclosed(samples, arrived.first, arrived.last)
    return readings, replaced, damage
