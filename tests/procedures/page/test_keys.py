"""The keyboard and the screens as one source of answers."""

from __future__ import annotations

import os
import pty
import threading
from collections.abc import Iterator
from dataclasses import dataclass

import pytest

from daq.clock import ManualClock
from procedures.page.doorway import Doorway
from procedures.page.hub import Hub
from procedures.page.keys import SharedKeys
from procedures.page.offers import Offers
from procedures.page.pairing import Pairing


@dataclass
class Desk:
    offers: Offers
    keys: SharedKeys
    keyboard: int

    def type(self, text: str) -> None:
        os.write(self.keyboard, text.encode())


@pytest.fixture
def desk() -> Iterator[Desk]:
    """Return keys on a pipe."""
    reading, typing = os.pipe()
    offers = Offers()
    yield Desk(offers, SharedKeys(offers, reading), typing)
    offers.dispose()
    os.close(reading)
    if typing_is_open(typing):
        os.close(typing)


def typing_is_open(descriptor: int) -> bool:
    try:
        os.fstat(descriptor)
    except OSError:
        return False
    return True


def test_a_typed_line_is_a_line(desk: Desk) -> None:
    desk.type("0.25 m\nno\n")
    assert desk.keys.line() == "0.25 m"
    assert desk.keys.line() == "no"


def test_a_screen_s_answer_is_a_line(desk: Desk) -> None:
    desk.offers.open("q1")
    desk.offers.offer("q1", ("q", "y"))
    assert (desk.keys.line(), desk.keys.line()) == ("q", "y")


def test_a_screen_wakes_a_run_that_waits_for_the_keyboard(desk: Desk) -> None:
    desk.offers.open("q1")
    threading.Timer(0.02, desk.offers.offer, ("q1", ("yes",))).start()
    assert desk.keys.line() == "yes"


def test_half_a_typed_line_does_not_mix_with_a_screen_s_answer(desk: Desk) -> None:
    desk.offers.open("q1")
    desk.type("n")
    threading.Timer(0.02, desk.offers.offer, ("q1", ("yes",))).start()
    assert desk.keys.line() == "yes"
    desk.type("o\n")
    assert desk.keys.line() == "no"


def test_the_end_of_a_pipe_ends_nothing_while_screens_can_answer(desk: Desk) -> None:
    os.close(desk.keyboard)
    assert desk.keys.pressed() == ""
    assert not desk.keys.ended
    desk.offers.open("q1")
    threading.Timer(0.02, desk.offers.offer, ("q1", ("yes",))).start()
    assert desk.keys.line() == "yes"


def test_screen_and_keyboard_press_keys(desk: Desk) -> None:
    desk.offers.open("q1")
    assert desk.keys.pressed() == ""
    desk.offers.offer("q1", ("q", "q"))
    assert desk.keys.pressed() == "qq"
    desk.type("r\n")
    assert desk.keys.pressed() == "r"


def test_the_end_of_file_key_at_a_terminal_still_means_it() -> None:
    master, slave = pty.openpty()
    offers = Offers()
    os.write(master, b"\x04")
    with pytest.raises(EOFError):
        SharedKeys(offers, slave).line()
    offers.dispose()
    os.close(master)
    os.close(slave)


@pytest.fixture
def guarded() -> Iterator[tuple[Desk, Pairing]]:
    """Return keys of a page for the network, and who is paired there."""
    reading, typing = os.pipe()
    offers, pairing = Offers(), Pairing(needed=True)
    door = Doorway(pairing, Hub(), offers, lambda: "", clock=ManualClock(), log=None)
    yield Desk(offers, SharedKeys(offers, reading, door), typing), pairing
    offers.dispose()
    os.close(reading)
    os.close(typing)


def test_the_pairing_key_is_no_answer(guarded: tuple[Desk, Pairing]) -> None:
    desk, pairing = guarded
    token = pairing.token
    desk.type("p\nno\n")
    assert desk.keys.line() == "no"
    assert pairing.token != token


def test_a_screen_cannot_press_the_pairing_key(guarded: tuple[Desk, Pairing]) -> None:
    """It would end the pairing of another screen, and its own."""
    desk, pairing = guarded
    token = pairing.token
    desk.offers.open("q1")
    desk.offers.offer("q1", ("p", "p", "p"))
    assert desk.keys.line() == "p"
    assert desk.keys.pressed() == "pp"
    assert pairing.token == token


def test_the_pairing_key_is_pressed_twice_while_a_value_is_watched(
    guarded: tuple[Desk, Pairing],
) -> None:
    desk, pairing = guarded
    token = pairing.token
    desk.type("p\n")
    assert desk.keys.pressed() == ""
    assert pairing.token == token
    desk.type("p\n")
    assert desk.keys.pressed() == ""
    assert pairing.token != token
