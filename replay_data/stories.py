"""What an analysis should find in the demo: the stories, as counts that can be checked."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from replay_data.shifts import FIRST, LAST, april, march


class Row(StrEnum):
    """Which rows of an analysis are counted."""

    FINDING = "finding"
    """By kind."""
    TRIP = "trip"
    """By ``class/cause``."""
    FAILED = "failed"
    """Failed hookups, by cause."""
    ALARM = "alarm"
    """By kind."""


@dataclass(frozen=True, slots=True)
class Expected:
    """So many rows of a name at a station that begin from one local day to another."""

    station: str
    row: Row
    name: str
    first: date
    last: date
    least: int
    most: int


@dataclass(frozen=True, slots=True)
class Story:
    """One thing worth finding, and the rows that give it away."""

    title: str
    expected: tuple[Expected, ...]


def _finding(station: str, name: str, first: date, last: date, *counts: int) -> Expected:
    return Expected(station, Row.FINDING, name, first, last, counts[0], counts[-1])


def _trip(station: str, name: str, first: date, last: date, *counts: int) -> Expected:
    return Expected(station, Row.TRIP, name, first, last, counts[0], counts[-1])


def _failed(station: str, name: str, first: date, last: date, *counts: int) -> Expected:
    return Expected(station, Row.FAILED, name, first, last, counts[0], counts[-1])


def _alarm(station: str, name: str, first: date, last: date, *counts: int) -> Expected:
    return Expected(station, Row.ALARM, name, first, last, counts[0], counts[-1])


STORIES = (
    Story(
        "rail-2: a clamp wears towards the limit",
        (
            _finding("rail-2", "resistance_drift", FIRST, FIRST, 1),
            _finding("rail-2", "failed_hookup", march(30), april(4), 5, 14),
            _failed("rail-2", "marginal", march(30), april(4), 5, 14),
            _trip("rail-2", "genuine/high_resistance", march(28), april(4), 2, 6),
        ),
    ),
    Story(
        "drum-2: a cable breaks contact in short bursts, until it is replaced on 2 April",
        (
            _finding("drum-2", "nuisance_trip", march(16), april(2), 25, 60),
            _finding("drum-2", "chattering", march(16), april(2), 12, 40),
            _trip("drum-2", "nuisance/brief_contact_loss", march(16), april(2), 25, 60),
            _finding("drum-2", "nuisance_trip", april(3), LAST, 0),
        ),
    ),
    Story(
        "road-3: painted lugs, and hookups that keep failing",
        (
            _finding("road-3", "failed_hookup", march(16), LAST, 50, 120),
            _failed("road-3", "layer", march(16), LAST, 25, 80),
            _failed("road-3", "unsteady", march(16), LAST, 5, 40),
            _failed("road-3", "falling", march(16), LAST, 3, 30),
            _failed("road-3", "marginal", march(16), LAST, 3, 30),
        ),
    ),
    Story(
        "drum-3: the bypass key stays in over a night, and a clamp comes off unheeded",
        (
            _finding("drum-3", "bypassed_flow", march(18), march(19), 8, 14),
            _finding("drum-3", "bond_lost_in_flow", march(19), march(19), 1),
        ),
    ),
    Story(
        "dryer-sieve: a strap left off after the clean-down of 21 March, found by running",
        (
            _finding("dryer-sieve", "item_isolated", march(21), march(21), 1),
            _finding("dryer-sieve", "unbonded_start", march(24), march(24), 1),
        ),
    ),
    Story(
        "road-1 to road-4: a network switch down for 40 minutes on 26 March",
        tuple(
            _finding(f"road-{bay}", "unverifiable_flow", march(26), march(26), 1, 2)
            for bay in (1, 2, 3, 4)
        ),
    ),
    Story(
        "road-1: a slow valve lets flow run on after the clamp comes off",
        (
            _finding("road-1", "bond_lost_in_flow", march(10), april(2), 5, 7),
            _trip("road-1", "genuine/clamp_off", march(10), april(2), 5, 7),
        ),
    ),
    Story(
        "rail-3: a monitor module trips good transfers, until it is replaced on 30 March",
        (
            _finding("rail-3", "nuisance_trip", march(16), march(29), 6, 20),
            _trip("rail-3", "nuisance/monitor_fault", march(16), march(29), 6, 20),
            _finding("rail-3", "nuisance_trip", march(30), LAST, 0),
        ),
    ),
    Story(
        "road-2: the evening of 1 April, a tanker filled with no bond at all",
        (
            _finding("road-2", "no_bond_transfer", april(1), april(1), 1),
            _finding("road-2", "permissive_without_bond", april(1), april(1), 2, 5),
            _failed("road-2", "layer", april(1), april(1), 1),
        ),
    ),
    Story(
        "drum-1: a worn clamp trips good fills, until it is replaced on 23 March",
        (
            _finding("drum-1", "nuisance_trip", FIRST, march(23), 15, 40),
            _trip("drum-1", "nuisance/brief_contact_loss", FIRST, march(23), 15, 40),
            _finding("drum-1", "nuisance_trip", march(24), LAST, 1, 4),
        ),
    ),
    Story(
        "road-4: contacts of another pattern read higher from 23 March, and drift no further",
        (_finding("road-4", "resistance_drift", FIRST, LAST, 0),),
    ),
    Story(
        "dryer: a hose-down on 30 March floods the powder desk with short alarms",
        tuple(
            _alarm(f"dryer-{item}", "item_bond_lost", march(30), march(30), 15, 35)
            for item in ("bowl", "filter", "sieve", "chute")
        ),
    ),
)

SMALL_CHANGE = (
    _finding("rail-1", "early_release", march(11), march(26), 2),
    _finding("drum-1", "permissive_withheld", march(13), march(13), 3),
    _finding("silo-2", "item_isolated", march(12), march(12), 1),
    _finding("tote-1", "unbonded_start", march(17), march(30), 2),
    *(
        _finding(station, "failed_hookup", FIRST, LAST, 0, 6)
        for station in (
            *("rail-1", "rail-3", "road-1", "road-2", "road-4"),
            *("drum-1", "drum-2", "drum-3", "tote-1"),
        )
    ),
    _finding("rail-2", "failed_hookup", FIRST, march(29), 0, 3),
    _finding("road-3", "failed_hookup", FIRST, march(15), 0, 3),
)
"""What else happens at any site; with the stories it is everything that is found."""
