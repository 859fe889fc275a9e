"""What compliant transfers ran within the allowances of the site file, in plain words."""

from __future__ import annotations

from analytics.core.wording import duration
from store import Allowed


def in_words(allowed: Allowed, compliant: int) -> str:
    """Return how many of the compliant transfers ran without a verified bond for a while.

    Parameters
    ----------
    allowed : Allowed
        Of the compliant transfers.
    compliant : int
        How many of those there are.
    """
    if not compliant:
        return ""
    unknown = f"{allowed.no_data:,} with it unknown ({_length(allowed.no_data_s)} in all)"
    if allowed.unknown_throughout:
        unknown += f", {allowed.unknown_throughout:,} of them from first flow to last"
    return (
        f"Of the {compliant:,} compliant, {allowed.not_bonded:,} ran for a while with the bond not "
        f"verified, within the allowances ({_length(allowed.not_bonded_s)} in all), and {unknown}."
    )


def _length(seconds: float) -> str:
    return duration(seconds) if seconds else "0 s"
