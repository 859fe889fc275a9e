"""How long somebody waits after failing to sign in: nothing at first, then ever longer."""

from __future__ import annotations

import ipaddress
import unicodedata
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass
from threading import Lock

FREE = 5
"""So many failures cost no wait: people mistype."""
LONGEST_S = 300.0
"""No wait is longer: it is also how long others can keep somebody out by failing in their name."""
FORGOTTEN_S = 3600.0
"""After so long without another failure, the earlier ones are forgotten."""
MOST_KEPT = 10_000
"""Of names and addresses; beyond, those that failed longest ago are forgotten."""


@dataclass(frozen=True, slots=True)
class _Failures:
    count: int
    last_s: float


class Throttle:
    """Counts failures by name and by address; safe to ask from several threads.

    Times are seconds of a clock that never goes back.
    """

    def __init__(self) -> None:
        self._kept: OrderedDict[str, _Failures] = OrderedDict()
        self._lock = Lock()

    def __len__(self) -> int:
        return len(self._kept)

    def wait_s(self, keys: Sequence[str], now_s: float) -> float:
        """Return how long the next attempt must wait: the longest wait of any of the keys. [s]"""
        with self._lock:
            return max((self._left(key, now_s) for key in keys), default=0.0)

    def failed(self, keys: Sequence[str], now_s: float) -> None:
        """Count a failure of each key."""
        with self._lock:
            for key in keys:
                self._kept[key] = _Failures(self._count(key, now_s) + 1, now_s)
                self._kept.move_to_end(key)
            while len(self._kept) > MOST_KEPT:
                self._kept.popitem(last=False)

    def succeeded(self, keys: Sequence[str]) -> None:
        """Forget the failures of each key."""
        with self._lock:
            for key in keys:
                self._kept.pop(key, None)

    def _count(self, key: str, now_s: float) -> int:
        held = self._kept.get(key)
        return 0 if held is None or now_s - held.last_s > FORGOTTEN_S else held.count

    def _left(self, key: str, now_s: float) -> float:
        over = self._count(key, now_s) - FREE
        if over < 0:
            return 0.0
        wait_s = min(LONGEST_S, 2.0 ** min(over, 30))
        return max(0.0, self._kept[key].last_s + wait_s - now_s)


def address_key(address: str) -> str:
    """Return what an address counts under: of IPv6 the network, of which one holder has many."""
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return f"from {address}"
    if isinstance(found, ipaddress.IPv6Address):
        if found.ipv4_mapped is not None:
            return f"from {found.ipv4_mapped}"
        return f"from {ipaddress.ip_network((found, 64), strict=False)}"
    return f"from {found}"


def name_key(name: str) -> str:
    """Return what a name counts under: the same for all ways of writing that the store takes."""
    return f"as {unicodedata.normalize('NFKC', name.strip()).casefold()}"
