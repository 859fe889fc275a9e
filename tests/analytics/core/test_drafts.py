"""How long something lasted, in words that promise no more than was seen."""

from __future__ import annotations

import pytest

from analytics.core.drafts import at_least


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (0.0, "0 s"),
        (0.3, "0.3 s"),
        (0.9999, "0.999 s"),
        (11.5, "11.5 s"),
        (11.59, "11.5 s"),
        (99.96, "99.9 s"),
        (119.99, "119 s"),
        (120.0, "2 min 0 s"),
        (889.5, "14 min 49 s"),
        (3599.9, "59 min 59 s"),
        (7259.9, "2 h 0 min"),
        (48 * 3600 - 0.1, "47 h 59 min"),
        (49.9 * 3600, "2 d 1 h"),
    ],
)
def test_at_least_is_never_more_than_it_was(seconds: float, said: str) -> None:
    assert at_least(seconds) == f"at least {said}"
