"""Keying of the ident (ITU-R M.1677-1)."""

from __future__ import annotations

from itertools import groupby

import numpy as np
import pytest

from sim_instruments.morse import LETTERS, Keyer
from sim_instruments.signals import Modulation, Timebase


def keyed(keyer: Keyer, start_s: float = 0.0) -> str:
    """Return the key as text, one character a dot: = down, . up."""
    ticks = Timebase(start_s + keyer.dot_s / 2, 1 / keyer.dot_s, 60)
    down = keyer.down(ticks) * np.ones(ticks.n)
    return "".join("=" if value else "." for value in down)


def test_itn_written_out_by_hand():
    """.. / - / -. with dashes of three, gaps of one inside and three between letters."""
    assert keyed(Keyer("ITN", 0.1, 60.0)).rstrip(".") == "=.=...===...===.="


def test_paris_is_fifty_dots_long():
    """The word that defines speed: 43 dots of signal and 7 to the next word (from memory)."""
    assert len(keyed(Keyer("PARIS", 0.1, 60.0)).rstrip(".")) == 43


def test_marks_and_gaps_have_only_the_lengths_of_the_code():
    """1 and 3 down, 1 and 3 up, within every pair of letters."""
    for letter in LETTERS:
        text = keyed(Keyer("E" + letter + "E", 0.1, 60.0)).rstrip(".")
        runs = [(key, len(list(group))) for key, group in groupby(text)]
        assert {length for _, length in runs} <= {1, 3}


def test_it_repeats():
    """Eight seconds later it is at the same place; six a minute is the least that is wanted."""
    keyer = Keyer("ITN", 0.1, 8.0)
    assert keyed(keyer)[:20] == keyed(keyer, 16.0)[:20]
    assert 60 / Keyer("ITN").repeat_s >= 6


def test_every_second_one_can_be_late():
    """Ten dots late after eight seconds, and in time again after sixteen."""
    late = Keyer("ITN", 0.1, 8.0, late_s=1.0)
    assert keyed(late, 16.0) == keyed(late)
    assert keyed(late, 9.0)[:20] == keyed(late)[:20]
    assert "=" not in keyed(late, 8.0)[:10]


def test_modes():
    """Continuous is down all the time, off never."""
    time = Timebase(0.0, 100.0, 50)
    assert Keyer("ITN", mode="continuous").down(time) == 1.0
    assert Keyer("ITN", mode="off").down(time) == 0.0


def test_the_ident_is_heard_while_the_key_is_down():
    """10 per cent of 1020 Hz during the first dot, nothing in the gap after it."""
    modulation = Modulation(0.0, 0.0, ident_depth=0.1, keyer=Keyer("ITN", 0.1, 60.0))
    for start_s, depth in ((0.0, 0.1), (0.1, 0.0)):
        envelope = np.abs(modulation.carrier(Timebase(start_s, 48_000, 4800), 1, 0))
        line = 2 * np.abs(np.fft.rfft(envelope))[102] / 4800
        assert line == pytest.approx(depth, abs=0.002)
