"""Findings in words, with the limits that they were judged by."""

from __future__ import annotations

import pytest

from analytics.core.wording import LIMITS_OF, SENTENCES, SEVERITY, duration, finding, resistance
from bondtrail.results import NON_COMPLIANT, RULES_VERSION, Kind, Number, Severity
from bondtrail.site import Limits
from tests.analytics.core.build import ns

FLOWED: dict[str, Number] = {
    "flow_s": 300.0,
    "not_bonded_s": 90.0,
    "no_data_s": 0.0,
    "bypassed_s": 12.5,
    "volume": 1234.4,
    "unit": "L",
}
DRIFT: dict[str, Number] = {
    "failed_since": 0,
    "ended_by_work": False,
    "hookups": 63,
    "slope_ohm_per_day": 0.0526,
    "level_ohm": 8.123,
    "reaches_limit_in_days": 35.7,
    "reaches_limit_earliest_days": 28.2,
    "reaches_limit_latest_days": 51.6,
}
RELEASE_WAIT = Limits(release_wait_s=30.0)


@pytest.mark.parametrize(
    ("seconds", "expected"),
    [
        pytest.param(0, "0 s", id="nothing"),
        pytest.param(0.75, "0.75 s", id="below-a-second"),
        pytest.param(12.345, "12.3 s", id="three-figures"),
        pytest.param(119.4, "119 s", id="below-two-minutes"),
        pytest.param(120, "2 min 0 s", id="exactly-two-minutes"),
        pytest.param(2465, "41 min 5 s", id="minutes"),
        pytest.param(3599.6, "1 h 0 min", id="rounds-up-to-the-hour"),
        pytest.param(21_780, "6 h 3 min", id="hours"),
        pytest.param(172_799, "47 h 59 min", id="below-two-days"),
        pytest.param(172_800, "2 d 0 h", id="exactly-two-days"),
    ],
)
def test_duration(seconds: float, expected: str) -> None:
    assert duration(seconds) == expected


@pytest.mark.parametrize(
    ("ohm", "expected"),
    [
        pytest.param(0, "0 ohm", id="dead-short"),
        pytest.param(10.0, "10 ohm", id="the-usual-limit"),
        pytest.param(10.01, "10.01 ohm", id="just-above-it-is-not-rounded-to-it"),
        pytest.param(312.44, "312.4 ohm", id="four-figures"),
        pytest.param(999.97, "1 kohm", id="rounds-up-to-the-next-unit"),
        pytest.param(5200.0, "5.2 kohm", id="thousands"),
        pytest.param(1e8, "100 Mohm", id="millions"),
    ],
)
def test_resistance(ohm: float, expected: str) -> None:
    assert resistance(ohm) == expected


@pytest.mark.parametrize(
    ("kind", "evidence", "expected"),
    [
        pytest.param(
            Kind.NO_BOND_TRANSFER,
            FLOWED,
            "Flow ran for 5 min 0 s (1,234 L) and never had a verified bond (limit 10 ohm).",
            id="no-bond",
        ),
        pytest.param(
            Kind.NO_BOND_TRANSFER,
            {**FLOWED, "volume": None, "unit": None, "no_data_s": 30.0},
            "Flow ran for 5 min 0 s and never had a verified bond (limit 10 ohm);"
            " for 30 s of it the bond was unknown.",
            id="no-bond-partly-unknown-and-not-measured",
        ),
        pytest.param(
            Kind.UNBONDED_START,
            FLOWED,
            "Flow began without a verified bond and ran so for 90 s (1,234 L);"
            " the allowance is 2 s.",
            id="unbonded-start",
        ),
        pytest.param(
            Kind.BOND_LOST_IN_FLOW,
            FLOWED,
            "The bond was lost in flow and flow went on for 90 s (1,234 L) without it;"
            " the allowance is 5 s.",
            id="lost",
        ),
        pytest.param(
            Kind.UNVERIFIABLE_FLOW,
            {**FLOWED, "no_data_s": 11.0},
            "Flow ran for 11 s (1,234 L) while the bond was unknown; the allowance is 10 s.",
            id="unverifiable",
        ),
        pytest.param(
            Kind.BYPASSED_FLOW,
            FLOWED,
            "Flow ran for 12.5 s (1,234 L) with the interlock bypassed; the allowance is 1 s.",
            id="bypassed",
        ),
        pytest.param(
            Kind.FAILED_HOOKUP,
            {"lowest_ohm": 312.4, "median_ohm": 330.0, "cause": "layer", "flow_s": 0.0},
            "A hookup of 10 s never achieved ground: lowest reading 312.4 ohm, limit 10 ohm,"
            " suspected layer.",
            id="failed-hookup",
        ),
        pytest.param(
            Kind.FAILED_HOOKUP,
            {"lowest_ohm": None, "median_ohm": None, "cause": None, "flow_s": 4.0},
            "A hookup of 10 s never achieved ground: limit 10 ohm; flow ran for 4 s during it.",
            id="failed-hookup-in-flow-without-readings",
        ),
        pytest.param(
            Kind.NUISANCE_TRIP,
            {"cause": "monitor_fault", "loss_s": None, "marginal": False},
            "Flow was tripped with no lasting loss of bond behind it: monitor fault.",
            id="nuisance-trip",
        ),
        pytest.param(
            Kind.NUISANCE_TRIP,
            {"cause": "brief_contact_loss", "loss_s": 0.5, "marginal": True},
            "Flow was tripped with no lasting loss of bond behind it: brief contact loss,"
            " the bond was lost for 0.5 s and stayed in the marginal band.",
            id="nuisance-trip-with-a-brief-loss",
        ),
        pytest.param(
            Kind.CHATTERING,
            {"losses": 7},
            "The bond was lost 7 times in 10 s; 3 within 60 s are a cluster.",
            id="chattering",
        ),
        pytest.param(
            Kind.PERMISSIVE_WITHOUT_BOND,
            {"flow_s": 0.0},
            "The permissive was closed for 10 s while the bond was not low; the allowance is 3 s.",
            id="permissive-without-bond",
        ),
        pytest.param(
            Kind.PERMISSIVE_WITHOUT_BOND,
            {"flow_s": 6.0},
            "The permissive was closed for 10 s while the bond was not low, flow ran for 6 s of it;"
            " the allowance is 3 s.",
            id="permissive-without-bond-in-flow",
        ),
        pytest.param(
            Kind.PERMISSIVE_WITHHELD,
            {"flow_s": 0.0},
            "The permissive stayed open for 10 s although the bond was verified;"
            " the allowance is 3 s.",
            id="permissive-withheld",
        ),
        pytest.param(
            Kind.ITEM_ISOLATED,
            {"running_s": 0.0, "after_work": False},
            "The item had no bond for 10 s.",
            id="isolated",
        ),
        pytest.param(
            Kind.ITEM_ISOLATED,
            {"running_s": 5.0, "after_work": True},
            "The item had no bond for 10 s, running for 5 s of it;"
            " it began in or within a day after work on it.",
            id="isolated-running-after-work",
        ),
        pytest.param(
            Kind.EARLY_RELEASE,
            {"waited_s": 4.0},
            "The clamp came off 4 s after the last flow; the wait asked for is 30 s.",
            id="early-release",
        ),
        pytest.param(
            Kind.RESISTANCE_DRIFT,
            DRIFT,
            "Bonded resistance rises by 0.053 ohm a day over 63 hookups and stands at 8.12 ohm:"
            " going on so it reaches the limit of 10 ohm about 36 days after the last of them"
            " (95 % of the slope alone: 28 to 52).",
            id="drift",
        ),
        pytest.param(
            Kind.RESISTANCE_DRIFT,
            {**DRIFT, "reaches_limit_latest_days": None, "failed_since": 2},
            "Bonded resistance rises by 0.053 ohm a day over 63 hookups and stands at 8.12 ohm:"
            " going on so it reaches the limit of 10 ohm about 36 days after the last of them"
            " (95 % of the slope alone: 28 at the earliest). Since then 2 hookups failed.",
            id="drift-that-may-last",
        ),
        pytest.param(
            Kind.RESISTANCE_DRIFT,
            {**DRIFT, "level_ohm": 10.44, "reaches_limit_in_days": 0.0},
            "Bonded resistance rises by 0.053 ohm a day over 63 hookups and stands at 10.4 ohm:"
            " it has reached the limit of 10 ohm.",
            id="drift-that-has-come-to-the-limit",
        ),
        pytest.param(
            Kind.RESISTANCE_DRIFT,
            {**DRIFT, "level_ohm": 10.44, "reaches_limit_in_days": 0.0, "ended_by_work": True},
            "Bonded resistance rises by 0.053 ohm a day over 63 hookups and stands at 10.4 ohm:"
            " it has reached the limit of 10 ohm. Then it was worked on, and resistance was lower:"
            " this is past.",
            id="drift-that-work-ended",
        ),
    ],
)
def test_each_kind_says_its_figures_in_a_sentence(
    kind: Kind, evidence: dict[str, Number], expected: str
) -> None:
    limits = RELEASE_WAIT
    found = finding(kind, "spot", (ns(5), ns(15)), limits, evidence, transfer="spot/x")
    assert found.summary == expected
    assert (found.kind, found.station, found.transfer) == (kind, "spot", "spot/x")
    assert (found.start, found.end, found.seconds) == (ns(5), ns(15), 10.0)
    assert found.rules == RULES_VERSION
    assert found.evidence == evidence


SEVERITIES = {
    # As docs/rules.md has them; three of them may be worse by what else was seen.
    "critical": ["no_bond_transfer", "bond_lost_in_flow", "permissive_without_bond"],
    "major": ["unbonded_start", "unverifiable_flow", "bypassed_flow", "item_isolated"],
    "minor": [
        "failed_hookup",
        "nuisance_trip",
        "chattering",
        "permissive_withheld",
        "early_release",
        "resistance_drift",
    ],
}


def test_each_kind_has_the_severity_of_the_design() -> None:
    assert {(str(kind), str(worst)) for kind, worst in SEVERITY.items()} == {
        (kind, severity) for severity, kinds in SEVERITIES.items() for kind in kinds
    }


def test_what_was_seen_may_make_it_worse() -> None:
    evidence: dict[str, Number] = {"running_s": 5.0, "after_work": False}
    found = finding(
        Kind.ITEM_ISOLATED,
        "dryer",
        (0, ns(90)),
        Limits(),
        evidence,
        transfer=None,
        severity=Severity.CRITICAL,
    )
    assert found.severity is Severity.CRITICAL


def test_every_kind_has_a_sentence_and_limits() -> None:
    assert set(SENTENCES) == set(LIMITS_OF) == set(Kind)


@pytest.mark.parametrize("kind", list(Kind))
def test_the_limits_told_are_those_of_the_station(kind: Kind) -> None:
    assert set(LIMITS_OF[kind]) <= set(Limits.model_fields)
    assert len(set(LIMITS_OF[kind])) == len(LIMITS_OF[kind])


def test_a_finding_on_flow_names_its_allowance() -> None:
    limits = Limits(stop_allowance_s=7.0, limit_ohm=5.0)
    found = finding(
        Kind.BOND_LOST_IN_FLOW, "spot", (0, ns(9)), limits, FLOWED, transfer=None
    ).limits
    assert found["stop_allowance_s"] == 7.0
    assert found["limit_ohm"] == 5.0


def test_five_kinds_make_a_transfer_not_compliant() -> None:
    assert {str(kind) for kind in NON_COMPLIANT} == {
        "no_bond_transfer",
        "unbonded_start",
        "bond_lost_in_flow",
        "unverifiable_flow",
        "bypassed_flow",
    }
