"""What the instruments are connected to."""

from __future__ import annotations

from sim_instruments.connections import Connections


def test_everything_is_where_it_was_put():
    """A probe that was never connected touches nothing; moving one leaves the others."""
    there = Connections("course line", {1: "a", 2: "b"})
    there.connect_probe(2, "c")
    there.connect_receiver("course width")
    assert [there.probe(channel) for channel in (1, 2, 3)] == ["a", "c", ""]
    assert there.receiver == "course width"
