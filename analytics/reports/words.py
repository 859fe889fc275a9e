"""Cells and figures as people read them on the page."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import Any

from analytics.core.wording import duration, resistance
from analytics.reports.tables import Sort
from bondtrail.times import offset_if_repeated

NOTHING = "\N{EN DASH}"
"""In the place of what is not known."""
NOT_RECORDED = "not recorded"
"""In the place of what a station's points cannot tell, so that it does not look good."""


def plural(count: int, noun: str) -> str:
    """Return a count with its noun, such as ``1 trip`` or ``3 trips``."""
    return f"{count:,} {noun}{'' if count == 1 else 's'}"


def plain(code: str) -> str:
    """Return a code of the results in plain words: ``no_bond_transfer``, no bond transfer."""
    return code.replace("_", " ")


def percent(value: float | None) -> str:
    """Return a share as a percentage with one decimal; only a whole is 100 %, only none 0 %."""
    if value is None:
        return NOTHING
    shown = 100 * value
    if 99.95 <= shown < 100:
        return "99.9 %"
    if 0 < shown < 0.05:
        return "< 0.1 %"
    return f"{shown:.0f} %" if shown in (0, 100) else f"{shown:.1f} %"


def percents(low: float | None, high: float | None) -> str:
    """Return an interval of shares, such as ``95.1 to 98.4 %``."""
    return f"{percent(low).removesuffix(' %')} to {percent(high)}"


def number(value: float) -> str:
    """Return a number with about three figures, and no more than it needs."""
    if value == 0 or abs(value) >= 999.5:
        return f"{value:,.0f}"
    text = f"{value:.3g}"
    return text if "e" in text else f"{float(text):g}"


def site_time(moment: datetime) -> str:
    """Return a moment on the site's clock; its offset too where clocks repeat an hour."""
    return f"{moment:%Y-%m-%d %H:%M:%S}{offset_if_repeated(moment)}"


def span(seconds: float) -> str:
    """Return a length of time in words, such as ``25 min``; none at all is ``0 s``."""
    return _REST.sub("", duration(seconds)) if seconds else "0 s"


_REST = re.compile(r" 0 (h|min|s)$")


def _ohm(value: float) -> str:
    return "open" if math.isinf(value) else resistance(value)


SHOWN: Mapping[Sort, Callable[[Any], str]] = {
    Sort.TEXT: str,
    Sort.COUNT: "{:,.0f}".format,
    Sort.NUMBER: number,
    Sort.SHARE: percent,
    Sort.SECONDS: span,
    Sort.OHM: _ohm,
    Sort.TIME: site_time,
    Sort.DAY: str,
}
"""How a known cell of each sort reads."""


def interval(sort: Sort, low: Any, high: Any) -> str:
    """Return both ends of an interval."""
    if sort is Sort.SHARE:
        return percents(low, high)
    return f"{SHOWN[sort](low)} to {SHOWN[sort](high)}"


def listed(names: Sequence[str], most: int = 12) -> str:
    """Return names in a row; of very many only the first, and how many more there are."""
    if len(names) <= most:
        return ", ".join(names)
    return f"{', '.join(names[: most - 1])} and {len(names) - most + 1:,} more"
