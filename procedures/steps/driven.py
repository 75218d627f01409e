"""A traverse from the log that the receiver made while it was driven, or was storing by itself.

The technician names the file; a simulated one drives for it. Every row that is used goes into the
run's log as a reading whose source is the file's name and SHA-256, under the place that it was
averaged into; rows that may not be used go there with the reason and without being used. What is
computed is kept under the run's key, so that a resumed run does not need the file again.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from daq.errors import InputError, Refused
from daq.log.entry import Body
from daq.measurement import Measurement
from daq.roles import Action, InstrumentClass
from daq.station_ground import Positions
from daq.station_receiver_log import ReceiverLog
from procedures.engine.bench import Bench
from procedures.steps.driven_rows import Rows, place_body, report
from procedures.steps.positions import Placed, Taken
from procedures.trims.drive import Drive
from procedures.trims.drive_delay import StatedDelay
from procedures.trims.drive_file import Ground, antenna_of, read_drive
from procedures.trims.drive_places import Cut, Reduced, Span, reduce_drive
from procedures.trims.place import Offset

WALK: Final = "walk"
"""What is typed in place of a file's name when the traverse is to be walked after all."""

ATTEMPTS: Final = 3
"""How often a file may be named that cannot be used."""

OVERRUN_M: Final = 40.0
"""How far a drive goes beyond the outermost places, so that the receiver has settled there."""

REVERSED: Final = (
    "DDM falls towards the side where 150 Hz has to predominate: the sense is reversed. Look at "
    "`positive` of the receiver's log in the station file, at the side on which positions are "
    "positive, and at the station"
)
"""Nothing proves the sense of a log before it is read."""


@dataclass(frozen=True, slots=True)
class Driven(Taken):
    """A traverse that was taken from a log.

    Attributes
    ----------
    unread_deg
        Between which azimuths of the plan the log has no usable row.
    """

    unread_deg: tuple[Span, ...]


@dataclass(frozen=True, slots=True)
class DrivenTraverse:
    """One traverse that may come from a file.

    Attributes
    ----------
    bench, point, positions
        Whose run it is, the point that is read, and how positions are known.
    distance_m, on_circle
        From the antenna to its line, or the radius of its circle.
    cut
        How rows become places.
    """

    bench: Bench
    point: str
    positions: Positions
    distance_m: float
    on_circle: bool
    cut: Cut

    def take(self, key: str, label: str) -> Driven | None:
        """Return the traverse from the file that is named; None where it is to be walked.

        Raises
        ------
        Refused
            Several files in a row could not be used, the last one's fault is told; or the receiver
            that is said to make them is none of this run's.
        """
        layout = self.positions.receiver_log
        if layout is None:
            return None
        self._require_receiver(layout.receiver)
        fault = ""
        for attempt in range(1, ATTEMPTS + 1):
            names = self._named(key, label, attempt, layout, fault)
            if names is None:
                return None
            body = self._journalled(f"{key}/drive {attempt}", key, names, layout)
            fault = str(body["fault"])
            if not fault:
                return self._taken(key, label, body)
            self.bench.tell(fault)
        raise Refused(fault, hint=f"mend the file, or type '{WALK}' and walk the traverse.")

    def _require_receiver(self, alias: str) -> None:
        """Refuse a maker of logs that nobody checked the calibration of."""
        if not alias:
            return
        found = self.bench.instruments.get(alias)
        if found is None or found.instrument_class is not InstrumentClass.NAVIGATION_RECEIVER:
            raise Refused(
                f"receiver_log names the receiver '{alias}', which is no navigation receiver in "
                "the [[instruments]] of the station file.",
                hint="enter it there with its calibration; one without a port has the profile "
                "'keyed'.",
            )

    def _road(self) -> Action:
        """Return what hands drive along: the planned places, both ways, and somewhat farther."""
        far_m = self.distance_m
        low_deg, high_deg = self.cut.azimuths_deg[0], self.cut.azimuths_deg[-1]
        if self.on_circle:
            more_deg = math.degrees(OVERRUN_M / far_m)
            road = {
                "radius_m": far_m,
                "from_deg": low_deg - more_deg,
                "to_deg": high_deg + more_deg,
            }
        else:
            low_m, high_m = (far_m * math.tan(math.radians(deg)) for deg in (low_deg, high_deg))
            road = {"along_m": far_m, "from_m": low_m - OVERRUN_M, "to_m": high_m + OVERRUN_M}
        return Action(
            "drive receiver", {**{name: round(at, 2) for name, at in road.items()}, "passes": 2}
        )

    def _named(
        self, key: str, label: str, attempt: int, layout: ReceiverLog, fault: str
    ) -> list[str] | None:
        """Ask for the log, and for a track where the log has no positions of its own."""
        again = f"{fault} " if fault else ""
        log = self.bench.text(
            f"{key}/log {attempt}",
            f"{again}Traverse, {label}: name the log that the receiver made (its place is seen "
            f"from the station file), or type '{WALK}' to walk from place to place.",
            action=self._road(),
        ).strip()
        if log.lower() == WALK:
            return None
        if layout.axis:
            return [log]
        track = self.bench.text(
            f"{key}/track {attempt}",
            f"Name the position receiver's NMEA 0183 text for '{log}'.",
            action=Action("name track", {"file": log}),
        )
        return [log, track.strip()]

    def _journalled(self, step: str, key: str, names: Sequence[str], layout: ReceiverLog) -> Body:
        request = {"do": "read log", "files": list(names)}
        return self.bench.journal.outcome(step, request, lambda: self._read(key, names, layout))

    def _read(self, key: str, names: Sequence[str], layout: ReceiverLog) -> Body:
        """Read the files, put the rows into the run's log, and return what they come to."""
        folder = self.bench.station.path.parent
        log, *track = (folder / name for name in names)
        try:
            read = read_drive(log, layout, self._ground(), track=track[0] if track else None)
            reduced = self._reduced(read.drive, layout)
        except InputError as error:
            return {"fault": str(error)}
        if reduced.falls:
            return {"fault": f"{log.name}: {REVERSED}."}
        rows = Rows(self.bench, self.point, layout, read)
        places = []
        for number, cell in enumerate(reduced.places.values(), start=1):
            for row in cell.rows:
                self.bench.journal.reading(f"{key}/place {number}/ddm", rows.reading(row))
            places.append(place_body(cell, rows))
        said = {
            "fault": "",
            "positive_where": f"{layout.positive} Hz predominates, as the station file declares",
            **self._maker(layout.receiver),
        }
        return {**said, **report(read, reduced, self.positions, layout), "places": places}

    def _maker(self, alias: str) -> dict[str, object]:
        """Return which of the run's instruments made the log, for the record."""
        if not alias:
            return {}
        entry = self.bench.station.instrument(alias)
        due = "not known" if entry.calibration_due is None else entry.calibration_due.isoformat()
        identity = self.bench.instruments[alias].identity
        return {"log_of": f"{alias}: {identity}, calibration due {due}"}

    def _ground(self) -> Ground:
        antenna = antenna_of(self.bench.station.site)
        return Ground(self.distance_m, self.on_circle, antenna, self.positions.fixes)

    def _reduced(self, drive: Drive, layout: ReceiverLog) -> Reduced:
        stated = StatedDelay.of(layout)
        return reduce_drive(drive, self.cut, stated, u_place_m=self.positions.u_m)

    def _taken(self, key: str, label: str, body: Body) -> Driven:
        """Return the places that the journal holds, each kept as a measurement for the record."""
        self._keep(key, label, body)
        placed = []
        for number, place in enumerate(_mappings(body["places"]), start=1):
            at = Offset(_number(place, "along_m"), _number(place, "lateral_m"))
            measurement = Measurement.from_body(
                {**place, "quantity": "ddm", "point": self.point, "source": body["short"]}
            )
            request = {
                "do": "measure",
                "point": self.point,
                "label": f"traverse, {label}, driven, {_in_words(at, on_circle=self.on_circle)}",
            }
            self.bench.journal.outcome(f"{key}/place {number}/ddm", request, measurement.to_body)
            placed.append(Placed(at, measurement))
        unread = _mappings(body.get("unread", []))
        spans = tuple((_number(each, "from_deg"), _number(each, "to_deg")) for each in unread)
        return Driven(placed, _number(body, "u_common_place_m"), spans)

    def _keep(self, key: str, label: str, body: Body) -> None:
        late_ms, late_u_ms = (1e3 * _number(body, name) for name in ("delay_s", "delay_u_s"))
        apart = ("fault", "places", "short", "delay_s", "delay_u_s", "lag_s")
        kept = {name: value for name, value in body.items() if name not in apart}
        kept |= {"delay_milliseconds": late_ms, "delay_milliseconds_u": late_u_ms}
        self.bench.note(f"{key}/drive", f"Receiver's log, {label}", kept)
        how = "as stated"
        if body["estimated"]:
            apart_m = abs(_number(body, "hysteresis_m"))
            how = f"by both directions, which lay {apart_m:.2f} m apart"
        self.bench.tell(
            f"From {body['source']}: {body['rows_on_the_traverse']} rows, {body['passes']} passes; "
            f"values {late_ms:.0f} ± {2 * late_u_ms:.0f} ms late (k=2, {how}), corrected."
        )
        for words in _texts(body["warnings"]):
            self.bench.tell(f"NOTE: {words}.")


def _in_words(at: Offset, *, on_circle: bool) -> str:
    if on_circle:
        return f"{math.degrees(math.atan2(at.lateral_m, at.along_m)):+.2f}°"
    return f"{at.lateral_m:+.2f} m"


def _number(body: Mapping[str, object], name: str) -> float:
    return float(str(body[name]))


def _mappings(value: object) -> list[Mapping[str, object]]:
    found = value if isinstance(value, list | tuple) else []
    return [each for each in found if isinstance(each, Mapping)]


def _texts(value: object) -> list[str]:
    return [str(each) for each in value] if isinstance(value, list | tuple) else []
