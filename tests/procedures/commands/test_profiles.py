"""`trimbench profile …` as a technician with an unknown instrument meets it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from daq.clock import ManualClock
from daq.errors import InputError
from daq.reading import Quality
from drivers import profile_tools
from drivers.profile import load_profile
from procedures.commands.profiles import profile_app
from sim_instruments.bench import SimulatedBench

APP = profile_app(lambda: profile_tools)
SCOPE = "TCPIP::127.0.0.1::0::SOCKET"
PIR7 = "-> Q:I\n<- I=OSTREL/PIR7/0093/1.04\n-> Q:D\n<- D=-150.0uA;S=A\n-> Q:M\n<- M=40.0%;S=A\n"


def run(*arguments: str, typed: str = ""):
    return CliRunner().invoke(APP, [*arguments], input=typed, catch_exceptions=True)


def test_list_names_profiles_and_drivers_with_what_they_are_for():
    result = run("list")
    assert result.exit_code == 0
    assert "fernmark-os4" in result.output
    assert "navigation receiver: Halvorsund NR-2" in result.output
    assert "keyed" in result.output
    names = [item["name"] for item in json.loads(run("list", "--json").output)["profiles"]]
    assert {"recording", "scpi-multimeter"} <= set(names)


def test_check_against_an_instrument_shows_every_line_and_reading(tmp_path):
    bench = SimulatedBench({"seed": 16}, ManualClock())
    with bench.serve([("fernmark-os4", SCOPE)], folder=tmp_path, hands_port=None) as served:
        result = run("check", "fernmark-os4", "--resource", served.resources[SCOPE])
    assert result.exit_code == 0, result.output
    assert r"-> '*IDN?\n'" in result.output
    assert "<- 'FERNMARK,OS-4,40117,1.6'" in result.output
    assert "reads  FERNMARK OS-4 serial 40117, firmware 1.6" in result.output
    assert "V peak to peak, standard uncertainty" in result.output
    assert "20000 samples at 40000 Hz, 0.5 s" in result.output
    assert result.output.count("vpp, channel") == 4


def test_check_against_a_transcript_says_value_unit_and_sign(tmp_path):
    """0.155 DDM = 150 uA (common practice, no source); this receiver counts 90 Hz positive."""
    (tmp_path / "pir7.transcript").write_text(PIR7 + "-> Q:L\n<- L=-47.3dBm;S=V\n")
    result = run("check", "ostrel-pir7", "--transcript", str(tmp_path / "pir7.transcript"))
    assert result.exit_code == 0, result.output
    assert "0.1550, 150 Hz predominates (DDM), standard uncertainty 0.001" in result.output
    assert "no value to be judged: flagged by the instrument" in result.output
    assert "The profile fits." in result.output


def test_the_lines_that_a_check_prints_are_a_transcript_themselves(tmp_path):
    (tmp_path / "first").write_text(PIR7 + "-> Q:L\n<- L=-47.3dBm;S=A\n")
    first = run("check", "ostrel-pir7", "--transcript", str(tmp_path / "first")).output
    lines = [line for line in first.splitlines() if line.startswith(("  ->", "  <-"))]
    (tmp_path / "second").write_text("\n".join(lines))
    assert run("check", "ostrel-pir7", "--transcript", str(tmp_path / "second")).output == first


def test_an_answer_that_does_not_fit_is_shown_with_its_lines_and_fails(tmp_path):
    (tmp_path / "odd").write_text(PIR7.replace("D=-150.0uA;S=A", "D=-150.0mV;S=A"))
    result = run("check", "ostrel-pir7", "--transcript", str(tmp_path / "odd"), "--json")
    assert result.exit_code == 3
    trial = json.loads(result.output)
    ddm = next(step for step in trial["steps"] if step["what"] == "ddm")
    assert "The answer is in 'mV', but 'uA' is declared" in ddm["error"]
    assert ddm["lines"][:2] == ["-> 'Q:D\\n'", "<- 'D=-150.0mV;S=A'"]
    assert not trial["passed"]


def test_a_stream_is_checked_against_what_it_said(tmp_path):
    (tmp_path / "stream").write_text("<- LOC,+0.1550,0.4000,-47.3\n# a comment\n")
    result = run("check", "streaming-receiver", "--transcript", str(tmp_path / "stream"))
    assert result.exit_code == 0, result.output
    assert "0.1550, 150 Hz predominates" in result.output


@pytest.mark.parametrize(
    ("arguments", "match"),
    [
        (("no-such",), "no profile or driver 'no-such'"),
        (("ostrel-pir7",), "either the instrument's address or a transcript"),
        (("ostrel-pir7", "--transcript", "nowhere"), "cannot be read"),
    ],
)
def test_what_cannot_be_checked_is_said(arguments, match):
    assert match in str(run("check", *arguments).exception)


def test_a_line_of_a_transcript_that_is_none_is_named(tmp_path):
    (tmp_path / "odd").write_text("-> Q:I\nI=OSTREL\n")
    result = run("check", "ostrel-pir7", "--transcript", str(tmp_path / "odd"))
    assert "odd:2" in str(result.exception)


INTERVIEW = (
    ("class", "navigation receiver"),
    ("description", "Ostrel shop receiver"),
    ("asked", "yes"),
    ("ends a command", "LF"),
    ("ends an answer", "cr lf"),
    ("how long", "1.5"),
    ("baud", "9600"),
    ("identification", "WHO"),
    ("its answer", "OSTREL XR3 #0412 v1.2"),
    ("maker", "OSTREL"),
    ("model", "XR3"),
    ("serial", "0412"),
    ("firmware", "1.2"),
    ("quantity", "ddn"),  # a slip: asked again
    ("quantity", "ddm"),
    ("query", "D?"),
    ("one tone predominates", ""),
    ("its answer", "DEV 0.0 L OK"),  # shows no sign: asked again
    ("value", ""),
    ("unit", "uA"),
    ("one tone predominates", ""),
    ("its answer", "DEV 098.7 L OK"),
    ("value", ""),
    ("unit", "uA"),
    ("valid", "OK"),
    ("else", "LOW"),
    ("means", "no value"),
    ("else", ""),
    ("differs", "98"),  # stands in the value: asked again
    ("differs", "L"),
    ("differs", ""),
    ("tone", "90"),
    ("no value", "----"),
    ("per cent", "2"),
    ("constant", "1.5"),
    ("quantity", "sdm"),
    ("query", "S?"),
    ("its answer", "MOD 40 OF 100"),
    ("value", "40"),
    ("unit", "%"),
    ("valid", ""),
    ("differs", ""),
    ("no value", ""),
    ("per cent", "0"),
    ("constant", ""),  # no instrument is without error: asked again
    ("constant", "3"),
    ("quantity", "alarm"),
    ("query", "A?"),
    ("its answer", "ALARM1 OFF"),
    ("value", "OFF"),  # a word
    ("stands for", "0"),
    ("another", "ON AIR"),
    ("stands for", "1"),
    ("another", "OFF"),  # explained already: asked again
    ("another", ""),
    ("valid", ""),
    ("differs", ""),
    ("no value", ""),
    ("no more", ""),
)
TYPED = "".join(f"{line}\n" for _, line in INTERVIEW)
STREAM = (
    ("class", "navigation receiver"),
    ("description", "Skarvoy shop listener"),
    ("asked", "no"),
    ("ends a line", "CR LF"),
    ("how long", "2"),
    ("baud", ""),
    ("a line", "LOC,+0.1550,0.4000,-47.3"),
    ("in every line", "LOC"),
    ("quantity", "ddm"),
    ("one tone predominates", ""),
    ("a line", "LOC,+0.1550,0.4000,-47.3"),
    ("value", "+0.1550"),
    ("unit", "ratio"),
    ("valid", ""),
    ("differs", "0.4000"),
    ("differs", "-47.3"),
    ("differs", ""),
    ("tone", "150"),
    ("no value", "----"),
    ("per cent", "1"),
    ("constant", "0.001"),
    ("no more", ""),
)


def test_new_writes_a_profile_that_loads_and_reads_what_was_typed(tmp_path):
    result = run("new", str(tmp_path / "shop"), typed=TYPED)
    assert result.exit_code == 0, result.output
    for said in (
        "did you mean",
        "zero does not show the sign. Make one tone",
        "cannot mean two things",
        "No instrument is without error",
        "'OFF' is explained already",
    ):
        assert said in result.output
    profile = load_profile(tmp_path / "shop.toml")
    assert profile.quantity["alarm"].values == {"OFF": 0.0, "ON AIR": 1.0}
    assert profile.quantity["ddm"].answer == r"DEV (?P<value>\S+?) \S+? (?P<status>\S+)"
    assert profile.quantity["ddm"].status["LOW"] is Quality.NO_VALUE
    assert profile.quantity["ddm"].positive_tone == 90  # it was positive while 90 predominated
    heard = str(tmp_path / "shop.transcript")
    checked = run("check", str(tmp_path / "shop.toml"), "--transcript", heard)
    assert checked.exit_code == 0, checked.output
    assert "OSTREL XR3 serial 0412, firmware 1.2" in checked.output
    assert "0.1020, 90 Hz predominates" in checked.output
    assert "40.00 %" in checked.output
    assert "reads  'OFF', which stands for 0" in checked.output


def test_new_writes_a_profile_of_one_that_talks_on_its_own(tmp_path):
    """Another line of it, with every number different, is read as well."""
    typed = "".join(f"{line}\n" for _, line in STREAM)
    result = run("new", str(tmp_path / "listener"), typed=typed)
    assert result.exit_code == 0, result.output
    for line, said in (
        ("LOC,-0.1020,0.3993,-51.0", "0.1020, 90 Hz predominates"),
        ("LOC,----,0.0000,-90.0", "no value to be judged: no value"),
    ):
        (tmp_path / "said").write_text(f"<- {line}\n")
        profile = str(tmp_path / "listener.toml")
        checked = run("check", profile, "--transcript", str(tmp_path / "said"))
        assert checked.exit_code == 0, checked.output
        assert said in checked.output


WORDS = """\
[instrument]
class = "alarm unit"
[link]
write_terminator = "\\n"
read_terminator = "\\n"
[identification]
query = "ID"
answer = "(?P<model>.*)"
[quantity.alarm]
query = "S"
unit = "ratio"
values = {N = 0, A = 1}
"""


def test_check_shows_what_each_word_stands_for_and_which_words_there_are(tmp_path):
    """One parameter in alarm of ten, each read at its own place in one answer."""
    states = "CL=N CW=A C9=N C1=P PC=N PL=N SC=N SL=N ID=- FF=N"
    unit = "-> ID\n<- HALVORSUND MA-3,SN 1187,FW 1.0\n-> S\n<- S A "
    (tmp_path / "unit").write_text(unit + states + "\n")
    result = run("check", "halvorsund-ma3", "--transcript", str(tmp_path / "unit"))
    assert result.exit_code == 0, result.output
    assert result.output.count("reads  'A', which stands for 1") == 2  # the worst, and CW
    assert result.output.count("reads  'N', which stands for 0") == 7
    assert result.output.count("reads  'P', which stands for 0") == 1
    assert result.output.count("no value to be judged: no value") == 1
    (tmp_path / "mine.toml").write_text(WORDS)
    (tmp_path / "odd").write_text("-> ID\n<- X\n-> S\n<- ALARM\n")
    odd = run("check", str(tmp_path / "mine.toml"), "--transcript", str(tmp_path / "odd"))
    assert odd.exit_code == 3
    assert "The word 'ALARM' is not explained in the profile; N, A are." in odd.output


def test_new_with_an_empty_name_is_told():
    error = run("new", "").exception
    assert isinstance(error, InputError)
    assert error.message == "An empty name is no file."


def test_new_never_writes_over_anything(tmp_path):
    (tmp_path / "shop.toml").write_text("mine")
    result = run("new", str(tmp_path / "shop.toml"), typed=TYPED)
    assert "nothing is written over" in str(result.exception)
    assert (tmp_path / "shop.toml").read_text() == "mine"
    assert list(tmp_path.iterdir()) == [tmp_path / "shop.toml"]


@pytest.mark.parametrize(
    ("old", "new", "match"),
    [
        ("DEV 098.7 L OK\n\nuA\n", 4 * "DEV 0.0 L OK\n\nuA\n\n", "zero does not show the sign"),
        ("ddn\nddm\n", "\n", "reads nothing"),
        ("90\n----\n2\n1.5\n", "90\n----\n0\n" + 5 * "0\n", "without error"),
        ("OFF\n0\n", "OFF\n" + 5 * "no\n", "'no' is no number"),
    ],
)
def test_answers_that_make_no_profile_leave_no_file(tmp_path, old, new, match):
    result = run("new", str(tmp_path / "shop.toml"), typed=TYPED.replace(old, new))
    assert match in str(result.exception)
    assert not list(tmp_path.iterdir())


def test_a_folder_that_is_not_there_is_told(tmp_path):
    result = run("new", str(Path(tmp_path, "nowhere", "shop.toml")), typed=TYPED)
    assert "cannot be written" in str(result.exception)
