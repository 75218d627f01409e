"""A quantity whose answer is a word: what the profile has to say, and how it is read."""

from __future__ import annotations

import pytest

from daq.errors import AnswerError, ProfileError
from daq.reading import Quality
from drivers.profile import load_profile
from drivers.profile_quantity import QuantitySection
from drivers.question import Question
from tests.drivers.profiles import HEAD, tiny_profile

WORDS = """\
[quantity.alarm]
query = "A?"
answer = 'STATE (?P<value>.*)'
unit = "ratio"
no_value = '-'
values = {NORMAL = 0, "IN ALARM" = 1, P = 0}
"""
FIRST_LINE = HEAD.count("\n") + 1


def words(folder, text=WORDS) -> QuantitySection:
    return tiny_profile(folder, text, kind="alarm unit").quantity["alarm"]


@pytest.mark.parametrize(
    ("answer", "value"),
    [("NORMAL", 0.0), ("IN ALARM", 1.0), ("P", 0.0), ("  NORMAL ", 0.0)],
)
def test_a_word_is_the_number_that_it_stands_for_exactly(tmp_path, clock, answer, value):
    question = Question(words(tmp_path), "", 1.0)
    heard = question.hear(f"STATE {answer}")
    reading = question.reading(heard, source="unit", point="", clock=clock, began_ns=0)
    assert (reading.value, reading.u, reading.quality) == (value, 0.0, Quality.OK)
    assert reading.raw == f"STATE {answer}"


@pytest.mark.parametrize("answer", ["normal", "NORMAL.", "N", "", "0", "IN  ALARM"])
def test_any_other_word_is_an_error_that_names_the_words_that_are(tmp_path, answer):
    """Exactly: not another case, not a part, and no number either."""
    with pytest.raises(AnswerError, match="NORMAL, IN ALARM, P are") as caught:
        Question(words(tmp_path), "", 1.0).hear(f"STATE {answer}")
    assert f"{answer!r} is not explained" in caught.value.message
    assert "[quantity.alarm]" in caught.value.hint


def test_what_stands_for_no_value_is_no_word(tmp_path):
    heard = Question(words(tmp_path), "", 1.0).hear("STATE -")
    assert heard.number.quality is Quality.NO_VALUE


def test_no_word_means_a_deviation(tmp_path):
    """It would be known exactly, and nothing that is measured is."""
    text = """[quantity.ddm]
query = "D?"
unit = "uA"
positive_tone = 90
values = {"FULL LEFT" = 150, CENTRE = 0}
"""
    with pytest.raises(ProfileError, match="no ddm is exact") as caught:
        tiny_profile(tmp_path, text)
    assert caught.value.key == "quantity.ddm.values"


@pytest.mark.parametrize(
    ("group", "comes"),
    [
        ("NORMAL|IN ALARM|P", True),
        ("[A-Z ]+", True),
        (r"(?:NORMAL|[^)]*\)?)", True),
        ("[])A-Z ]+", True),
        ("[A-Z]+", False),
        ("NORMAL|IN ALARM", False),
        (r"\d", False),
        ("[+-]?[0-9.]+", False),
    ],
)
def test_a_word_that_the_answer_never_holds_is_a_fault(tmp_path, group, comes):
    text = WORDS.replace("(?P<value>.*)", f"(?P<value>{group})( [(].*)?")
    if comes:
        assert set(words(tmp_path, text).values) == {"NORMAL", "IN ALARM", "P"}
    else:
        with pytest.raises(ProfileError, match="the group value of answer is never that"):
            words(tmp_path, text)


def test_an_answer_in_any_case_may_hold_a_word_in_any(tmp_path):
    text = WORDS.replace("STATE (?P<value>.*)", "(?i)STATE (?P<value>normal|in alarm|p)")
    assert "IN ALARM" in words(tmp_path, text).values


def test_an_answer_that_tells_of_every_channel_is_read_at_the_channel_s_own_name(tmp_path):
    """A name is taken as it is, though it may look like a pattern."""
    text = WORDS.replace("STATE (?P<value>.*)", "(?:.* )?{channel}:(?P<value>[A-Z]+)(?: .*)?")
    text = text.replace("NORMAL = 0", "N = 0, A = 1").replace('"IN ALARM" = 1, ', "")
    head = HEAD.format(kind="alarm unit").replace("[link]", 'channels = ["A.", "AB"]\n[link]')
    (tmp_path / "unit.toml").write_text(head + text, encoding="utf-8")
    section = load_profile(tmp_path / "unit.toml").quantity["alarm"]
    assert Question(section, "A.", 1.0).hear("A.:N AB:A").number.value == 0.0
    assert Question(section, "AB", 1.0).hear("A.:N AB:A").number.value == 1.0


@pytest.mark.parametrize(
    ("old", "new", "line", "key", "match"),
    [
        ("P = 0", "NORMAL = 0", 6, "", "Duplicate inline table key 'NORMAL'"),
        ("P = 0", 'P = "0.5"', 6, "quantity.alarm.values.P", "a number, not '0.5'"),
        ("P = 0", "P = 0.5", 6, "quantity.alarm.values", "an alarm is there, 1, or not, 0"),
        ("P = 0", "P = true", 6, "quantity.alarm.values.P", "a number, not true"),
        ("P = 0", "P = nan", 6, "quantity.alarm.values.P", "a finite number"),
        ("P = 0", '" P" = 0', 6, "quantity.alarm.values", "' P' never comes"),
        ("P = 0", '"" = 0', 6, "quantity.alarm.values", "never comes"),
        ("P = 0", '- = 0', 1, "quantity.alarm", "no_value takes it for none"),
        ('{NORMAL = 0, "IN ALARM" = 1, P = 0}', "{}", 6, "quantity.alarm.values", "each word"),
        ('{NORMAL = 0, "IN ALARM" = 1, P = 0}', "[0, 1]", 6, "quantity.alarm.values",
         "a table of names"),
        ("(?P<value>.*)", ".*", 3, "quantity.alarm.answer", "needs a group"),
        ("no_value", 'accuracy = [{floor = 1.0, coverage = "k=2"}]\nno_value', 5,
         "quantity.alarm.accuracy", "exactly: leave it out"),
        ("no_value", "noise = {sigma = 0.1, resolution = 0.1}\nno_value", 1,
         "quantity.alarm", "do not scatter"),
        ("STATE", "{channel}", None, "", "alarm asks for a {channel}, and .instrument. has no"),
    ],
)  # fmt: skip
def test_each_fault_is_told_with_its_place(tmp_path, old, new, line, key, match):
    assert old in WORDS
    with pytest.raises(ProfileError, match=match) as caught:
        words(tmp_path, WORDS.replace(old, new))
    assert caught.value.file == str(tmp_path / "tiny.toml")
    assert caught.value.line == (None if line is None else FIRST_LINE + line - 1)
    assert caught.value.key == key


def test_a_quantity_without_words_still_has_to_say_how_accurate_it_is(tmp_path):
    text = WORDS.replace('values = {NORMAL = 0, "IN ALARM" = 1, P = 0}\n', "")
    with pytest.raises(ProfileError, match="one line of accuracy") as caught:
        words(tmp_path, text)
    assert caught.value.line == FIRST_LINE
    assert caught.value.key == "quantity.alarm.accuracy"
