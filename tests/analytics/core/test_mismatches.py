"""Permissive and bond in disagreement."""

from __future__ import annotations

import pytest

from analytics.core.bond import not_low, verified
from analytics.core.mismatches import permissive_withheld, permissive_without_bond
from tests.analytics.core.build import Pair, bond, contact, ns, pairs


@pytest.mark.parametrize(
    ("permissive", "state", "expected"),
    [
        pytest.param("on 9", "low 9", [], id="agree"),
        pytest.param("on 3 off 6", "open 9", [], id="exactly-as-long-as-allowed"),
        pytest.param("on 3.5 off 6", "open 9.5", [(0, 3.5)], id="longer-than-allowed"),
        pytest.param("on 20", "low 5 high 4 low 11", [(5, 9)], id="high-counts"),
        pytest.param("on 20", "low 5 ? 10 low 5", [], id="unknown-bond-does-not"),
        pytest.param("off 2 ? 10", "open 12", [], id="unknown-permissive-does-not"),
        pytest.param("on 4 off 1 on 4", "open 9", [(0, 4), (5, 9)], id="each-stretch-for-itself"),
        pytest.param("on 20", "open 2 low 1 open 2 low 15", [], id="short-ones-do-not-add-up"),
    ],
)
def test_permissive_without_bond(permissive: str, state: str, expected: list[Pair]) -> None:
    found = permissive_without_bond(contact(permissive), not_low(bond(state)), ns(3))
    assert pairs(found) == expected


@pytest.mark.parametrize(
    ("permissive", "state", "expected"),
    [
        pytest.param("off 9", "open 9", [], id="agree"),
        # verified from 1 s on: the hold counts for nobody
        pytest.param("off 4 on 5", "low 9", [], id="exactly-as-long-as-allowed"),
        pytest.param("off 4.5 on 5", "low 9.5", [(1, 4.5)], id="longer-than-allowed"),
        pytest.param("off 20", "low 9 ? 11", [(1, 9)], id="ends-with-the-known-bond"),
        pytest.param("? 20", "low 20", [], id="unknown-permissive-is-not-withheld"),
    ],
)
def test_permissive_withheld(permissive: str, state: str, expected: list[Pair]) -> None:
    found = permissive_withheld(contact(permissive), verified(bond(state), ns(1)), ns(3))
    assert pairs(found) == expected
