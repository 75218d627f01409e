"""Where the receiver stands: typed, by marks from a file, or by a position receiver.

A traverse is walked here; one that was driven comes from a file (`procedures.steps.driven`). Either
way it ends as readings at places.

Positions are seen from the middle of the array (`daq.station_ground`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import cast

from daq.errors import InputError, Refused
from daq.log.entry import Body
from daq.measurement import Measurement
from daq.position import Position
from daq.roles import PositionReceiver
from daq.station_ground import FieldPlace, Positions
from procedures.engine.bench import Bench
from procedures.engine.connecting import carry
from procedures.trims.drive_file import antenna_of
from procedures.trims.marks import Marks, read_marks
from procedures.trims.place import Offset, offset_of


@dataclass(frozen=True, slots=True)
class Placed:
    """A reading at a place."""

    at: Offset
    reading: Measurement


@dataclass(frozen=True, slots=True)
class Taken:
    """The readings of one traverse, and what the positions of all of them have in common.

    Attributes
    ----------
    placed
        In the order in which they were taken.
    u_common_place_m
        Standard uncertainty to the side of the error that all positions share.
    """

    placed: Sequence[Placed]
    u_common_place_m: float


def marks_of(bench: Bench, key: str, positions: Positions) -> Marks | None:
    """Return the marks of the station's file; None where places are planned without one.

    The marks are kept in the log, so that a resumed run goes to the same places.

    Raises
    ------
    Refused
        The file cannot be used.
    """
    if positions.source != "file":
        return None
    path = bench.station.path.parent / positions.file

    def live() -> Body:
        try:
            marks = read_marks(path)
        except InputError as error:
            raise Refused(str(error)) from error
        return {"axis": marks.axis, "position": list(marks.position)}

    body = bench.journal.outcome(key, {"do": "marks", "file": positions.file}, live)
    return Marks.from_body(body)


@dataclass(frozen=True, slots=True)
class Walk:
    """How the receiver of one point is carried from place to place, and how that is known."""

    bench: Bench
    point: str
    positions: Positions

    def read(self, key: str, planned: FieldPlace, label: str) -> Placed:
        """Have the receiver carried to a place and read it there; raises as `go` does."""
        at = self.go(key, planned)
        return Placed(at, self.bench.measure(f"{key}/ddm", self.point, label=label))

    def go(self, key: str, planned: FieldPlace) -> Offset:
        """Have the receiver carried to a place and return where it stands.

        Raises
        ------
        Refused
            It was not done, or the position receiver's fix is not of a kind that is accepted.
        BenchError
            The position receiver failed and was not mended.
        """
        match self.positions.source:
            case "typed":
                return self._typed(key, planned)
            case "file":
                self.bench.carry(f"{key}/carry", self.point, planned)
                return Offset(*planned.offset_m)
            case "position receiver":
                self.bench.carry(f"{key}/carry", self.point, planned)
                return self._located(key)

    def _typed(self, key: str, planned: FieldPlace) -> Offset:
        """Carry and type in one prompt: the number is the offset or azimuth really taken."""
        point = self.bench.station.point(self.point)
        move = carry(point, planned)
        if planned.azimuth_deg is not None and planned.radius_m is not None:
            what, unit, suggestion = "azimuth", "deg", planned.azimuth_deg
        else:
            what, unit, suggestion = "offset from the centreline", "m", planned.offset_m[1]
        taken = self.bench.number(
            f"{key}/position",
            f"{move.text} Enter the {what} really taken, positive on the 150 Hz side.",
            unit=unit,
            suggestion=suggestion,
            action=move.action,
        )
        self.bench.carried(point)
        if unit == "deg":
            return Offset(*FieldPlace.at_azimuth(planned.radius_m or 0.0, taken).offset_m)
        return Offset(planned.offset_m[0], taken)

    def _located(self, key: str) -> Offset:
        antenna = antenna_of(self.bench.station.site)
        if antenna is None:
            raise Refused(
                "The station file has no table [site], so a position receiver's latitude and "
                "longitude are no offset from the course line.",
                hint="give latitude, longitude and course there, or type positions.",
            )
        position = locate(self.bench, f"{key}/located", self.positions.instrument)
        if position.fix not in self.positions.fixes:
            raise Refused(
                f"The position receiver has a fix of the kind '{position.fix}'; this traverse "
                f"accepts {' or '.join(self.positions.fixes)}.",
                hint="wait for a better fix, or type positions against marks on the ground.",
            )
        return offset_of(antenna, position.latitude_deg, position.longitude_deg)


def locate(bench: Bench, key: str, alias: str) -> Position:
    """Return where a position receiver is, journalled.

    Raises
    ------
    Refused
        The instrument of that name does not tell positions.
    BenchError
        It failed and was not mended.
    """
    instrument = bench.instruments[alias]
    if not callable(getattr(instrument, "position", None)):
        raise Refused(
            f"'{alias}' is no position receiver.",
            hint="name an instrument of class 'position receiver' in the station file.",
        )
    receiver = cast("PositionReceiver", instrument)
    body = bench.journal.outcome(
        key,
        {"do": "locate", "instrument": alias},
        lambda: bench.patiently(key, lambda: receiver.position().to_body()),
    )
    return Position.from_body(body)


def spread(reach: float, places: int) -> Sequence[float]:
    """Return `places` numbers from -`reach` to `reach`, evenly apart."""
    return [reach * (2.0 * n / (places - 1) - 1.0) for n in range(places)]
