"""Text fit to print."""

import unicodedata

from hypothesis import given
from hypothesis import strategies as st

from procedures.record.safe_text import LONGEST, visible


def test_controls_and_overrides_are_seen_and_do_not_act() -> None:
    assert visible("a\x07b\u202ec\x1b[31m") == "a\\x07b\\u202ec\\x1b[31m"


def test_plain_text_of_any_script_is_left_alone() -> None:
    text = 'Grüße, "quoted" #set $x$ \\ שלום 測定 😀 µ × − °'
    assert visible(text) == text


def test_line_breaks_become_blanks() -> None:
    assert visible("one\r\ntwo\tthree") == "one  two three"


def test_very_long_text_is_cut_and_says_so() -> None:
    shown = visible("x" * 5000)
    assert shown.startswith("x" * LONGEST + " …")
    assert "5000 characters" in shown


@given(st.text())
def test_nothing_hidden_is_left(text: str) -> None:
    hidden = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}
    assert not any(unicodedata.category(character) in hidden for character in visible(text))
