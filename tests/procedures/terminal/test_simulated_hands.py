"""Beside a prompt on a simulated bench: the line that makes hands do it. Elsewhere: nothing."""

from __future__ import annotations

from pathlib import Path

import pytest

from daq.roles import Action, Prompt
from daq.station import Station, parse_station
from procedures.cli.wiring import at_the_station
from procedures.terminal.simulated_hands import ToldWhatToType, is_simulated
from sim_instruments.bench import SimulatedBench
from sim_instruments.hands_link import parse_line
from tests.support.operators import Minded
from tests.support.plants import STATION, demo_station
from tests.support.served import served_bench

ACTIONS = (
    Action("connect receiver", {"point": "clearance 150"}),
    Action("connect probe", {"point": "course line IF", "channel": "1"}),
    Action("cut", {"path": "sbo", "stage": "monitor", "length_m": 0.2}),
    Action("centre control", {"control": "monitor SBO phase"}),
)


def real_station(resource: str) -> Station:
    """The demonstration's station with its receiver elsewhere."""
    text = STATION.read_text(encoding="utf-8")
    return parse_station(text.replace("ASRL./receiver.tty::INSTR", resource), STATION)


@pytest.mark.parametrize("action", ACTIONS, ids=lambda action: action.verb)
def test_the_line_beside_a_prompt_is_one_that_hands_do(action: Action) -> None:
    who = Minded()
    prompt = Prompt("k", "confirm", "Do it.", action=action)
    ToldWhatToType(who).answer(prompt)
    first, line = who.asked[0].text.split("\n")
    verb, arguments, _ = parse_line(line.partition("type there: ")[2])
    assert (first, verb) == ("Do it.", action.verb)
    SimulatedBench({}).hands.do(verb, arguments)


def test_a_prompt_without_an_act_stays_as_it_is() -> None:
    who = Minded()
    prompt = Prompt("k", "confirm", "Is it quiet?")
    ToldWhatToType(who).answer(prompt)
    assert who.asked == [prompt]


def test_a_control_that_is_watched_is_told_too(make_view) -> None:
    who = Minded()
    ToldWhatToType(who).watching(make_view(control="monitor width"))
    ToldWhatToType(who).watching(make_view(control=""))
    turned, watched = who.views
    assert turned.instruction.endswith('turn control="monitor width" by=0.02')
    assert "type there" not in watched.instruction


@pytest.mark.parametrize(
    "resource", ["TCPIP::192.0.2.7::5025::SOCKET", "ASRL/dev/ttyUSB0::INSTR", "ASRLCOM3::INSTR"]
)
def test_one_instrument_elsewhere_makes_it_a_real_station(resource: str) -> None:
    assert is_simulated(demo_station())
    assert not is_simulated(real_station(resource))


def test_a_file_without_the_table_is_a_real_station() -> None:
    text = STATION.read_text(encoding="utf-8")
    head = text.partition("[simulation]")[0]
    assert not is_simulated(parse_station(head, STATION))


def test_only_where_hands_are_served_is_anything_told(tmp_path: Path) -> None:
    who = Minded()
    with served_bench(tmp_path) as served:
        from daq.station import load_station

        station = load_station(served.station)
        assert isinstance(at_the_station(who, station), ToldWhatToType)
        elsewhere = parse_station(
            station.text.replace("ASRL./receiver.tty", "ASRL/dev/ttyUSB0"), station.path
        )
        assert at_the_station(who, elsewhere) is who
    assert at_the_station(who, station) is who
