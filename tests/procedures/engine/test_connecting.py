"""What has to be connected or carried before a point is read."""

import pytest

from daq.station import Point
from daq.station_ground import FieldPlace
from procedures.engine.connecting import Connected, carry


def point(name: str, **more: object) -> Point:
    return Point.model_validate({"name": name, "quantity": "ddm", "instrument": "receiver", **more})


LINE, WIDTH = point("course line"), point("course width")
OUT = point("edge", place={"along": "400 m", "lateral": "14 m"})
WALKED = point("traverse")
SCOPE = Point(name="IF", quantity="vpp", instrument="scope", channel="1")
ALL = (LINE, WIDTH, OUT, WALKED, SCOPE)


def test_a_point_with_an_input_of_its_own_is_not_asked_for():
    assert Connected(ALL).move_to(SCOPE) is None


def test_a_shared_receiver_is_moved_and_then_stays():
    connected = Connected(ALL)
    move = connected.move_to(WIDTH)
    assert move is not None
    assert (move.action.verb, move.action.arguments) == (
        "connect receiver",
        {"point": "course width"},
    )
    connected.moved_to(WIDTH)
    assert connected.move_to(WIDTH) is None
    assert connected.move_to(LINE) is not None


def test_a_point_with_a_place_is_carried_to_even_if_it_is_the_only_one():
    move = Connected((OUT,)).move_to(OUT)
    assert move is not None
    assert move.action.verb == "carry receiver"
    assert move.action.arguments == {"along_m": 400.0, "lateral_m": 14.0}
    assert "14.00 m to the 150 Hz side" in move.text


def test_a_shared_probe_is_named_with_its_channel():
    other = SCOPE.model_copy(update={"name": "other IF"})
    move = Connected((SCOPE, other)).move_to(other)
    assert move is not None
    assert move.text == "Put the probe of scope channel 1 on 'other IF'."


def test_carrying_names_the_point_and_the_place():
    move = carry(WALKED, FieldPlace.at_azimuth(2000.0, -20.0))
    assert move.text == ("Carry the receiver to 'traverse': 2000 m out, 20.00° to the 90 Hz side.")


def at_port(name: str, quantity: str, port: str = "course CSB") -> Point:
    return point(name, quantity=quantity, instrument="meter", port=port)


@pytest.mark.parametrize(
    ("quantity", "verb"),
    [
        ("power", "connect power meter"),
        ("frequency", "connect counter"),
        ("sdm", "connect receiver"),
        ("ddm", "connect receiver"),
    ],
)
def test_a_socket_is_asked_for_by_what_is_read_there_even_if_it_is_the_only_one(quantity, verb):
    only = at_port("a", quantity)
    move = Connected((only,)).move_to(only)
    assert move is not None
    assert (move.action.verb, move.action.arguments) == (verb, {"point": "course CSB"})
    assert "'course CSB'" in move.text


def test_a_meter_at_a_socket_stays_until_another_is_read():
    first, second = at_port("a", "power"), at_port("b", "power", "clearance CSB")
    connected = Connected((first, second))
    connected.moved_to(first)
    assert connected.move_to(first) is None
    assert connected.move_to(second) is not None
