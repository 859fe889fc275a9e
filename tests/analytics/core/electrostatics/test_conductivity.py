"""Classes of conductivity, as the editions draw them."""

from __future__ import annotations

import math

import pytest

from analytics.core.electrostatics.conductivity import EDITIONS, Edition, conductivity_class

CASES = [  # conductivity [pS/m], permittivity, edition, class
    # NFPA 77, text of 2007 to 2014: below 50 low, above 10 000 high.
    (49.9, None, "nfpa_77", "low"),
    (50, None, "nfpa_77", "medium"),
    (10_000, None, "nfpa_77", "medium"),
    (10_001, None, "nfpa_77", "high"),
    (49.9, 80, "nfpa_77", "low"),
    (50, 80, "nfpa_77", "medium"),  # that edition does not ask for permittivity
    # IEC TS 60079-32-1, from memory: below 25 times the permittivity low, 100 where it is not
    # known; 50 for hydrocarbons, which is 25 times 2.
    (49.9, 2, "iec_60079_32_1", "low"),
    (50, 2, "iec_60079_32_1", "medium"),
    (99.9, None, "iec_60079_32_1", "low"),
    (100, None, "iec_60079_32_1", "medium"),
    (499, 20, "iec_60079_32_1", "low"),
    (500, 20, "iec_60079_32_1", "medium"),
    (10_000, 20, "iec_60079_32_1", "medium"),
    (10_001, 20, "iec_60079_32_1", "high"),
    # CLC/TR 50404:2003, from memory: 50 and 1000.
    (49.9, None, "clc_tr_50404", "low"),
    (50, None, "clc_tr_50404", "medium"),
    (1000, None, "clc_tr_50404", "medium"),
    (1001, None, "clc_tr_50404", "high"),
]


@pytest.mark.parametrize(("conductivity", "permittivity", "edition", "expected"), CASES)
def test_class(
    conductivity: float, permittivity: float | None, edition: str, expected: str
) -> None:
    assert conductivity_class(conductivity, permittivity, edition) == expected


def test_nfpa_77_is_taken_unless_another_is_named() -> None:
    assert [conductivity_class(kappa) for kappa in (49, 60, 2e4)] == ["low", "medium", "high"]


@pytest.mark.parametrize("edition", EDITIONS)
def test_class_never_falls_as_conductivity_rises(edition: str) -> None:
    order = ["low", "medium", "high"]
    ranks = [order.index(conductivity_class(10.0**n, 4, edition)) for n in range(-6, 12)]
    assert ranks == sorted(ranks)
    assert {ranks[0], ranks[-1]} == {0, 2}


@pytest.mark.parametrize("edition", EDITIONS.values(), ids=list(EDITIONS))
def test_each_edition_is_named(edition: Edition) -> None:
    assert edition.source
    assert 0 < edition.low_below_pS_m < edition.high_above_pS_m


@pytest.mark.parametrize(
    ("conductivity", "permittivity", "edition", "wrong"),
    [
        (0, None, "nfpa_77", "conductivity_pS_m must be above 0 pS/m, got 0"),
        (math.nan, None, "nfpa_77", "conductivity_pS_m must be a number, got nan"),
        (math.inf, None, "nfpa_77", "conductivity_pS_m must be finite pS/m, got inf"),
        (1, 0.5, "iec_60079_32_1", "relative_permittivity must be at least 1, got 0.5"),
        (1, math.nan, "iec_60079_32_1", "relative_permittivity must be a number, got nan"),
        (1, None, "nfpa", "edition must be one of nfpa_77, .*, got 'nfpa'"),
    ],
)
def test_nonsense_is_refused(
    conductivity: float, permittivity: float | None, edition: str, wrong: str
) -> None:
    with pytest.raises(ValueError, match=wrong):
        conductivity_class(conductivity, permittivity, edition)
