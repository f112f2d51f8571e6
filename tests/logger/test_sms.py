"""Text messages through a simulated modem: slow, refusing, mute, broken lines; limits; one question answered."""

import pytest

from logger.alerts import Told
from logger.gsm_text import (
    GSM_CHARACTERS,
    PARTS_MAX,
    UCS2_CHARACTERS,
    from_gsm,
    from_ucs2,
    in_gsm,
    parts,
    to_gsm,
    to_ucs2,
)
from logger.modem import Modem, ModemError
from logger.settings_tables import Phone, Sms
from logger.sms import Texter, worded
from logger.urgent import CHECKS, Verdict
from tests.faults import FaultyPort
from tests.logger.modem_simulator import ModemSimulator

NUMBER, OTHER = "+270000000001", "+270000000002"
EVIDENCE = "The motor is driven, but no water comes. The low-level probe says dry."
DRY = Told("raised", Verdict("dry-running", True, EVIDENCE, CHECKS["dry-running"]), 0, 0)
OVER = Told("cleared", DRY.verdict, 0, 60_000)


def texter(modem: ModemSimulator, per_day_max: int = 10, phones=(NUMBER,), state="north-kraal: pump running") -> Texter:
    def open_port():
        modem.closed = False
        return modem

    settings = Sms("/dev/none", per_day_max=per_day_max, phone=tuple(Phone(f"person {n}", n) for n in phones))
    return Texter(settings, "north-kraal", open_port, lambda: state, modem.now, modem.sleep)


def test_urgent_text_says_what_is_safe_first():
    modem = ModemSimulator()
    sender = texter(modem)
    sender.tell(DRY)
    sender.turn()
    text = " ".join(part for _, part in modem.sent)
    assert modem.sent[0][1].startswith(
        "north-kraal: URGENT: dry running. Switch the pump off at its own switch: the logger"
    )
    assert "cannot stop it." in text
    assert "The low-level probe says dry." in text.replace(" (1/2) ", " ")
    assert all(number == NUMBER and len(part) <= 160 for number, part in modem.sent)
    assert worded("north-kraal", OVER) == "north-kraal: Over: dry running."


@pytest.mark.parametrize("chunk", [1, 3, 1000])
@pytest.mark.parametrize("echo", [True, False])
@pytest.mark.parametrize("answer_s", [0.0, 8.0])
def test_slow_and_piecemeal_answers_are_understood(chunk, echo, answer_s):
    modem = ModemSimulator(answer_s, chunk, echo)
    ours = Modem(modem, modem.now)
    ours.set_up()
    ours.send(NUMBER, "water > 3 m3")
    assert modem.sent == [(NUMBER, "water > 3 m3")]


@pytest.mark.parametrize("code", [38, 41, 42])
def test_what_may_pass_is_tried_again(code):
    modem = ModemSimulator()
    modem.refuse.extend([code, code])
    sender = texter(modem)
    sender.tell(OVER)
    sender.turn()
    assert len(modem.sent) == 1
    assert sender.counts["sent"] == 1
    assert modem.now_s > 30


@pytest.mark.parametrize("code", [50, 500])
def test_what_will_not_pass_is_not_tried_again(code):
    modem = ModemSimulator()
    modem.refuse.append(code)
    sender = texter(modem)
    sender.tell(OVER)
    sender.turn()
    assert modem.sent == []
    assert sender.counts["failed"] == 1
    assert sender.last_trouble == f"the modem refuses with error {code}"


def test_a_modem_that_refuses_before_the_prompt_is_tried_again():
    modem = ModemSimulator()
    modem.refuse.append("no prompt")
    sender = texter(modem)
    sender.tell(OVER)
    sender.turn()
    assert len(modem.sent) == 1


def test_a_mute_modem_is_given_up_after_bounded_time_and_set_up_anew_later():
    modem = ModemSimulator()
    modem.mute = True
    sender = texter(modem)
    sender.tell(OVER)
    sender.turn()
    assert modem.sent == []
    assert modem.now_s < 600
    assert "said nothing for 10 s; is it on, and is its aerial in?" in sender.last_trouble
    modem.mute = False
    sender.tell(OVER)
    sender.turn()
    assert len(modem.sent) == 1


def test_an_answer_that_never_comes_after_sending_is_tried_again():
    modem = ModemSimulator()
    modem.refuse.append("mute")
    sender = texter(modem)
    sender.tell(OVER)
    sender.turn()
    assert len(modem.sent) == 1


def test_a_day_has_its_limit_for_each_number_and_the_last_message_says_so():
    modem = ModemSimulator()
    sender = texter(modem, per_day_max=3, phones=(NUMBER, OTHER))
    for _ in range(10):
        sender.tell(OVER)
        sender.turn()
    assert [number for number, _ in modem.sent] == [NUMBER, OTHER] * 3
    assert modem.sent[-1][1] == "north-kraal: Over: dry running. [Last message today]"
    assert sender.counts["over_limit"] == 14
    modem.now_s += 86_400
    sender.tell(OVER)
    sender.turn()
    assert len(modem.sent) == 8


@pytest.mark.parametrize("said", [b"WATER", b"water", b" Water\r\n", to_ucs2("water").encode()])
def test_a_named_number_asks_one_word_and_is_answered(said):
    modem = ModemSimulator()
    modem.inbox[1] = (NUMBER, said)
    sender = texter(modem)
    sender.turn()
    assert modem.sent == [(NUMBER, "north-kraal: pump running")]
    assert modem.inbox == {}
    assert sender.counts["answered"] == 1


@pytest.mark.parametrize(
    ("number", "said"),
    [
        ("+279999999999", b"WATER"),
        (NUMBER, b"STOP"),
        (NUMBER, b"WATER NOW"),
        (NUMBER, b""),
        ("operator", b"WATER"),
        (NUMBER, b"OK"),
    ],
)
def test_anything_else_is_ignored_counted_and_removed(number, said):
    modem = ModemSimulator()
    modem.inbox[1] = (number, said)
    sender = texter(modem)
    sender.turn()
    sender.turn()
    assert modem.sent == []
    if said != b"OK":  # a message that reads OK looks like the end of the list: it stays, and does no harm
        assert modem.inbox == {}
        assert sender.counts["ignored"] == 1


def test_questions_have_a_limit_too():
    modem = ModemSimulator()
    sender = texter(modem)
    for _ in range(50):
        modem.inbox[1] = (NUMBER, b"WATER")
        modem.now_s += 20
        sender.turn()
    assert len(modem.sent) == 20


@pytest.mark.parametrize("seed", range(30))
def test_over_a_bad_line_nothing_raises_and_it_works_again_afterwards(seed):
    modem = ModemSimulator(chunk=7)
    bad = FaultyPort(modem, seed, share=0.15)
    sender = texter(modem)

    def plugged_in_again():
        modem.closed = False
        return bad

    sender._open_port = plugged_in_again
    for _ in range(12):
        modem.inbox[1] = (NUMBER, b"WATER")
        sender.tell(OVER)
        sender.turn()
        modem.now_s += 60
    assert sum(bad.tricks.values()) > 1
    modem.inbox.clear()
    good = texter(modem)
    good.tell(OVER)
    before = len(modem.sent)
    good.turn()
    assert len(modem.sent) == before + 1


def test_the_default_alphabet_by_the_standards_table():
    """3GPP TS 23.038, table 6.2.1: a few of its codes."""
    assert to_gsm("@") == b"\x00"
    assert to_gsm("$_Δ é") == b"\x02\x11\x10\x20\x05"
    assert to_gsm("Az09") == b"Az09"
    assert from_gsm(to_gsm("ÄÖÜ ñ à ß")) == "ÄÖÜ ñ à ß"
    assert not in_gsm("["), "needs the escape, which AT text mode takes for 'abort'"
    assert from_gsm(b"\xff") == "?"
    assert from_ucs2(to_ucs2("ɓ ɗ ŋ 😀")) == "ɓ ɗ ŋ ?"


@pytest.mark.parametrize(("letter", "room"), [("a", GSM_CHARACTERS), ("ɓ", UCS2_CHARACTERS)])
def test_texts_are_cut_between_words_to_what_a_message_holds(letter, room):
    text = " ".join([letter * 7] * 100)
    made = parts(text)
    assert len(made) == PARTS_MAX
    assert all(len(part) <= room for part in made)
    assert made[0].endswith(" (1/3)")
    assert all(set(word) == {letter} and len(word) == 7 for part in made for word in part.split()[:-1])
    assert parts("x" * GSM_CHARACTERS) == ["x" * GSM_CHARACTERS]
    assert [len(part) for part in parts("x" * 200)] == [160, 52]


def test_a_modem_that_says_error_is_worded():
    modem = ModemSimulator()
    with pytest.raises(ModemError, match="the modem says ERROR"):
        Modem(modem, modem.now).ask("AT+NONSENSE")
