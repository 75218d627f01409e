"""What has to be connected to a cabinet's socket, and how it is asked for."""

from __future__ import annotations

import pytest

from daq.station import Point
from procedures.connecting import Connected


def point(name: str, quantity: str, instrument: str, port: str = "course CSB") -> Point:
    given = {"name": name, "quantity": quantity, "instrument": instrument, "port": port}
    return Point.model_validate(given)


@pytest.mark.parametrize(
    ("quantity", "verb"),
    [
        ("power", "connect power meter"),
        ("frequency", "connect counter"),
        ("sdm", "connect receiver"),
        ("ddm", "connect receiver"),
    ],
)
def test_the_instrument_is_connected_to_the_socket_by_what_it_reads(
    quantity: str, verb: str
) -> None:
    """Also where it is the instrument's only point: nothing says that it is there already."""
    only = point("a", quantity, "meter")
    move = Connected([only]).move_to(only)
    assert move is not None
    assert (move.action.verb, dict(move.action.arguments)) == (verb, {"point": "course CSB"})
    assert "'course CSB'" in move.text


def test_nothing_is_asked_twice_in_a_row() -> None:
    first, second = point("a", "power", "meter"), point("b", "power", "meter", "clearance CSB")
    connected = Connected([first, second])
    connected.moved_to(first)
    assert connected.move_to(first) is None
    assert connected.move_to(second) is not None
