import datetime as dt

import pytest

from bondtrail.roster import Shift, shared_days

SAT, SUN = 5, 6


def shift(begin: str, end: str, *days: int) -> Shift:
    from_clock = dt.time.fromisoformat
    return Shift("any", from_clock(begin), from_clock(end), frozenset(days or range(7)))


@pytest.mark.parametrize(
    ("a", "b", "days"),
    [
        pytest.param(
            shift("06:00", "14:00"), shift("14:00", "22:00"), [], id="one-after-the-other"
        ),
        pytest.param(shift("06:00", "14:00"), shift("22:00", "06:00"), [], id="night-before-day"),
        pytest.param(shift("06:00", "14:01", 2), shift("14:00", "22:00"), [2], id="by-a-minute"),
        pytest.param(shift("22:00", "06:01", 2), shift("06:00", "14:00"), [3], id="next-morning"),
        pytest.param(shift("22:00", "06:01", SUN), shift("06:00", "14:00"), [0], id="sunday-night"),
        pytest.param(
            shift("22:00", "06:00", SUN), shift("05:00", "06:00", SUN), [], id="own-morning"
        ),
        pytest.param(shift("00:00", "00:00", 2), shift("00:00", "00:00", 3), [], id="whole-days"),
        pytest.param(shift("00:00", "00:00", 2), shift("22:00", "06:00"), [2], id="whole-day"),
        pytest.param(shift("22:00", "00:00"), shift("00:00", "06:00"), [], id="ends-at-midnight"),
        pytest.param(
            shift("06:00", "14:00", SAT), shift("06:00", "14:00", SUN), [], id="other-days"
        ),
        pytest.param(shift("06:00", "14:00"), shift("06:00", "14:00"), [*range(7)], id="same"),
        pytest.param(
            shift("18:00", "06:00", 4), shift("20:00", "04:00", 4), [4, SAT], id="over-midnight"
        ),
    ],
)
def test_shared_days_are_those_with_a_minute_in_both(a: Shift, b: Shift, days: list[int]) -> None:
    assert shared_days(a, b) == days
    assert shared_days(b, a) == days


@pytest.mark.parametrize("day", range(7))
def test_a_day_of_24_hours_shares_nothing_with_its_neighbours(day: int) -> None:
    whole = shift("00:00", "00:00", day)
    every = [shift("00:00", "00:00", other) for other in range(7)]
    assert [shared_days(whole, other) for other in every if other.days != whole.days] == [[]] * 6
    assert shared_days(whole, whole) == [day]
