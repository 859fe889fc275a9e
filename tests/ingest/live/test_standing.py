from __future__ import annotations

import pytest

from ingest.live.standing import DEAD_S, HUNG_S, Standing
from ingest.live.status import State

S = 1_000_000_000
BEGIN = 1_772_323_200 * S  # 2026-03-01


@pytest.mark.parametrize(
    ("awaited", "state"),
    [(State.NO_STORE, State.NO_STORE), (None, State.LISTENING)],
    ids=["store", "nobody-knows"],
)
def test_a_loop_that_hangs_is_told_once_and_until_it_turns_again(
    awaited: State | None, state: State, caplog: pytest.LogCaptureFixture
) -> None:
    ticks = [100.0]
    standing = Standing(lambda: BEGIN, ticks=lambda: ticks[0])
    standing.tell(State.LISTENING)
    standing.look()  # before its loop began
    standing.turn(awaited)
    ticks[0] += HUNG_S
    standing.look()
    assert standing.status.detail == ""
    ticks[0] += 1.0
    standing.look()
    standing.look()
    assert standing.status.state is state
    assert standing.status.detail == "no answer for more than 45 s: it hangs, or is very slow"
    assert caplog.text.count("no answer") == 1
    standing.turn()
    standing.tell(State.LISTENING)
    standing.look()
    assert (standing.status.state, standing.status.detail) == (State.LISTENING, "")


def test_a_loop_that_hangs_for_long_is_to_be_begun_anew() -> None:
    ticks = [100.0]
    standing = Standing(lambda: BEGIN, ticks=lambda: ticks[0])
    ticks[0] += 1000.0
    assert standing.why_dead() is None
    standing.turn()
    ticks[0] += DEAD_S
    assert standing.why_dead() is None
    ticks[0] += 1.0
    assert standing.why_dead() == "it has not turned for 90 s"
    standing.rest()
    assert standing.why_dead() is None
