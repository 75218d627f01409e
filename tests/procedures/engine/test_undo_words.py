"""What is to be put back, in words."""

from __future__ import annotations

import pytest

from daq.roles import Action
from procedures.engine.undo_words import undo_words


@pytest.mark.parametrize(
    ("act", "words"),
    [
        (
            Action("restore control", {"control": "course SBO level"}),
            "Turn 'course SBO level' back to its normal mark.",
        ),
        (
            Action("remove line", {"path": "clearance sbo", "stage": "transmitter"}),
            "Take the quarter-wave line out of the clearance SBO path and restore the connection.",
        ),
        (
            Action("switch carrier", {"carrier": "clearance", "state": "on"}),
            "Switch the clearance carrier on.",
        ),
        (Action("switch tone", {"tone": 90.0, "state": "on"}), "Switch the 90 Hz tone on."),
        (Action("select transmitter", {"number": 1.0}), "Put transmitter 1 back on the air."),
        (Action("key ident", {"mode": "code"}), "Set the keying of the identification to 'code'."),
        (Action("sing", {}), "Put it back to normal now."),
        (None, "Put it back to normal now."),
    ],
)
def test_an_act_is_said_in_the_words_of_the_hands(act: Action | None, words: str) -> None:
    assert undo_words(act) == words
