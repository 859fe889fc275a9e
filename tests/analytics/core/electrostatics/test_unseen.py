"""What an estimate cannot see is said in full, and nothing is called safe."""

from __future__ import annotations

import re

import pytest

from analytics.core.electrostatics.unseen import UNSEEN

TEXT = " ".join(UNSEEN)


@pytest.mark.parametrize(
    "words",
    [
        "Brush discharges from the surface of the liquid",
        "lining",
        "inside the vessel",
        "People",
        "Splash filling",
        "Sprays, mists",
        "A good bond at the clamp does not earth what is adrift",
        "level float",
        "hose wires",
        "hybrid mixture: it may light at the ignition energy of the vapour",
    ],
)
def test_each_blind_spot_is_named(words: str) -> None:
    assert words in TEXT


def test_tank_fire_with_a_good_bond_is_kept_as_a_caution() -> None:
    # U.S. Chemical Safety Board, case study 2007-06-I-KS: trailer bonded and grounded, float not.
    (case,) = (sentence for sentence in UNSEEN if "2007-06-I-KS" in sentence)
    for fact in ("Valley Center, Kansas", "17 July 2007", "bonded and grounded", "float", "spark"):
        assert fact in case


@pytest.mark.parametrize("sentence", UNSEEN)
def test_each_is_one_sentence_that_promises_nothing(sentence: str) -> None:
    assert sentence.endswith(".")
    assert "\n" not in sentence
    assert "  " not in sentence
    assert not re.search(r"\bsafe(ly)?\b|no danger|harmless", sentence, re.IGNORECASE)
