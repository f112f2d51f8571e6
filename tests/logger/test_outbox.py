"""What goes out next: live in time, backlog oldest first, again only what was not stored, and never without bound."""

import random

import pytest

from logger.outbox import AGAIN_S, ANSWER_S, WINDOW, Outbox, Wanted

BOOT, OLD = "000002-b", "000001-a"


def outbox(old_rows: int = 0, rows_max: int = 10) -> Outbox:
    made = Outbox(BOOT, rows_max)
    if old_rows:
        made.known(OLD, 1)
    made.known(BOOT, 1)
    return made


def send_all(box: Outbox, last: dict[str, int], now_s: float) -> list[Wanted]:
    sent = []
    while wanted := box.backlog(last, now_s, set()):
        box.sent(wanted, now_s)
        sent.append(wanted)
    return sent


def test_backlog_goes_oldest_boot_and_row_first():
    box = outbox(old_rows=25)
    box.link_up(8)
    assert send_all(box, {OLD: 25, BOOT: 7}, 0.0) == [
        Wanted(OLD, 1, 10),
        Wanted(OLD, 11, 20),
        Wanted(OLD, 21, 25),
        Wanted(BOOT, 1, 7),
    ]


def test_live_rows_go_before_days_of_backlog():
    box = outbox()
    box.link_up(100_001)
    assert box.live(100_000, 0.0) is None
    assert box.live(100_003, 0.0) == Wanted(BOOT, 100_001, 100_003)


def test_only_the_first_range_not_stored_is_sent_again_after_ten_minutes():
    box = outbox()
    box.link_up(31)
    send_all(box, {BOOT: 30}, 0.0)
    assert box.backlog({BOOT: 30}, AGAIN_S - 1, set()) is None
    again = box.backlog({BOOT: 30}, AGAIN_S, set())
    assert again == Wanted(BOOT, 1, 10)
    box.sent(again, AGAIN_S)
    assert box.backlog({BOOT: 30}, AGAIN_S, set()) is None
    box.stored(BOOT, 20, AGAIN_S + 1)
    assert box.backlog({BOOT: 30}, AGAIN_S + 1, set()) == Wanted(BOOT, 21, 30), "now the hole is there"


def test_a_server_that_does_not_answer_costs_a_bounded_number_of_batches():
    box = outbox()
    box.link_up(100_001)
    assert len(send_all(box, {BOOT: 100_000}, 0.0)) == WINDOW
    assert box.live(100_005, 0.0) is None


def test_a_server_that_answers_gets_live_rows_whatever_waits():
    box = outbox()
    box.link_up(100_001)
    send_all(box, {BOOT: 100_000}, 0.0)
    box.stored(BOOT, 10, 5.0)
    assert send_all(box, {BOOT: 100_000}, 5.0) == [Wanted(BOOT, 161, 170)]
    assert box.live(100_005, 5.0 + ANSWER_S - 1) is not None
    assert box.live(100_005, 5.0 + ANSWER_S) is None


def test_a_store_that_lost_rows_gets_them_again():
    box = outbox()
    box.link_up(1)
    box.sent(Wanted(BOOT, 1, 10), 0.0)
    box.stored(BOOT, 10, 1.0)
    assert box.stored_seq(BOOT) == 10
    box.stored(BOOT, 4, 2.0)
    assert box.stored_seq(BOOT) == 4
    assert box.live(10, 3.0) == Wanted(BOOT, 5, 10)


def test_a_gap_below_what_was_sent_is_backlog():
    box = outbox()
    box.link_up(1)
    box.sent(Wanted(BOOT, 6, 8), 1.0)
    assert box.live(8, 2.0) is None
    assert box.backlog({BOOT: 8}, 2.0, set()) == Wanted(BOOT, 1, 5)


def test_a_boot_whose_rows_wait_for_their_time_holds_up_no_other():
    box = outbox(old_rows=5)
    box.link_up(4)
    assert box.backlog({OLD: 5, BOOT: 3}, 0.0, {OLD}) == Wanted(BOOT, 1, 3)


def test_answers_for_boots_that_are_gone_are_ignored():
    box = outbox()
    box.stored("000009-z", 5, 0.0)
    assert box.stored_seq("000009-z") == 0


@pytest.mark.parametrize("seed", range(30))
def test_whatever_is_lost_everything_arrives(seed):
    """Rows are made, batches vanish, links break, answers come late: in the end the server has all, without a hole."""
    rng = random.Random(seed)
    box, arrived, accepted, now_s = outbox(rows_max=7), set(), 0, 0.0
    box.link_up(1)
    for turn in range(4000):
        now_s += rng.expovariate(1 / 5)
        bad = turn < 2000
        if bad and rng.random() < 0.5:
            accepted += rng.randint(0, 3)
        for wanted in (box.live(accepted, now_s), box.backlog({BOOT: accepted}, now_s, set())):
            if wanted is None:
                continue
            box.sent(wanted, now_s)
            fate = rng.random() if bad else 1.0
            if fate > 0.3:
                arrived.update(range(wanted.first, wanted.last + 1))
        if bad and rng.random() < 0.02:
            box.link_up(accepted + 1)
        if rng.random() < 0.3:
            stored = 0
            while stored + 1 in arrived:
                stored += 1
            box.stored(BOOT, stored, now_s)
    assert arrived == set(range(1, accepted + 1))
    assert box.stored_seq(BOOT) == accepted
