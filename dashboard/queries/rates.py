"""Many rates at once."""

from __future__ import annotations

from collections.abc import Sequence

from analytics.core.rates import Rate, poisson_rates


def rates(counts: Sequence[int], of: Sequence[float], per: float) -> list[Rate]:
    """Return each rate with its exact interval; None in it where there was no exposure."""
    if not counts:
        return []
    columns = [column.tolist() for column in poisson_rates(counts, of, per)]
    return [
        Rate(value, low, high, count, exposure) if exposure else Rate(None, None, None, count, 0.0)
        for value, low, high, count, exposure in zip(*columns, counts, of, strict=True)
    ]
