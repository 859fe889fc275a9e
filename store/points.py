"""Points in the database: their ids, and how much is stored of each."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import bindparam, insert, select, update

from bondtrail.samples import Samples
from store.engine import Transaction
from store.merging import Change
from store.quick import change_each
from store.schema import point

_AT_ONCE = 500


@dataclass(frozen=True, slots=True)
class PointSummary:
    """How much is stored of a point, and its newest sample; times in ns."""

    point: str
    samples: int
    first: int
    last: int
    value: float
    quality: int


@dataclass(frozen=True, slots=True, eq=False)
class KnownPoint:
    """A point's row as it was read; ``first`` and ``last`` are None while it has no samples."""

    id: int
    name: str
    samples: int
    first: int | None
    last: int | None


def station_of(name: str) -> str:
    """Return the station of a point.

    Raises
    ------
    ValueError
        If the name is not ``<station>.<role>``.
    """
    station, dot, role = name.rpartition(".")
    if not (station and dot and role):
        raise ValueError(f"point {name!r}: expected <station>.<role>, such as rail-1.flow")
    return station


def summaries(tx: Transaction) -> list[PointSummary]:
    """Return every point that has samples, by name."""
    columns = point.c
    query = select(
        columns.name,
        columns.samples,
        columns.first_ns,
        columns.last_ns,
        columns.value,
        columns.quality,
    )
    return [PointSummary(*row) for row in tx.conn.execute(query.order_by(columns.name))]


def heard(tx: Transaction) -> dict[str, tuple[int, int]]:
    """Return the times (ns) of the first and the last sample of each station that has any."""
    found: dict[str, tuple[int, int]] = {}
    for each in summaries(tx):
        station = station_of(each.point)
        first, last = found.get(station, (each.first, each.last))
        found[station] = min(first, each.first), max(last, each.last)
    return found


def find(tx: Transaction, name: str) -> KnownPoint | None:
    """Return a point by its name, or None if nothing was ever stored of it."""
    return next(iter(_known(tx, [name]).values()), None)


def ensure(tx: Transaction, names: Iterable[str]) -> dict[str, KnownPoint]:
    """Return points by name; those that are new get a row."""
    wanted = sorted(set(names))
    known = _known(tx, wanted)
    missing = [name for name in wanted if name not in known]
    if missing:
        rows = [{"name": name, "station": station_of(name), "samples": 0} for name in missing]
        tx.conn.execute(insert(point), rows)
        known |= _known(tx, missing)
    return known


def _known(tx: Transaction, names: list[str]) -> dict[str, KnownPoint]:
    found: dict[str, KnownPoint] = {}
    for low in range(0, len(names), _AT_ONCE):
        rows = tx.conn.execute(_NAMED, {"names": names[low : low + _AT_ONCE]})
        found |= {row.name: KnownPoint(*row) for row in rows}
    return found


_NAMED = select(point.c.id, point.c.name, point.c.samples, point.c.first_ns, point.c.last_ns).where(
    point.c.name.in_(bindparam("names", expanding=True))
)


def count(tx: Transaction, changes: Mapping[KnownPoint, Change]) -> None:
    """Bring the rows of points up to date with what was just written to them."""
    newest = [_row(known, change) for known, change in changes.items() if len(change.samples)]
    later = [row for row in newest if "new_value" in row]
    earlier = [row for row in newest if "new_value" not in row]
    change_each(tx, _COUNTED, earlier)
    change_each(tx, _COUNTED_AND_NEWEST, later)


_COUNTED = (
    update(point)
    .where(point.c.id == bindparam("point_id"))
    .values(
        samples=bindparam("new_samples"),
        first_ns=bindparam("new_first"),
        last_ns=bindparam("new_last"),
    )
)
_COUNTED_AND_NEWEST = _COUNTED.values(
    value=bindparam("new_value"), quality=bindparam("new_quality")
)


def _row(known: KnownPoint, change: Change) -> dict[str, Any]:
    samples: Samples = change.samples
    first, last = int(samples.time[0]), int(samples.time[-1])
    row: dict[str, Any] = {
        "point_id": known.id,
        "new_samples": known.samples + change.written.new,
        "new_first": first if known.first is None else min(first, known.first),
        "new_last": last if known.last is None else max(last, known.last),
    }
    if row["new_last"] == last:
        row["new_value"] = float(samples.value[-1])
        row["new_quality"] = int(samples.quality[-1])
    return row
