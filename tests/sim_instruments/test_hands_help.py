"""`help` at the hands: every verb, with a line that works on the plant being served."""

from __future__ import annotations

import json

import pytest

from daq.clock import ManualClock
from sim_instruments.bench import SimulatedBench
from sim_instruments.fault_desk import FaultDesk
from sim_instruments.hands import HandsError
from sim_instruments.hands_help import VERBS, typed
from sim_instruments.hands_link import HandsSession, parse_line


@pytest.fixture
def bench(clock: ManualClock, tmp_path) -> SimulatedBench:
    made = SimulatedBench({}, clock)
    made.hands.cables.folder = tmp_path
    return made


def lines(bench, typed_line):
    said = json.loads(HandsSession(bench.hands).feed(typed_line.encode() + b"\n"))
    assert said["ok"], said
    return said["lines"]


@pytest.mark.parametrize("verb", VERBS)
def test_every_example_works_as_it_is_shown(verb, bench):
    """What help shows is typed, read back and done."""
    (shown,) = [
        line.split("  ")[0]
        for line in lines(bench, "help")
        if line.startswith(f"{typed(verb, VERBS[verb].example)}  ")
    ]
    bench.hands.do(*parse_line(shown))


def test_help_knows_every_verb_and_no_other(bench):
    with pytest.raises(HandsError, match="hands cannot 'fly'") as caught:
        bench.hands.do("fly", {})
    known = str(caught.value).partition("they can ")[2].partition("; names")[0]
    assert set(known.split(", ")) == set(VERBS)


def test_help_names_the_points_cables_and_controls_of_this_plant(bench):
    text = "\n".join(lines(bench, "help"))
    for name in (*bench.plant.control_names, "far field monitor", "phase detector", "course SBO"):
        assert name in text
    assert "clearance sbo at the transmitter" in text
    assert "clearance sbo transmitter" in text


def test_a_point_that_this_plant_does_not_have_is_not_named(clock):
    without = SimulatedBench({"far_field_monitor_m": 0.0}, clock)
    assert "far field monitor" not in "\n".join(lines(without, "help"))


def test_help_about_one_verb_is_about_that_one(bench):
    shown = lines(bench, "help insert line")
    assert shown[0].startswith('insert line path="sbo" stage="monitor"  ')
    assert shown[1] == ""
    assert shown[2].startswith("path and stage: sbo at the transmitter, ")
    assert len(shown) == 3
    with pytest.raises(HandsError, match="did you mean 'insert line'"):
        bench.hands.do("help insret line", {})


def test_all_that_is_missing_is_said_at_once_with_an_example(bench):
    with pytest.raises(HandsError) as caught:
        bench.hands.do("cut", {})
    assert str(caught.value) == (
        "cut: 'path', 'stage' and 'length_m' are missing; such as: "
        'cut path="sbo" stage="monitor" length_m=0.2'
    )
    with pytest.raises(HandsError, match="turn: 'by' is missing"):
        bench.hands.do("turn", {"control": "monitor width"})


def test_a_verb_that_is_nearly_right_is_recognized(bench):
    with pytest.raises(HandsError, match="did you mean 'connect receiver'"):
        bench.hands.do("connect reciever", {"point": "course width"})


def test_where_faults_can_be_made_help_says_so(bench):
    shown = str(FaultDesk(bench.hands, {}).do("help", {})["lines"])
    assert "fault drop link instrument=MODEL after=3" in shown
