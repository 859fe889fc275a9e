from __future__ import annotations

import pytest

from bondtrail.pauses import Pauses


@pytest.mark.parametrize(
    ("chance", "expected"),
    [
        (1.0, [1.0, 2.0, 4.0, 5.0, 5.0]),
        (0.0, [0.5, 1.0, 2.0, 2.5, 2.5]),
        (0.5, [0.75, 1.5, 3.0, 3.75, 3.75]),
    ],
)
def test_pauses_double_up_to_the_longest_less_by_chance(
    chance: float, expected: list[float]
) -> None:
    pauses = Pauses(1.0, 5.0, chance=lambda: chance)
    assert [pauses.next_s() for _ in expected] == expected
    pauses.reset()
    assert pauses.next_s() == expected[0]
