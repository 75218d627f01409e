"""Every fault of the menu on an answer, without any link or clock."""

from __future__ import annotations

from dataclasses import FrozenInstanceError, fields, is_dataclass

import pytest

from sim_instruments.fault_model import Exchange, Memory, Strike
from sim_instruments.faults import MENU, fault_from_words
from sim_instruments.link_faults import (
    AnswerHalf,
    AnswerLate,
    Chatter,
    Dribble,
    DropLink,
    Echo,
    GarbageBytes,
    PowerCycle,
    Silence,
    StolenBytes,
    StopReading,
    WrongBaudRate,
)
from sim_instruments.value_faults import (
    ErrorInQueue,
    FrozenValue,
    NoiseBurst,
    Says,
    StaleValue,
    WrongSign,
    WrongUnit,
)

DDM = b"DDM +0.1550 OK\r\n"
IDENTITY = b"HALVORSUND NR-2,SN 20417,FW 3.2\r\n"


def struck(fault, answer=DDM, memory=None, question=b"DDM\r"):
    return fault.strike(Exchange(question, answer, memory or Memory()))


@pytest.mark.parametrize(
    ("fault", "expected"),
    [
        (DropLink(), Strike(drop=True, back_s=0.2)),
        (DropLink(part=0.5, back_s=0), Strike(b"DDM +0.", drop=True)),
        (AnswerLate(2.0), Strike(DDM, wait_s=2.0)),
        (AnswerHalf(), Strike(b"DDM +0.")),
        (AnswerHalf(1.0), Strike(b"DDM +0.1550 OK")),
        (Silence(), Strike()),
        (Dribble(0.05), Strike(DDM, pace_s=0.05)),
        (StopReading(), Strike(hang=True)),
        (Chatter("BUSY"), Strike(DDM, chatter=b"BUSY\r\n")),
        (GarbageBytes(4), Strike(b"\xff\x00\xfe\xff" + DDM)),
        (Echo(), Strike(b"DDM\r" + DDM)),
        (StolenBytes(), Strike(b"DM+.50O\r")),
        (PowerCycle(1.0, "NR-2"), Strike(drop=True, back_s=1.0, restart=True, banner=b"NR-2\r\n")),
        (ErrorInQueue(-310), Strike(DDM, error=-310)),
        (WrongSign(), Strike(b"DDM -0.1550 OK\r\n")),
        (WrongUnit(10.0), Strike(b"DDM +1.5500 OK\r\n")),
        (Says(r"25.3\xb0C\n"), Strike(b"25.3\xb0C\n")),
    ],
    ids=lambda value: getattr(value, "name", ""),
)
def test_what_becomes_of_an_answer(fault, expected):
    """One line of the menu each."""
    assert struck(fault) == expected


def test_a_wrong_baud_rate_leaves_nothing_readable():
    """No line end, and hardly a printable byte, comes through."""
    answer = struck(WrongBaudRate()).answer
    assert len(answer) == len(DDM)
    assert not set(answer) & set(b"\r\n")
    assert sum(32 < byte < 127 for byte in answer) < len(answer) / 2


def test_a_frozen_value_stands_at_the_first_one():
    """Each question at its own; answers without a number, such as the identity, go on."""
    memory, fault = Memory(), FrozenValue()
    assert struck(fault, memory=memory).answer == DDM
    assert struck(fault, b"DDM +0.2000 OK\r\n", memory).answer == DDM
    assert struck(fault, b"SDM 0.4000 OK\r\n", memory, b"SDM\r").answer == b"SDM 0.4000 OK\r\n"
    assert struck(fault, IDENTITY, memory).answer == IDENTITY


def test_a_stale_value_is_an_older_answer_to_the_same_question():
    """So many answers old, or the oldest there is."""
    memory = Memory()
    answers = [f"DDM +0.{at:04d} OK\r\n".encode() for at in range(10)]
    for answer in answers:
        memory.note(b"DDM\r", answer)
        memory.note(b"SDM\r", b"SDM 0.4000 OK\r\n")
    assert struck(StaleValue(3), answers[9], memory).answer == answers[6]
    assert struck(StaleValue(50), answers[9], memory).answer == answers[0]
    assert struck(StaleValue(3), IDENTITY, memory).answer == IDENTITY


def test_noise_is_seeded_and_of_the_size_asked_for():
    """Two memories give the same noise; its standard deviation over 400 answers is within 10 %."""
    memory, fault = Memory(), NoiseBurst(0.05)
    seen = [float(struck(fault, memory=memory).answer.split()[1]) for _ in range(400)]
    again = struck(fault, memory=Memory()).answer
    assert float(again.split()[1]) == seen[0]
    mean = sum(seen) / len(seen)
    assert mean == pytest.approx(0.155, abs=0.01)
    assert (sum((x - mean) ** 2 for x in seen) / 399) ** 0.5 == pytest.approx(0.05, rel=0.1)


@pytest.mark.parametrize("name", MENU)
def test_the_menu_is_a_menu(name):
    """Each fault is frozen, has a sentence, works with its defaults, and takes its own words."""
    fault = fault_from_words(name, {})
    assert is_dataclass(fault)
    assert fault.name == name
    assert fault.sentence.endswith(".")
    for one in fields(fault):
        value = getattr(fault, one.name)
        assert fault_from_words(name, {one.name: str(value)}) == fault
        with pytest.raises(FrozenInstanceError):
            setattr(fault, one.name, value)


def test_unknown_words_are_refused():
    """The message says what there is."""
    with pytest.raises(ValueError, match="no fault 'gremlins'; there are: drop link, answer late"):
        fault_from_words("gremlins", {})
    with pytest.raises(ValueError, match="'answer late' takes seconds, not 'minutes'"):
        fault_from_words("answer late", {"minutes": "2"})
    with pytest.raises(ValueError, match="'seconds' is to be a number, not 'long'"):
        fault_from_words("answer late", {"seconds": "long"})
    with pytest.raises(ValueError, match="'silence' takes nothing, not 'seconds'"):
        fault_from_words("silence", {"seconds": "1"})
