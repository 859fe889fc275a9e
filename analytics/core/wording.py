"""Findings in words: severity, the limits a kind is judged by, and one plain sentence each."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from bondtrail.results import Finding, Kind, Number, Severity
from bondtrail.site import Limits

SEVERITY = {
    Kind.NO_BOND_TRANSFER: Severity.CRITICAL,
    Kind.UNBONDED_START: Severity.MAJOR,
    Kind.BOND_LOST_IN_FLOW: Severity.CRITICAL,
    Kind.UNVERIFIABLE_FLOW: Severity.MAJOR,
    Kind.BYPASSED_FLOW: Severity.MAJOR,
    Kind.FAILED_HOOKUP: Severity.MINOR,
    Kind.NUISANCE_TRIP: Severity.MINOR,
    Kind.CHATTERING: Severity.MINOR,
    Kind.PERMISSIVE_WITHOUT_BOND: Severity.CRITICAL,
    Kind.PERMISSIVE_WITHHELD: Severity.MINOR,
    Kind.ITEM_ISOLATED: Severity.MAJOR,
    Kind.EARLY_RELEASE: Severity.MINOR,
    Kind.RESISTANCE_DRIFT: Severity.MINOR,
}
"""Of a finding, unless what else was seen makes it worse."""

_BOND = ("limit_ohm", "open_ohm", "hold_s")
_FLOW = (*_BOND, "flow_min", "transfer_min_s", "resume_within_s")

LIMITS_OF: Mapping[Kind, tuple[str, ...]] = {
    Kind.NO_BOND_TRANSFER: _FLOW,
    Kind.UNBONDED_START: (*_FLOW, "start_allowance_s"),
    Kind.BOND_LOST_IN_FLOW: (*_FLOW, "stop_allowance_s"),
    Kind.UNVERIFIABLE_FLOW: (*_FLOW, "nodata_allowance_s"),
    Kind.BYPASSED_FLOW: ("flow_min", "transfer_min_s", "resume_within_s", "bypass_allowance_s"),
    Kind.FAILED_HOOKUP: (*_BOND, "hookup_min_s", "detach_s", "marginal_factor"),
    Kind.NUISANCE_TRIP: (*_FLOW, "trip_window_s", "brief_s", "marginal_factor"),
    Kind.CHATTERING: ("limit_ohm", "cluster_count", "cluster_s"),
    Kind.PERMISSIVE_WITHOUT_BOND: ("limit_ohm", "mismatch_s"),
    Kind.PERMISSIVE_WITHHELD: ("limit_ohm", "hold_s", "mismatch_s"),
    Kind.ITEM_ISOLATED: ("limit_ohm", "isolated_s"),
    Kind.EARLY_RELEASE: ("open_ohm", "detach_s", "release_wait_s"),
    Kind.RESISTANCE_DRIFT: (*_BOND, "hookup_min_s", "detach_s"),
}
"""The limits that a kind of finding is judged by."""

RANGE = "95 % of the slope alone"
"""What the range of a forecast is: single hookups lie about the line besides."""


def finding(
    kind: Kind,
    station: str,
    span: tuple[int, int],
    limits: Limits,
    evidence: Mapping[str, Number],
    *,
    transfer: str | None,
    severity: Severity | None = None,
) -> Finding:
    """Return a finding with its sentence and the limits it was judged by.

    Parameters
    ----------
    kind : Kind
        What it is about.
    station : str
        Id of the station.
    span : tuple of int
        From the moment that `docs/rules.md` names to the end of the condition. [ns]
    limits : Limits
        Of the station.
    evidence : mapping
        The numbers behind it, by name; the sentence is made of them.
    transfer : str or None
        Id of the transfer it belongs to.
    severity : Severity, optional
        Where it is not that of its kind.
    """
    return Finding(
        kind=kind,
        severity=severity or SEVERITY[kind],
        station=station,
        transfer=transfer,
        start=span[0],
        end=span[1],
        summary=SENTENCES[kind]({**evidence, "_s": (span[1] - span[0]) / 1e9}, limits),
        evidence=evidence,
        limits={name: getattr(limits, name) for name in LIMITS_OF[kind]},
    )


def duration(seconds: float) -> str:
    """Return a span in words, such as ``0.75 s``, ``41 min 5 s`` or ``6 h 3 min``."""
    if seconds < 120:
        return f"{seconds:.3g} s"
    minutes, rest = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    if hours >= 48:
        return f"{hours // 24} d {hours % 24} h"
    return f"{hours} h {minutes} min" if hours else f"{minutes} min {rest} s"


def resistance(ohm: float, figures: int = 4) -> str:
    """Return a resistance to four figures, such as ``10.01 ohm``, ``5.2 kohm`` or ``100 Mohm``."""
    ohm = float(f"{ohm:.{figures}g}")
    for unit, size in (("Mohm", 1e6), ("kohm", 1e3)):
        if ohm >= size:
            return f"{ohm / size:.{figures}g} {unit}"
    return f"{ohm:g} ohm"


def _number(numbers: Mapping[str, Number], name: str) -> float:
    value = numbers[name]
    assert isinstance(value, int | float)
    return value


def _span(numbers: Mapping[str, Number], name: str) -> str:
    return duration(_number(numbers, name))


def _amount(numbers: Mapping[str, Number]) -> str:
    volume = numbers.get("volume")
    return f" ({volume:,.0f} {numbers['unit']})" if isinstance(volume, int | float) else ""


def _no_bond(n: Mapping[str, Number], limits: Limits) -> str:
    unseen = ""
    if n["no_data_s"]:
        unseen = f"; for {_span(n, 'no_data_s')} of it the bond was unknown"
    return (
        f"Flow ran for {_span(n, 'flow_s')}{_amount(n)} and never had a verified bond"
        f" (limit {resistance(limits.limit_ohm)}){unseen}."
    )


def _start(n: Mapping[str, Number], limits: Limits) -> str:
    return (
        f"Flow began without a verified bond and ran so for {_span(n, 'not_bonded_s')}"
        f"{_amount(n)}; the allowance is {limits.start_allowance_s:g} s."
    )


def _lost(n: Mapping[str, Number], limits: Limits) -> str:
    return (
        f"The bond was lost in flow and flow went on for {_span(n, 'not_bonded_s')}"
        f"{_amount(n)} without it; the allowance is {limits.stop_allowance_s:g} s."
    )


def _unverifiable(n: Mapping[str, Number], limits: Limits) -> str:
    return (
        f"Flow ran for {_span(n, 'no_data_s')}{_amount(n)} while the bond was unknown;"
        f" the allowance is {limits.nodata_allowance_s:g} s."
    )


def _bypassed(n: Mapping[str, Number], limits: Limits) -> str:
    return (
        f"Flow ran for {_span(n, 'bypassed_s')}{_amount(n)} with the interlock bypassed;"
        f" the allowance is {limits.bypass_allowance_s:g} s."
    )


def _hookup(n: Mapping[str, Number], limits: Limits) -> str:
    lowest = n["lowest_ohm"]
    reading = f"lowest reading {resistance(lowest)}, " if isinstance(lowest, float) else ""
    cause = f", suspected {n['cause']}" if n["cause"] else ""
    flowed = f"; flow ran for {_span(n, 'flow_s')} during it" if n["flow_s"] else ""
    return (
        f"A hookup of {_span(n, '_s')} never achieved ground: {reading}"
        f"limit {resistance(limits.limit_ohm)}{cause}{flowed}."
    )


def _trip(n: Mapping[str, Number], limits: Limits) -> str:
    cause = str(n["cause"]).replace("_", " ")
    loss = f", the bond was lost for {_span(n, 'loss_s')}" if n["loss_s"] is not None else ""
    band = " and stayed in the marginal band" if n["marginal"] else ""
    return f"Flow was tripped with no lasting loss of bond behind it: {cause}{loss}{band}."


def _chattering(n: Mapping[str, Number], limits: Limits) -> str:
    return (
        f"The bond was lost {n['losses']} times in {_span(n, '_s')};"
        f" {limits.cluster_count} within {limits.cluster_s:g} s are a cluster."
    )


def _without_bond(n: Mapping[str, Number], limits: Limits) -> str:
    flowed = f", flow ran for {_span(n, 'flow_s')} of it" if n["flow_s"] else ""
    return (
        f"The permissive was closed for {_span(n, '_s')} while the bond was not low{flowed};"
        f" the allowance is {limits.mismatch_s:g} s."
    )


def _withheld(n: Mapping[str, Number], limits: Limits) -> str:
    return (
        f"The permissive stayed open for {_span(n, '_s')} although the bond was verified;"
        f" the allowance is {limits.mismatch_s:g} s."
    )


def _isolated(n: Mapping[str, Number], limits: Limits) -> str:
    running = f", running for {_span(n, 'running_s')} of it" if n["running_s"] else ""
    work = "; it began in or within a day after work on it" if n["after_work"] else ""
    return f"The item had no bond for {_span(n, '_s')}{running}{work}."


def _release(n: Mapping[str, Number], limits: Limits) -> str:
    return (
        f"The clamp came off {_span(n, 'waited_s')} after the last flow;"
        f" the wait asked for is {limits.release_wait_s:g} s."
    )


def _drift(n: Mapping[str, Number], limits: Limits) -> str:
    rise = (
        f"Bonded resistance rises by {resistance(_number(n, 'slope_ohm_per_day'), 2)} a day over"
        f" {n['hookups']} hookups and stands at {resistance(_number(n, 'level_ohm'), 3)}"
    )
    limit = resistance(limits.limit_ohm)
    failed = _number(n, "failed_since")
    since = f" Since then {failed:.0f} hookup{'' if failed == 1 else 's'} failed." if failed else ""
    if n["ended_by_work"]:
        since += " Then it was worked on, and resistance was lower: this is past."
    if not n["reaches_limit_in_days"]:
        return f"{rise}: it has reached the limit of {limit}.{since}"
    earliest = _number(n, "reaches_limit_earliest_days")
    if n["reaches_limit_latest_days"] is None:
        reach = f"{RANGE}: {earliest:.0f} at the earliest"
    else:
        reach = f"{RANGE}: {earliest:.0f} to {_number(n, 'reaches_limit_latest_days'):.0f}"
    days = f"{_number(n, 'reaches_limit_in_days'):.0f}"
    return (
        f"{rise}: going on so it reaches the limit of {limit} about"
        f" {days} day{'' if days == '1' else 's'} after the last of them ({reach}).{since}"
    )


SENTENCES: Mapping[Kind, Callable[[Mapping[str, Number], Limits], str]] = {
    Kind.NO_BOND_TRANSFER: _no_bond,
    Kind.UNBONDED_START: _start,
    Kind.BOND_LOST_IN_FLOW: _lost,
    Kind.UNVERIFIABLE_FLOW: _unverifiable,
    Kind.BYPASSED_FLOW: _bypassed,
    Kind.FAILED_HOOKUP: _hookup,
    Kind.NUISANCE_TRIP: _trip,
    Kind.CHATTERING: _chattering,
    Kind.PERMISSIVE_WITHOUT_BOND: _without_bond,
    Kind.PERMISSIVE_WITHHELD: _withheld,
    Kind.ITEM_ISOLATED: _isolated,
    Kind.EARLY_RELEASE: _release,
    Kind.RESISTANCE_DRIFT: _drift,
}
