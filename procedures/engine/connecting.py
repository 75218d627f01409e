"""Which instrument is on which point: what has to be asked before a point can be read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from daq.roles import Action
from daq.station import Point
from daq.station_ground import FieldPlace


@dataclass(frozen=True, slots=True)
class Move:
    """Something to be connected or carried, in words and for hands."""

    text: str
    action: Action


@dataclass
class Connected:
    """What each input of each instrument is on, as far as this run has asked for it."""

    points: Sequence[Point]
    _on: dict[tuple[str, str], str] = field(default_factory=dict)

    def move_to(self, point: Point) -> Move | None:
        """Return what has to be done before `point` can be read; None when nothing has."""
        if self._on.get((point.instrument, point.channel)) == point.name:
            return None
        if point.place is not None:
            return carry(point, point.place)
        if point.port:
            return _connect_to_port(point)
        if self._has_its_own_input(point):
            return None
        if point.quantity == "ddm" and not point.channel:
            return Move(
                f"Connect the {point.instrument} to '{point.name}'.",
                Action("connect receiver", {"point": point.name}),
            )
        channel = f" channel {point.channel}" if point.channel else ""
        return Move(
            f"Put the probe of {point.instrument}{channel} on '{point.name}'.",
            Action("connect probe", {"point": point.name, "channel": point.channel}),
        )

    def moved_to(self, point: Point) -> None:
        """Remember that the instrument is on `point` now."""
        self._on[point.instrument, point.channel] = point.name

    def _has_its_own_input(self, point: Point) -> bool:
        place = (point.instrument, point.channel)
        return sum((p.instrument, p.channel) == place for p in self.points) == 1


_CONNECTS: Final[Mapping[str, str]] = {
    "power": "connect power meter",
    "frequency": "connect counter",
}
"""Quantity -> how its instrument is connected; a navigation receiver reads all others."""


def _connect_to_port(point: Point) -> Move:
    return Move(
        f"Connect the {point.instrument} to '{point.port}'.",
        Action(_CONNECTS.get(point.quantity, "connect receiver"), {"point": point.port}),
    )


def carry(point: Point, place: FieldPlace) -> Move:
    """Return the request to carry the instrument of `point` to a place in the field."""
    return Move(
        f"Carry the {point.instrument} to '{point.name}': {place.in_words}.",
        Action("carry receiver", place.arguments),
    )
