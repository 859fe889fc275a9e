"""Situations under several limits put together, each for its own stretch."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from analytics.core.bond import Bond
from analytics.core.runs import Contact
from analytics.core.situation import Situation, situation
from analytics.core.splicing import spliced
from bondtrail.site import Limits, Role
from tests.analytics.core.build import held, ns, pairs, station

SIGNALS = {
    Role.RESISTANCE: held((100, 8.0)),
    Role.FLOW: held((40, 0.0), (60, 800.0)),
    Role.PERMISSIVE: held((50, 0.0), (50, 1.0)),
}


def seen(*roles: Role, **limits: float) -> Situation:
    where = station(*(roles or SIGNALS)).model_copy(
        update={"limits": Limits.model_validate(limits)}
    )
    return situation(where, SIGNALS, (0, ns(100)))


def test_a_part_alone_is_itself() -> None:
    now = seen()
    assert spliced([(0, ns(100), now)]) is now


def test_each_part_is_read_by_its_own_limits() -> None:
    now = spliced([(0, ns(60), seen(limit_ohm=10)), (ns(60), ns(100), seen(limit_ohm=5))])
    assert now.bond.state.tolist() == [Bond.LOW, Bond.HIGH]
    assert (now.bond.edges / ns(1)).tolist() == [0, 60, 100]
    assert pairs(now.verified) == [(1, 60)]
    assert pairs(now.where(now.is_verified)) == [(1, 60)]
    assert pairs(now.where(now.flowing)) == [(40, 100)]
    assert now.bond_known.all()


def test_a_bond_that_stays_verified_is_one_stretch() -> None:
    now = spliced([(0, ns(60), seen(limit_ohm=10)), (ns(60), ns(100), seen(limit_ohm=9))])
    assert pairs(now.verified) == [(1, 100)]
    assert now.bond.state.tolist() == [Bond.LOW]


def test_a_point_that_one_part_lacks_is_unknown_there() -> None:
    without = seen(Role.RESISTANCE, Role.FLOW)
    now = spliced([(0, ns(60), without), (ns(60), ns(100), seen())])
    assert now.permissive is not None
    assert now.permissive.state.tolist() == [Contact.UNKNOWN, Contact.ON]
    assert spliced([(0, ns(60), without), (ns(60), ns(100), without)]).permissive is None


@pytest.mark.parametrize("cuts", [[30], [40], [20, 50, 51, 99]])
def test_the_same_limits_cut_anywhere_say_the_same(cuts: list[int]) -> None:
    whole, edges = seen(), [0, *map(ns, cuts), ns(100)]
    now = spliced([(a, b, seen()) for a, b in pairwise(edges)])
    for line in ("bond", "flow", "bypass", "permissive"):
        assert np.array_equal(getattr(now, line).edges, getattr(whole, line).edges)
        assert np.array_equal(getattr(now, line).state, getattr(whole, line).state)
    assert pairs(now.verified) == pairs(whole.verified)
    for mask in ("is_verified", "bond_known", "flowing", "bypassed", "faulty"):
        assert pairs(now.where(getattr(now, mask))) == pairs(whole.where(getattr(whole, mask)))
