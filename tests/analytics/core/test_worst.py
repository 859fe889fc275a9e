"""A transfer that is not compliant counts once, by the worst behind it."""

from __future__ import annotations

import pytest

from analytics.core.worst import Worst, worst_of
from bondtrail.results import Kind


@pytest.mark.parametrize(
    ("kinds", "expected"),
    [
        ([Kind.NO_BOND_TRANSFER], Worst.BAD_BOND),
        ([Kind.UNVERIFIABLE_FLOW, Kind.UNBONDED_START], Worst.BAD_BOND),
        ([Kind.BYPASSED_FLOW, Kind.BOND_LOST_IN_FLOW], Worst.BAD_BOND),
        ([Kind.UNVERIFIABLE_FLOW, Kind.BYPASSED_FLOW], Worst.BYPASSED),
        ([Kind.UNVERIFIABLE_FLOW], Worst.UNVERIFIABLE),
        ([], Worst.UNVERIFIABLE),
    ],
)
def test_the_worst_of_its_findings(kinds: list[Kind], expected: Worst) -> None:
    assert worst_of(kinds) is expected
