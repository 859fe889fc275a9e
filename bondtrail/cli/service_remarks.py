"""What `check` says of a running service: its sources, jobs, users, retention and broker."""

from __future__ import annotations

import secrets
import textwrap
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from bondtrail.cli import output, tables
from bondtrail.cli.remarks import MOST_NAMES, Level, Remark, named
from bondtrail.watching import (
    JobState,
    clock_word,
    heard_ago_s,
    is_off,
    is_quiet,
    job_state,
)

if TYPE_CHECKING:
    from bondtrail.running import Job, Source
    from bondtrail.site import Site
    from ingest.live.broker_url import Broker
    from store import Store

MOST_SAID = 200
"""Characters of what a failing job said."""

_SCHEDULE = "bondtrail run, or bondtrail analyse --every 60s, does it by itself"


def service_remarks(store: Store, site: Site, now: int) -> Iterator[Remark]:
    """Yield what there is to say of what goes on by itself; ``now`` in ns."""
    sources = store.sources()
    yield from _heard_remarks(sources, site, now)
    yield from _clock_remarks(sources)
    yield from _job_remarks(store.jobs.all(), site, now)
    yield from _floor_remarks(store, site)
    yield _user_remark(store)


def _heard_remarks(sources: Sequence[Source], site: Site, now: int) -> Iterator[Remark]:
    """Yield whether anything comes in, where there are sources."""
    ago_s = heard_ago_s(sources, now)
    if ago_s is None:
        return
    since = tables.age(max(0.0, ago_s))
    if not is_quiet(sources, now):
        publish = "publishes" if len(sources) == 1 else "publish"
        many = output.counted(len(sources), "source")
        yield Remark(Level.FINE, f"{many} {publish}, the last heard {since} ago")
        return
    last = max(sources, key=lambda source: source.heard)
    at = output.site_time(last.heard, site.zone)
    yield Remark(
        Level.WRONG,
        f"no source was heard for {since}: the last, {last.name}, at {at}",
        "look whether bondtrail listen runs, and the broker; its log says what it waits for",
    )


def _clock_remarks(sources: Sequence[Source]) -> Iterator[Remark]:
    """Yield how the clocks of sources stand: those that seem wrong each, the others together."""
    live = [source for source in sources if source.lag_median_s is not None]
    worst = sorted(live, key=lambda source: -abs(source.lag_median_s or 0.0))
    off = [source for source in worst if is_off(source)]
    for source in off[:MOST_NAMES]:
        yield Remark(
            Level.WRONG,
            f"{clock_word(source)}: readings of {_lag(source)}",
            "set the clock of the source, or of this machine; or look what holds messages up: what "
            "is fed, or was stored at the source for a while, comes late too",
        )
    if off[MOST_NAMES:]:
        yield Remark(
            Level.WRONG, f"clocks of {len(off) - MOST_NAMES} more sources seem wrong: see the board"
        )
    fine = [source for source in worst if not is_off(source)]
    if fine:
        agree = "agrees" if len(fine) == 1 else "agree"
        yield Remark(
            Level.FINE,
            f"the clock of {output.counted(len(fine), 'source')} {agree} with ours, "
            f"the largest lag first: {named([_lag(source) for source in fine])}",
        )


def _lag(source: Source) -> str:
    """Return a source with arrival minus time of its readings: median, and how far it spreads."""
    median_s, spread_s = source.lag_median_s or 0.0, source.lag_spread_s or 0.0
    return (
        f"{source.name} {'+' if median_s >= 0 else '-'}{_length(abs(median_s))} "
        f"(spread {_length(spread_s)}, of {output.counted(source.lag_count, 'reading')})"
    )


def _length(seconds: float) -> str:
    """Return a length of time in a unit that a person reads it in."""
    return f"{seconds:.3g} s" if seconds < 600 else tables.age(seconds)


def _job_remarks(jobs: Sequence[Job], site: Site, now: int) -> Iterator[Remark]:
    """Yield which jobs fail or rest; where none runs at all, that alone."""
    states = {job.name: job_state(job, now) for job in jobs}
    idle = (JobState.RESTING, JobState.UNENDED)
    for job in jobs:
        if states[job.name] is JobState.FAILING:
            yield _failing(job, site)
    if jobs and all(state in idle for state in states.values()):
        last = max((job.succeeded or 0 for job in jobs), default=0) or None
        since = output.site_time(last, site.zone)
        text = f"nothing is done by itself any more: the last job ended well {since}"
        yield Remark(Level.NOTE, text, _SCHEDULE)
        return
    for job in jobs:
        if states[job.name] in idle:
            yield _idle(job, states[job.name], site)
    well = [job.name for job in jobs if states[job.name] in (JobState.WELL, JobState.RUNNING)]
    if well:
        yield Remark(Level.FINE, f"jobs that go well: {named(well)}")


def _failing(job: Job, site: Site) -> Remark:
    well = "it never ended well" if job.succeeded is None else "it last ended well "
    since = "" if job.succeeded is None else output.site_time(job.succeeded, site.zone)
    said = textwrap.shorten(job.said, MOST_SAID, placeholder="...")
    return Remark(
        Level.WRONG,
        f"job {job.name} failed {output.counted(job.failures, 'time')} in a row, {well}{since}: "
        f"{said}",
        "mend what it says: it is tried again by itself",
    )


def _idle(job: Job, state: JobState, site: Site) -> Remark:
    if state is JobState.UNENDED:
        begun = output.site_time(job.started, site.zone)
        text = f"job {job.name} began {begun} and has not ended: its process may be gone, {job.by}"
        return Remark(Level.WRONG, text, "look whether that process lives; another takes it over")
    last = "never ended well"
    if job.succeeded is not None:
        last = f"last ended well {output.site_time(job.succeeded, site.zone)}"
    return Remark(
        Level.WRONG, f"job {job.name} is not done though others are: it {last}", _SCHEDULE
    )


def _floor_remarks(store: Store, site: Site) -> Iterator[Remark]:
    """Yield from when on readings are kept where retention removed some, and what came late."""
    floors = sorted(store.floors().values(), key=lambda floor: floor.station)
    removed = [floor for floor in floors if floor.removed]
    if removed:
        since = [f"{floor.station} {output.site_time(floor.kept, site.zone)}" for floor in removed]
        readings = sum(floor.removed for floor in removed)
        yield Remark(
            Level.FINE,
            f"{output.counted(readings, 'reading')} removed by retention; kept are those of "
            f"{named(since)} and later. What was found before stays, and is not judged again",
        )
    late = [floor for floor in floors if floor.late]
    if late:
        came = [f"{floor.station} {floor.late:,}" for floor in late]
        yield Remark(
            Level.NOTE,
            f"readings came late for times of which others are removed: {named(came)}; they are "
            "kept until the next removal, and not judged",
            "nothing to do, unless they should have come earlier",
        )


def _user_remark(store: Store) -> Remark:
    people = store.users.all()
    may = sum(not person.disabled for person in people)
    if not may:
        return Remark(Level.FINE, "nobody may sign in: the board serves this machine alone")
    disabled = f", {len(people) - may} disabled" if len(people) > may else ""
    return Remark(Level.FINE, f"{output.counted(may, 'user')} may sign in to the board{disabled}")


def broker_remark(broker: Broker) -> Remark:
    """Return whether a broker lets us in: connect, and leave again."""
    from ingest.feeding.publisher import Publisher
    from ingest.live.trouble import BrokerError

    try:
        with Publisher(broker, f"bondtrail-check-{secrets.token_hex(4)}"):
            pass
    except BrokerError as exc:
        remedy = "" if exc.is_lasting else "a listener waits until it is back, and says so"
        return Remark(Level.WRONG, f"broker {exc}", remedy)
    return Remark(Level.FINE, f"broker {broker.where} lets us in")
