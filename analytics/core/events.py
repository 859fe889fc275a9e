"""The words of a sequence of events: what can happen, what an event rests on, and one event."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from bondtrail.results import Finding
from bondtrail.site import Role


class What(StrEnum):
    """What an event says, in the order in which events of one moment are told."""

    AT_START = "at_start"
    LIMITS = "limits_in_force"
    LIMITS_CHANGED = "limits_changed"
    WORK_ON = "work_begins"
    WORK_GOING_ON = "work_going_on"
    WORK_OVER = "work_ends"
    TICKET_ON = "ticket_begins"
    TICKET_GOING_ON = "ticket_going_on"
    TICKET_OVER = "ticket_ends"
    GOING_ON = "finding_going_on"
    SILENT = "point_silent"
    BAD_QUALITY = "point_bad_quality"
    HEARD = "point_known_again"
    BOND_UNKNOWN = "bond_unknown"
    BOND_KNOWN = "bond_known_again"
    BOND_LOST = "bond_lost"
    CIRCUIT_OPEN = "circuit_open"
    CLAMP_OFF = "clamp_off"
    CONTACT = "contact_made"
    BOND_LOW = "bond_low"
    VERIFIED = "bond_verified"
    FAULT_ON = "monitor_fault"
    FAULT_OFF = "monitor_fault_cleared"
    BYPASS_ON = "bypass_on"
    BYPASS_OFF = "bypass_off"
    BYPASS_UNKNOWN = "bypass_unknown"
    BYPASS_KNOWN = "bypass_known"
    PERMISSIVE_CLOSED = "permissive_closed"
    PERMISSIVE_OPENED = "permissive_opened"
    PERMISSIVE_UNKNOWN = "permissive_unknown"
    PERMISSIVE_KNOWN = "permissive_known"
    TRIP = "trip"
    FLOW_ON = "flow_on"
    FLOW_RATE = "flow_settled"
    FLOW_OFF = "flow_off"
    FLOW_UNKNOWN = "flow_unknown"
    FLOW_KNOWN = "flow_known"
    UNSTEADY = "changes_without_rest"
    FINDING = "finding"


TOLD_AS = {what: number for number, what in enumerate(What)}
"""The place of an event among those of its moment: from cause to effect."""

ABNORMAL = frozenset(
    {
        What.SILENT,
        What.BAD_QUALITY,
        What.BOND_UNKNOWN,
        What.BOND_LOST,
        What.CIRCUIT_OPEN,
        What.FAULT_ON,
        What.BYPASS_ON,
        What.BYPASS_UNKNOWN,
        What.PERMISSIVE_UNKNOWN,
        What.TRIP,
        What.FLOW_UNKNOWN,
        What.UNSTEADY,
        What.FINDING,
        What.GOING_ON,
    }
)
"""Events that a reader should not miss."""


class Basis(StrEnum):
    """What an event rests on."""

    KNOWN = "known"
    """A reading says so, or a person wrote it down."""
    INFERRED = "inferred"
    """A rule says so, from readings: a verified bond, a trip, a finding."""
    MISSING = "missing"
    """Nothing is known from here on."""


@dataclass(frozen=True, slots=True)
class Event:
    """One change: when, what, and the figures beside it.

    Attributes
    ----------
    time : int
        When it was seen. [ns]
    detail : str
        The figures, in words.
    finding : Finding or None
        The finding that begins, where it is of one.
    basis : Basis
        What it rests on.
    role : Role or None
        The point whose reading shows it; None where it is of no one point.
    since : int or None
        The change may have come at any moment after this one: the good reading before, or, of a
        point that reports on change, no longer ago than its signal is looked at, where the site
        file says so. None where no reading tells. [ns]
    order_certain : bool
        Whether it surely came after the events of other points that are told before it: else they
        lie closer than their points report, or than the clocks of their devices may differ.
    ohm, flow, volume : float or None
        Resistance and rate in force then, and what had flowed since the start of the span or
        transfer; None where nothing of it was measured. [ohm, L/min or kg/min, L or kg]
    volume_is_least : bool
        Whether more may have flowed, for not all of it was measured.
    bond : str or None
        The bond in force then: ``low``, ``high``, ``open`` or ``unknown``.
    """

    time: int
    what: What
    detail: str = ""
    finding: Finding | None = None
    basis: Basis = Basis.KNOWN
    role: Role | None = None
    since: int | None = None
    order_certain: bool = True
    ohm: float | None = None
    flow: float | None = None
    volume: float | None = None
    volume_is_least: bool = False
    bond: str | None = None
