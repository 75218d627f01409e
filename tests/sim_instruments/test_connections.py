"""What the instruments are connected to."""

from __future__ import annotations

from sim_instruments.connections import Connections
from sim_instruments.geometry import Position


def test_everything_is_where_it_was_put():
    """A probe that was never connected touches nothing; moving one leaves the others."""
    there = Connections("course line", {1: "a", 2: "b"})
    there.connect_probe(2, "c")
    there.connect_receiver("course width")
    assert [there.probe(channel) for channel in (1, 2, 3)] == ["a", "c", ""]
    assert there.receiver == "course width"


def test_carried_receiver_and_meters():
    """A place is kept for the position receiver when the navigation receiver is plugged in."""
    there = Connections()
    place = Position(300.0, 10.0)
    there.carry_receiver(place)
    assert there.receiver is place
    there.connect_receiver("course line")
    there.connect_meter("counter", "course CSB")
    assert there.place == place
    assert (there.meter("counter"), there.meter("power meter")) == ("course CSB", "")
