"""A replay as programs get it: plain values under settled keys, for JSON of any reader."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, fields

from analytics.core.electrostatics.hazard import Figures, Hazard, NoEstimate
from analytics.core.electrostatics.inputs import taken
from analytics.core.electrostatics.spread import Level, Spread
from analytics.core.electrostatics.unseen import UNSEEN
from analytics.core.events import Event
from analytics.core.typical import Comparison, Typical
from analytics.replay.heading import in_words
from analytics.replay.replayed import Held, Missing, Replacement, Replay
from bondtrail.objects import (
    FINDING,
    HOOKUP,
    TICKET,
    TRANSFER,
    TRIP,
    WORK,
    Fields,
    as_is,
    as_object,
    finite,
    iso,
    moment,
    word,
)
from bondtrail.results import Reject

CAUTION = (
    "Bondtrail reads and reports; it is not a safety function and calls nothing safe. The hazard "
    "is an estimate of what could have been, from the readings and published figures with their "
    "spread; it does not see what is listed as unseen. Local codes and licensed practice govern: "
    "have a competent person judge it."
)

EVENT: Fields[Event] = {
    "time": moment("time"),
    "what": word("what"),
    "basis": word("basis"),
    "role": word("role"),
    "detail": lambda event: event.detail,
    "since": moment("since"),
    **as_is("order_certain", "bond", "ohm", "flow", "volume", "volume_is_least"),
    "finding": lambda event: None if event.finding is None else event.finding.id,
}

_MISSING: Fields[Missing] = {
    "about": lambda missing: missing.about,
    "start": moment("start"),
    "end": moment("end"),
    "why": lambda missing: missing.why,
}

_REPLACED: Fields[Replacement] = {
    "role": word("role"),
    "at": moment("at"),
    "count": lambda replaced: replaced.count,
    "first": moment("first"),
    "last": moment("last"),
    **as_is("lowest", "highest"),
    "open": lambda replaced: math.isinf(replaced.highest),
}

_REJECTED: Fields[Reject] = {
    "role": lambda reject: None if reject.point is None else reject.point.rpartition(".")[2],
    "time": moment("time"),
    **as_is("source", "where", "reason"),
}

_COUNTED: Fields[Reject] = {**_REJECTED, **as_is("count"), "last_time": moment("last_time")}
"""Of what stands for several readings."""

_COMPARISON: Fields[Comparison] = {
    "name": lambda comparison: comparison.name,
    "time": moment("moment"),
    **as_is("value", "low", "median", "high", "of", "differs"),
    "open": lambda comparison: comparison.value is not None and math.isinf(comparison.value),
}


def replay_object(replay: Replay) -> dict[str, object]:
    """Return a replay as JSON has it.

    Moments are ISO 8601 in UTC with milliseconds, units are in the names or beside the values. A
    value that is not known is None. So is the ohm of an open circuit among the events: their bond
    says which. An input of the estimate that has no end, such as no leak at all, is ``infinite``.
    """
    transfer = replay.transfer
    told: dict[str, object] = {
        "station": replay.station.id,
        "start": iso(replay.start),
        "end": iso(replay.end),
        "transfer": None if transfer is None else as_object(TRANSFER, transfer),
        "in_words": None if transfer is None else asdict(in_words(replay, transfer)),
        "product": replay.product_name,
        "limits": [_limits(held) for held in replay.held],
        "events": [as_object(EVENT, event) for event in replay.events],
        "typical": None if replay.typical is None else _typical(replay.typical),
        "missing": [as_object(_MISSING, missing) for missing in replay.missing],
        "findings": [as_object(FINDING, finding) for finding in replay.findings],
        "trips": [as_object(TRIP, trip) for trip in replay.trips],
        "hookups": [as_object(HOOKUP, hookup) for hookup in replay.hookups],
        "work": [as_object(WORK, window) for window in replay.work],
        "tickets": [as_object(TICKET, ticket) for ticket in replay.tickets],
        "hazard": hazard_object(replay.hazard),
        "replaced": [as_object(_REPLACED, replaced) for replaced in replay.replaced],
        "rejected": [_rejected_object(reject) for reject in replay.rejected],
        "damaged": list(replay.damaged),
        "waiting": replay.waiting,
        "clocks": replay.clocks,
        "caution": CAUTION,
    }
    return {name: finite(value) for name, value in told.items()}


def hazard_object(hazard: Hazard | NoEstimate) -> dict[str, object]:
    """Return the estimate as JSON has it: its inputs, figures and what it cannot see.

    Without an estimate the same keys hold nothing, and ``reasons`` says why.
    """
    made = hazard if isinstance(hazard, Hazard) else Hazard({}, {}, {})
    return {
        "inputs": {name: _input(name, spread) for name, spread in made.inputs.items()},
        **{str(level): _figures(made.figures.get(level)) for level in Level},
        "conductivity_class": made.conductivity_class,
        "wait_s": None if made.wait_s is None else _spread(made.wait_s),
        "notes": list(made.notes),
        "reasons": [] if isinstance(hazard, Hazard) else list(hazard.reasons),
        "unseen": list(unseen(hazard)),
    }


def unseen(hazard: Hazard | NoEstimate) -> tuple[str, ...]:
    """Return what no estimate can see: it is told where there is no estimate, too."""
    return hazard.unseen or UNSEEN


def _input(name: str, spread: Spread) -> Mapping[str, object]:
    """Return an input with what each level takes of it; its own values stand in rising order."""
    levels = taken(name, spread)
    told = None if levels is None else {str(level): _end(each) for level, each in levels.items()}
    return {**_spread(spread), "taken": told}


def _spread(spread: Spread) -> Mapping[str, object]:
    return {
        "value": _end(spread.typical),
        "low": _end(spread.low),
        "typical": _end(spread.typical),
        "high": _end(spread.high),
        "unit": spread.unit,
        "source": spread.source,
    }


def _end(value: float) -> object:
    """Return a number that JSON holds, or the word for one without end: None is not known."""
    return "infinite" if math.isinf(value) else finite(value)


def _figures(figures: Figures | None) -> Mapping[str, object] | None:
    if figures is None:
        return None
    told = {field.name: getattr(figures, field.name) for field in fields(figures)}
    return {**told, "first_over_mie": iso(figures.first_over_mie)}


def _limits(held: Held) -> Mapping[str, object]:
    return {"since": iso(held.since), "limits": dict(held.station.limits)}


def _typical(typical: Typical) -> Mapping[str, object]:
    first = typical.first_difference
    return {
        "product": typical.product,
        "transfers": list(typical.transfers),
        "comparisons": [as_object(_COMPARISON, each) for each in typical.comparisons],
        "first_difference": None if first is None else as_object(_COMPARISON, first),
    }


def _rejected_object(reject: Reject) -> dict[str, object]:
    is_counted = reject.last_time is not None
    return as_object(_COUNTED if is_counted else _REJECTED, reject)
