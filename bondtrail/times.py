"""Moments: integer nanoseconds since 1970, UTC, and their written forms.

Inside Bondtrail a moment is an ``int`` of nanoseconds; text exists only at the edges.
"""

from __future__ import annotations

import datetime as dt
import re
from zoneinfo import ZoneInfo

NS_PER_S = 1_000_000_000
NS_PER_MS = 1_000_000

_EPOCH = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
_FARTHEST = 2**63 - 1
_NUMBER = re.compile(r"[+-]?\d{1,25}(\.\d*)?\Z", re.ASCII)
_ISO = re.compile(
    r"(?P<day>\d{4}-\d\d-\d\d|\d{8}(?=[Tt ]))"
    r"(?:[Tt ](?P<clock>\d\d(?::?\d\d(?::?\d\d(?:[.,](?P<fraction>\d{0,30}))?)?)?)"
    r"\s?(?P<offset>[Zz]|[+-]\d\d(?::?[0-5]\d)?)?)?\Z",
    re.ASCII,
)


class TimeError(ValueError):
    """A written time that cannot be placed on the UTC axis."""


def seconds(span_ns: int) -> float:
    """Return a span in seconds. ``span_ns`` is in nanoseconds."""
    return span_ns / NS_PER_S


def nanoseconds(span_s: float) -> int:
    """Return a span in whole nanoseconds. ``span_s`` is in seconds."""
    return round(span_s * NS_PER_S)


def epoch_to_ns(number: int) -> int:
    """Return nanoseconds for an integer epoch in s, ms, us or ns; its magnitude tells which.

    The bands meet at 1e11, 1e14 and 1e17, so a finer unit is read as such from March 1973 on.

    Raises
    ------
    TimeError
        If the moment is beyond 64 bits.
    """
    size = abs(number)
    if size < 10**11:
        return _within_reach(number * NS_PER_S, str(number))
    if size < 10**14:
        return _within_reach(number * NS_PER_MS, str(number))
    if size < 10**17:
        return _within_reach(number * 1000, str(number))
    return _within_reach(number, str(number) if size < 10**25 else "of very many digits")


def parse_time(text: str, zone: ZoneInfo | None = None) -> int:
    """Return the moment that ``text`` names, in ns.

    Parameters
    ----------
    text : str
        ISO 8601 with an offset or ``Z``, or an integer epoch in s, ms, us or ns.
    zone : ZoneInfo, optional
        Where a time without an offset was written. Without it such a time is an error. A time
        that the zone skips or repeats when its clocks change is an error too: nobody can tell
        which moment was meant.

    Raises
    ------
    TimeError
        If the text is no time, or does not say its offset.
    """
    text = text.strip()
    if _NUMBER.match(text):
        if "." in text:
            raise TimeError(f"time {text!r}: an epoch must be an integer in s, ms, us or ns")
        return epoch_to_ns(int(text))
    found = _ISO.match(text)
    if found is None:
        raise _unreadable(text)
    try:
        moment = _whole_seconds(found)
    except ValueError as exc:
        raise _unreadable(text) from exc
    if moment.tzinfo is None:
        if zone is None:
            raise TimeError(f"time {text!r} has no offset: add one, or name the zone it is in")
        moment = _localised(moment, zone, text)
    whole = moment - _EPOCH
    # ``datetime`` stops at microseconds.
    fraction_ns = int((found["fraction"] or "")[:9].ljust(9, "0"))
    return _within_reach((whole.days * 86400 + whole.seconds) * NS_PER_S + fraction_ns, text)


def _whole_seconds(found: re.Match[str]) -> dt.datetime:
    clock = (found["clock"] or "00").partition(".")[0].partition(",")[0]
    offset = (found["offset"] or "").upper()
    return dt.datetime.fromisoformat(f"{found['day']}T{clock}{offset}")


def _localised(moment: dt.datetime, zone: ZoneInfo, text: str) -> dt.datetime:
    early, late = moment.replace(tzinfo=zone, fold=0), moment.replace(tzinfo=zone, fold=1)
    if early.utcoffset() != late.utcoffset():
        raise TimeError(
            f"time {text!r} does not say which moment: the clocks of {zone.key} change there; "
            "write the offset"
        )
    return early


def _within_reach(moment_ns: int, text: str) -> int:
    if abs(moment_ns) > _FARTHEST:
        raise TimeError(f"time {text}: outside the years 1678 to 2261, which can be kept")
    return moment_ns


def _unreadable(text: str) -> TimeError:
    shown = text if len(text) <= 40 else f"{text[:37]}..."
    return TimeError(
        f"time {shown!r}: expected ISO 8601 with an offset, such as 2026-03-01T06:15:30Z"
    )


def format_time(moment_ns: int) -> str:
    """Return ISO 8601 in UTC with milliseconds, cut, such as ``2026-03-01T06:15:30.000Z``."""
    whole, millis = divmod(moment_ns // NS_PER_MS, 1000)
    moment = _EPOCH + dt.timedelta(seconds=whole)
    return f"{moment.isoformat()[:19]}.{millis:03d}Z"  # as strftime, in half the time


def stamp(moment_ns: int) -> str:
    """Return the form used inside ids, such as ``20260301T061530.000Z``."""
    return format_time(moment_ns).replace("-", "").replace(":", "")


def local(moment_ns: int, zone: ZoneInfo) -> dt.datetime:
    """Return the moment as a datetime on the site's clock, to the microsecond."""
    return (_EPOCH + dt.timedelta(microseconds=moment_ns // 1000)).astimezone(zone)


def offset_if_repeated(here: dt.datetime) -> str:
    """Return the offset of a local time in an hour that clocks repeat, such as +0100; else none."""
    twin = here.replace(fold=1 - here.fold)
    return "" if twin.utcoffset() == here.utcoffset() else f"{here:%z}"


def local_day(moment_ns: int, zone: ZoneInfo) -> dt.date:
    """Return the site's calendar day that holds the moment."""
    return local(moment_ns, zone).date()


def day_start(day: dt.date, zone: ZoneInfo) -> int:
    """Return the moment in ns at which a calendar day of the site begins."""
    midnight = dt.datetime(day.year, day.month, day.day, tzinfo=zone)
    return round(midnight.astimezone(dt.UTC).timestamp()) * NS_PER_S


def days_from(first: dt.date, last: dt.date) -> list[dt.date]:
    """Return the calendar days ``first`` to ``last``, both included."""
    return [first + dt.timedelta(days=n) for n in range((last - first).days + 1)]


def day_edges(first: dt.date, last: dt.date, zone: ZoneInfo) -> list[int]:
    """Return the starts of the days ``first`` to ``last`` and the end of ``last``, in ns.

    A day has 23 or 25 hours when clocks change.
    """
    return [day_start(day, zone) for day in days_from(first, last + dt.timedelta(days=1))]
