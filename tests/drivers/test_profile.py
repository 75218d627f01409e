"""A profile that is wrong says file, line and key; the shipped ones are right."""

from __future__ import annotations

from pathlib import Path

import pytest

import drivers
from daq.errors import ProfileError
from daq.reading import Quality
from drivers.profile import load_profile
from drivers.registry import find_profile, shipped_profiles

GOOD = """\
[instrument]
class = "navigation receiver"
[link]
write_terminator = "\\r"
read_terminator = "\\r\\n"
[identification]
query = "ID"
answer = '(?P<maker>\\w+) (?P<model>\\S+)'
[quantity.ddm]
query = "DDM"
answer = '(?P<value>\\S+) (?P<status>\\S+)'
unit = "ratio"
positive_tone = 150
status = {OK = "ok", LOW = "no value"}
accuracy = [{floor = 0.001, coverage = "k=2"}]
"""


def load(folder, text):
    path = folder / "mine.toml"
    path.write_text(text)
    return load_profile(path)


def test_a_good_profile_says_how_to_talk(tmp_path):
    profile = load(tmp_path, GOOD)
    assert profile.link.message_format().write_terminator == b"\r"
    assert profile.link.link_settings().baud_rate == 9600
    assert profile.quantity["ddm"].status["LOW"] is Quality.NO_VALUE


@pytest.mark.parametrize("name", shipped_profiles())
def test_the_shipped_profiles_are_right(name):
    profile = find_profile(name, Path())
    assert profile.instrument.description
    # A position receiver gives positions, which are no quantity.
    assert profile.quantity or "position" in profile.instrument.instrument_class


@pytest.mark.parametrize(
    ("old", "new", "line", "match"),
    [
        ('class = "navigation receiver"', 'class = "navigation reciever"', 2, "did you mean"),
        ("write_terminator", "write_terminater", 3, "did you mean 'write_terminator'"),
        ('read_terminator = "\\r\\n"', 'read_terminator = ""', 5, "Expected some text"),
        ("positive_tone = 150\n", "", 9, "ddm needs positive_tone"),
        ("positive_tone = 150", "positive_tone = 1020", 13, "90 or 150"),
        ('unit = "ratio"', 'unit = "V"', 9, "ddm is not measured in V"),
        ("quantity.ddm", "quantity.ddmm", 9, "is no quantity; did you mean 'ddm'"),
        ("(?P<value>", "(?P<valu>", 11, "needs a group"),
        ("(?P<value>", "(?P<value", 11, "no regular expression"),
        ('status = {OK = "ok", LOW = "no value"}\n', "", 9, "has a status: say"),
        ('LOW = "no value"', 'LOW = "none"', 14, "Expected"),
        ('query = "DDM"', 'query = "DDM {chanel}"', 10, "only {channel} is"),
        ('query = "DDM"', 'query = "DDM\\r"', 10, "printable"),
        ('query = "DDM"\n', "", None, "query is missing: ddm"),
        ('query = "ID"\n', "", None, "query is missing: identification"),
        ("(?P<maker>", "(?P<brand>", 8, "Groups are maker"),
        ("floor = 0.001", "floor = -1", 15, "at least 0"),
        (
            "[{floor = 0.001,",
            '[{floor=1, coverage="k=2"}, {floor = 0.001,',
            15,
            "ascending",
        ),
        ('unit = "ratio"', 'unit = "parsec"', 12, "Expected 'ratio'"),
        ("[link]", "[link]\nstreaming = true", None, "talks on its own"),
        ("[link]", "[link]\ntimeout_s = inf", 4, "a finite number"),
        ("[link]", "[waveform]\nquery='W?'\nformat='real32'\n[link]", 3, "either record_s or"),
    ],
)
def test_each_fault_is_told_with_its_place(tmp_path, old, new, line, match):
    assert old in GOOD
    with pytest.raises(ProfileError, match=match) as caught:
        load(tmp_path, GOOD.replace(old, new))
    assert caught.value.file == str(tmp_path / "mine.toml")
    assert caught.value.line == line


def test_the_shipped_profiles_lie_where_the_package_is():
    folder = Path(next(iter(drivers.__path__))) / "profiles"
    assert {path.stem for path in folder.glob("*.toml")} == set(shipped_profiles())
