"""Messages that are lost, late, repeated or out of order.

Published: seq counts 0 to 255 and then from 0 again, over a node and its devices; lost order leads,
after a time for reordering, to a request for a birth. How long and how much waits, and that aliases
are in doubt until then, is ours.

Sections beside tests are those of the Sparkplug specification 3.0.0 (ISO/IEC 20237); their titles
are from memory.
"""

from __future__ import annotations

from itertools import pairwise

import pytest

from ingest.live.sparkplug.host import KEEP_NS
from ingest.live.sparkplug.known import MOST_HELD
from ingest.live.sparkplug.order import REORDER_NS
from ingest.live.sparkplug.reasons import Wrong
from tests.ingest.live.sparkplug.edge import DOUBLE, FLOW, OHM, T, Talk, born, metric, told

FLO = "rail-1.flow"
REBIRTH = ["spBv1.0/plant/NCMD/gate"]
WINDOW = REORDER_NS // 1_000_000
KEEP = KEEP_NS // 1_000_000


@pytest.fixture
def talk() -> Talk:
    made = Talk()
    made.births()
    return made


def test_numbers_go_round_after_255() -> None:
    # Section "Payload".
    talk = Talk()
    talk.nbirth(seq=254)
    talk.dbirth(born(FLOW, 0.0), seq=255)
    for n in range(600):
        heard = talk.ddata(told(FLOW, 1.0), seq=n % 256, at=n)
        assert (len(heard.rows), heard.faults, heard.asked) == (1, [], [])


def test_node_and_devices_share_one_counter(talk: Talk) -> None:
    # Section "Payload".
    talk.dbirth(metric("FT-2", 20, datatype=DOUBLE, double_value=0.0), seq=2, device="m2")
    talk.say("NDATA", metric("KEY-1", boolean_value=False), seq=3)
    heard = talk.ddata(metric(alias=20, double_value=1.0), seq=4, device="m2", at=9)
    assert heard.rows == [("rail-2.flow", 9, 1.0, 0)]


def test_birth_of_the_node_begins_anew(talk: Talk) -> None:
    # Section "Birth Message (NBIRTH)".
    talk.nbirth(seq=100, at=10)
    assert talk.dbirth(born(FLOW, 1.0), seq=101, at=11).rows == [(FLO, 11, 1.0, 0)]


def test_messages_out_of_order_wait_and_are_taken_in_order(talk: Talk) -> None:
    # Section "Host Application Message Ordering".
    assert talk.ddata(told(FLOW, 4.0), seq=4, at=4).rows == []
    assert talk.ddata(told(FLOW, 3.0), seq=3, at=3).rows == []
    heard = talk.ddata(told(FLOW, 2.0), seq=2, at=2)
    assert heard.rows == [(FLO, n, float(n), 0) for n in (2, 3, 4)]
    assert not heard.asked
    assert talk.tick(WINDOW * 2).asked == []


def test_birth_of_a_device_that_comes_late_comes_first(talk: Talk) -> None:
    # Section "Host Application Message Ordering".
    swapped = [("Bond/Ohm", FLOW[1], DOUBLE), ("FT-1", OHM[1], DOUBLE)]
    assert talk.ddata(metric(alias=OHM[1], double_value=5.0), seq=3, at=20).rows == []
    heard = talk.dbirth(*[born(what, 1.0) for what in swapped], seq=2, at=10)
    assert heard.rows[-1] == (FLO, 20, 5.0, 0)


def test_what_does_not_come_in_time_is_lost_and_a_birth_is_asked_for(talk: Talk) -> None:
    # Section "Host Application Message Ordering".
    talk.ddata(told(FLOW, 4.0), metric("Bond/Ohm", double_value=1.0), seq=4, at=0)
    assert talk.tick(WINDOW - 1).asked == []
    heard = talk.tick(WINDOW)
    assert heard.asked == REBIRTH
    # A name means what it says; an alias may stand for something else by now.
    assert heard.rows == [("rail-1.resistance", 0, 1000.0, 0)]


def test_window_ends_by_the_next_message_as_well(talk: Talk) -> None:
    # Section "Host Application Message Ordering".
    talk.ddata(told(FLOW, 4.0), seq=4, at=0)
    heard = talk.say("NDATA", metric("KEY-1", boolean_value=True), seq=5, at=WINDOW)
    assert heard.asked == REBIRTH
    assert heard.rows == [("rail-1.bypass", WINDOW, 1.0, 0)]


def test_data_after_a_loss_are_taken_when_a_birth_says_the_same_again(talk: Talk) -> None:
    # Section "Birth Message (DBIRTH)".
    talk.ddata(told(FLOW, 4.0), seq=4, at=4)
    talk.tick(4 + WINDOW)
    assert talk.ddata(told(FLOW, 5.0), seq=5, at=2500).rows == []
    talk.nbirth(at=3000)
    heard = talk.dbirth(born(OHM, 1.0), born(FLOW, 6.0), at=3001)
    assert sorted(row for row in heard.rows if row[0] == FLO) == [
        (FLO, 4, 4.0, 0),
        (FLO, 2500, 5.0, 0),
        (FLO, 3001, 6.0, 0),
    ]
    assert not heard.faults


def test_data_after_a_loss_are_refused_where_a_birth_says_otherwise(talk: Talk) -> None:
    # Section "Birth Message (DBIRTH)".
    talk.ddata(told(FLOW, 4.0), seq=4, at=4)
    talk.tick(4 + WINDOW)
    heard = talk.dbirth(born(("Bond/Ohm", FLOW[1], DOUBLE), 1.0), seq=5, at=3001)
    assert heard.rows == [("rail-1.resistance", 3001, 1000.0, 0)]
    assert heard.faults == [(Wrong.LOST, 1)]


def test_data_after_a_loss_are_refused_in_a_new_session(talk: Talk) -> None:
    talk.ddata(told(FLOW, 4.0), seq=4, at=4)
    talk.tick(4 + WINDOW)
    assert talk.nbirth(bd=1, at=3000).faults == [(Wrong.LOST, 1)]


def test_data_after_a_loss_are_refused_when_no_birth_comes(talk: Talk) -> None:
    talk.ddata(told(FLOW, 4.0), seq=4, at=4)
    assert not talk.tick(4 + WINDOW).faults
    heard = talk.tick(4 + KEEP)
    assert heard.faults == [(Wrong.LOST, 1)]
    assert "NCMD" in heard.taken.refused[0].reason


def test_loss_leaves_no_doubt_of_a_device_that_is_born_after_it(talk: Talk) -> None:
    talk.dbirth(born(OHM, 1.0), born(FLOW, 6.0), seq=4, at=4)
    talk.tick(4 + WINDOW)
    assert talk.ddata(told(FLOW, 5.0), seq=5, at=2500).rows == [(FLO, 2500, 5.0, 0)]


def test_second_loss_among_what_waits_is_a_doubt_again(talk: Talk) -> None:
    talk.dbirth(born(OHM, 1.0), born(FLOW, 6.0), seq=4, at=4)
    talk.ddata(told(FLOW, 5.0), seq=6, at=5)  # what was 5: another birth?
    assert [row[:2] for row in talk.tick(4 + WINDOW).rows] == [("rail-1.resistance", 4), (FLO, 4)]


def test_birth_of_a_device_that_comes_after_the_loss_says_nothing_of_aliases(talk: Talk) -> None:
    # Sent 2: the birth; 3 is lost, and may be another birth; 4: the data.
    swapped = [("Bond/Ohm", FLOW[1], DOUBLE), ("FT-1", OHM[1], DOUBLE)]
    talk.ddata(told(FLOW, 5.0), seq=4, at=20)
    assert talk.tick(20 + WINDOW).asked == REBIRTH
    heard = talk.dbirth(*[born(what, 1.0) for what in swapped], seq=2, at=10)
    assert heard.rows == [("rail-1.resistance", 10, 1000.0, 0), (FLO, 10, 1.0, 0)]
    assert talk.ddata(told(FLOW, 5.0), seq=5, at=2500).rows == []


def test_repeated_data_are_taken_again_and_nothing_waits(talk: Talk) -> None:
    for _ in range(2):
        assert talk.ddata(told(FLOW, 2.0), seq=2, at=2).rows == [(FLO, 2, 2.0, 0)]
    assert talk.ddata(told(FLOW, 3.0), seq=3, at=3).rows == [(FLO, 3, 3.0, 0)]


def test_repeated_birth_is_one_birth(talk: Talk) -> None:
    assert talk.ddata(told(FLOW, 2.0), seq=2, at=2).rows
    talk.births()
    assert talk.ddata(told(FLOW, 3.0), seq=3, at=3).rows == [(FLO, 3, 3.0, 0)]


def test_data_from_before_the_last_birth_are_refused(talk: Talk) -> None:
    talk.nbirth(at=10_000)
    talk.dbirth(born(FLOW, 1.0), at=10_001)
    heard = talk.ddata(told(FLOW, 2.0), metric("Bond/Ohm", double_value=1.0), seq=2, at=5)
    assert heard.rows == [("rail-1.resistance", 5, 1000.0, 0)]
    assert heard.faults == [(Wrong.OLD_ALIAS, 1)]


def test_older_births_are_refused(talk: Talk) -> None:
    talk.nbirth(at=10_000)
    assert talk.dbirth(born(FLOW, 1.0), at=5).faults == [(Wrong.OLD_BIRTH, 1)]
    assert talk.nbirth(at=5).faults == [(Wrong.OLD_BIRTH, 1)]


def test_times_of_reading_instead_of_sending_do_not_keep_data_out(talk: Talk) -> None:
    # A writer of recorded readings: births are of now, data bear the time of what they hold.
    times = (-600_000, -300_000, -20_000, -10)
    for seq, at in enumerate(times, start=2):
        heard = talk.ddata(told(FLOW, 1.0), seq=seq, at=5, sent=T + at)
        assert (heard.rows, heard.faults) == ([(FLO, at, 1.0, 0)], [])


def test_births_that_bear_the_same_time_each_time_are_births(talk: Talk) -> None:
    # A writer that made its births once and sends them again when asked.
    talk.ddata(told(FLOW, 1.0), seq=50, at=10)
    assert talk.tick(10 + WINDOW).asked == REBIRTH
    assert not talk.nbirth(at=3000, sent=T).faults
    heard = talk.dbirth(born(OHM, 1.0), born(FLOW, 100.0), at=3001, sent=T)
    assert (FLO, 10, 1.0, 0) in heard.rows
    assert talk.ddata(told(FLOW, 2.0), seq=2, at=3002).rows == [(FLO, 3002, 2.0, 0)]
    assert not talk.nbirth(at=4000, sent=T, bd=1).faults  # another session
    assert talk.dbirth(born(FLOW, 3.0), at=4001, sent=T).rows == [(FLO, 0, 3.0, 0)]


def test_birth_from_the_future_does_not_keep_later_ones_out() -> None:
    talk = Talk()
    talk.nbirth(at=0, sent=1_772_400_000_000 + 3_600_000)
    heard = talk.nbirth(at=5000)
    assert not heard.faults


def test_what_comes_before_the_birth_of_its_node_waits_for_it(talk: Talk) -> None:
    # Section "Host Application Message Ordering".
    # Reordered on the way: the device's birth (seq 1) overtook that of its node (seq 0).
    assert talk.dbirth(born(FLOW, 6.0), seq=101, at=5001).rows == []
    heard = talk.nbirth(seq=100, at=5000, bd=1)
    assert heard.rows == [(FLO, 5001, 6.0, 0)]
    assert not heard.faults


def test_one_number_twice(talk: Talk) -> None:
    # Section "Payload".
    talk.ddata(told(FLOW, 4.0), seq=4)
    assert talk.ddata(told(FLOW, 4.0), seq=4).faults == []
    assert talk.ddata(told(FLOW, 5.0), seq=4).faults == [(Wrong.SAME_SEQ, 1)]


def test_number_beyond_255(talk: Talk) -> None:
    # Section "Payload".
    assert talk.ddata(told(FLOW, 4.0), seq=256).faults == [(Wrong.SEQ, 1)]
    assert talk.nbirth(seq=2**64 - 1, at=9).faults == [(Wrong.SEQ, 1)]


def test_writer_that_leaves_out_zeros_leaves_out_number_nought() -> None:
    # Section "Payload".
    talk = Talk()
    talk.nbirth(seq=255)
    talk.dbirth(born(FLOW, 1.0), seq=None)
    assert talk.ddata(told(FLOW, 4.0), seq=1, at=4).rows == [(FLO, 4, 4.0, 0)]


def test_messages_without_numbers_are_taken_as_they_come(talk: Talk) -> None:
    heard = talk.ddata(told(FLOW, 4.0), seq=None, at=4)
    assert (heard.rows, heard.faults) == ([(FLO, 4, 4.0, 0)], [])
    assert talk.ddata(told(FLOW, 5.0), seq=2, at=5).rows == [(FLO, 5, 5.0, 0)]


def test_so_many_messages_wait_and_no_more(talk: Talk) -> None:
    for n in range(MOST_HELD):
        assert not talk.ddata(told(FLOW, 1.0), seq=3 + n, at=n).asked
    assert talk.ddata(told(FLOW, 1.0), seq=3 + MOST_HELD, at=200).asked == REBIRTH


# The end, and a clock that is set back (ours)


def test_what_waits_at_the_end_is_taken_by_name_and_refused_by_alias(talk: Talk) -> None:
    talk.ddata(told(FLOW, 4.0), metric("Bond/Ohm", double_value=2.0), seq=4, at=4)
    talk.tick(4 + WINDOW)  # its alias waits for a birth
    talk.ddata(told(FLOW, 5.0), metric("Bond/Ohm", double_value=3.0), seq=9, at=2500)
    heard = talk.end(3000)
    assert heard.rows == [("rail-1.resistance", 2500, 3000.0, 0)]
    assert [fault for fault, _ in heard.faults] == [Wrong.LOST, Wrong.LOST]
    assert heard.asked == []
    assert talk.host._known.waiting == (0, 0)


def test_nothing_that_waits_is_nothing_to_say_at_the_end(talk: Talk) -> None:
    heard = talk.end(5)
    assert (heard.rows, heard.faults) == ([], [])


HOUR = 3_600_000


def test_clock_that_is_set_back_does_not_let_messages_wait_for_it(talk: Talk) -> None:
    talk.ddata(metric("FT-1", double_value=4.0), seq=4, at=0)
    assert talk.tick(-HOUR).rows == []
    assert talk.tick(WINDOW - 1 - HOUR).rows == []
    assert talk.tick(WINDOW - HOUR).rows == [(FLO, 0, 4.0, 0)]


def test_clock_that_is_set_back_does_not_let_aliases_wait_for_it(talk: Talk) -> None:
    talk.ddata(told(FLOW, 4.0), seq=4, at=0)
    talk.tick(WINDOW)
    assert talk.tick(-HOUR).faults == []
    assert talk.tick(KEEP - 1 - HOUR).faults == []
    assert talk.tick(KEEP - HOUR).faults == [(Wrong.LOST, 1)]


# Asking. Once a minute at most, then less often (ours).


def test_birth_is_asked_for_less_and_less_often() -> None:
    talk = Talk()
    asked = [
        second
        for second in range(0, 10_000, 10)
        if talk.ddata(told(FLOW, 1.0), seq=1, at=second * 1000).asked
    ]
    gaps = [later - before for before, later in pairwise(asked)]
    assert gaps == [60, 120, 240, 480, 960, 1920, 3600]


def test_after_a_birth_the_next_is_asked_for_as_soon_as_the_first(talk: Talk) -> None:
    asked = []
    for round_ in range(3):
        at = round_ * 100_000
        talk.ddata(told(FLOW, 1.0), seq=50, at=at + 10)
        asked.append(talk.tick(at + 10 + WINDOW).asked)
        talk.nbirth(at=at + 5000)
        talk.dbirth(born(OHM, 1.0), born(FLOW, 1.0), at=at + 5001)
    assert asked == [REBIRTH] * 3


def test_births_that_do_not_help_are_not_asked_for_every_minute(talk: Talk) -> None:
    asked = []
    for minute in range(12):
        at = (minute + 1) * 60_000
        if talk.ddata(metric(alias=99, double_value=1.0), seq=2, at=at).asked:
            asked.append(minute)
        talk.nbirth(at=at + 1)
        talk.dbirth(born(FLOW, 1.0), at=at + 2)
    assert asked == [0, 1, 3, 7]


def test_node_that_does_not_answer_is_asked_again_though_it_is_silent(talk: Talk) -> None:
    talk.ddata(told(FLOW, 4.0), seq=4)
    assert talk.tick(WINDOW).asked == REBIRTH
    assert talk.tick(WINDOW + 59_999).asked == []
    assert talk.tick(WINDOW + 60_000).asked == REBIRTH
