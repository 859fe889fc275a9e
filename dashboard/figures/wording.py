"""Figures as people read them: counts, seconds, ohms, and codes in plain words."""

from __future__ import annotations

import math


def words(code: str) -> str:
    """Return a code of the results in plain words: ``no_bond_transfer``, no bond transfer."""
    return code.replace("_", " ")


def ohms(value: float | None) -> str:
    """Return a resistance with three digits, such as ``2.35 ohm`` or ``1.2 Mohm``."""
    if value is None:
        return "-"
    if math.isinf(value):
        return "open"
    for factor, prefix in ((1e9, "G"), (1e6, "M"), (1e3, "k")):
        if value >= factor:
            return f"{value / factor:.3g} {prefix}ohm"
    return f"{value:.3g} ohm"


def duration(value: float | None) -> str:
    """Return seconds with the unit that suits them, such as ``4.2 s`` or ``1 h 05 min``."""
    if value is None:
        return "-"
    if value < 60:
        return f"{value:.3g} s" if value else "0 s"
    minutes, rest = divmod(round(value), 60)
    if minutes < 60:
        return f"{minutes} min {rest:02d} s"
    hours, minutes = divmod(minutes, 60)
    if hours < 48:
        return f"{hours} h {minutes:02d} min"
    return f"{hours // 24:,} d {hours % 24:02d} h"


def share(value: float | None) -> str:
    """Return a share as a percentage with one decimal; only a whole is 100 %."""
    if value is None:
        return "-"
    percent = 100 * value
    if 99.95 <= percent < 100:
        return "99.9 %"
    return f"{percent:.0f} %" if percent in (0, 100) else f"{percent:.1f} %"


def plural(count: int, noun: str) -> str:
    """Return a count with its noun, such as ``1 trip`` or ``3 trips``."""
    return f"{count:,} {noun}{'' if count == 1 else 's'}"


def significant(value: float | None, digits: int = 2) -> str:
    """Return a number with so many digits and no exponent, such as ``0.00024`` or ``12,000``."""
    if value is None:
        return "-"
    if not math.isfinite(value):
        return "no upper end" if value > 0 else "-"
    if not value:
        return "0"
    places = digits - 1 - math.floor(math.log10(abs(value)))
    rounded = round(value, places)
    if not places > 0:
        return f"{rounded:,.0f}"
    whole, _, part = f"{rounded:,.{places}f}".partition(".")
    part = part.rstrip("0")
    return f"{whole}.{part}" if part else whole
