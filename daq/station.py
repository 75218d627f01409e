"""A station: one localizer, its equipment, its instruments and its conventions, from a TOML file.

Every value in the file is written as people say it (``"109.35 MHz"``, ``"1.30 m"``); every
attribute here is SI and carries its unit in its name. A fault in the file is told with file,
line, key and what was expected.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import AfterValidator, Field, PrivateAttr, model_validator

from daq.channels import check_channel
from daq.errors import StationFileError
from daq.reading import QUANTITIES
from daq.roles import InstrumentClass
from daq.station_equipment import Equipment
from daq.station_ground import CableSet, Clearance, Course, FieldPlace, Site
from daq.station_names import named_instruments, named_points
from daq.station_table import AngleDeg, Ddm, FrequencyHz, LengthM, LevelDb, Table, in_si
from daq.toml_faults import FaultsAt, check_differ, did_you_mean, not_defined
from daq.toml_file import check_toml, load_toml
from daq.units import Kind

PathName = Literal["sbo", "csb"]
CarrierName = Literal["course", "clearance"]
Stage = Literal["transmitter", "monitor"]

KIND_OF_QUANTITY: Mapping[str, Kind] = {
    "ddm": Kind.DDM,
    "sdm": Kind.RATIO,
    "depth_90": Kind.RATIO,
    "depth_150": Kind.RATIO,
    "ident_depth": Kind.RATIO,
    "tone_90": Kind.FREQUENCY,
    "tone_150": Kind.FREQUENCY,
    "frequency": Kind.FREQUENCY,
    "rf_level": Kind.LEVEL,
    "power": Kind.POWER,
    "alarm": Kind.RATIO,
    "vpp": Kind.VOLTAGE,
    "voltage": Kind.VOLTAGE,
}
"""Quantity of a test point -> kind of value (`daq.units.parse`) that its target is written in."""


class Facility(Table):
    """Table ``[station]``: what it is and where its log is kept."""

    name: str = Field(min_length=1)
    facility: Literal["localizer"] = "localizer"
    runway: str
    ident: str = Field(pattern=r"^[A-Z]{2,4}$", description="two to four capital letters")
    category: Literal["I", "II", "III"]
    frequency_hz: Annotated[FrequencyHz, AfterValidator(check_channel)] = Field(alias="frequency")
    carriers: Literal[1, 2] = 1
    transmitters: Literal[1, 2] = 1
    log: str = Field(min_length=1)


class Geometry(Table):
    """Table ``[geometry]``: distances on the ground."""

    distance_to_threshold_m: LengthM = Field(alias="distance_to_threshold", gt=0)


class Conventions(Table):
    """Table ``[conventions]``: which of several usages in the trade holds here."""

    alarm_basis: Literal["sensitivity", "width"]
    alarm_percent: float = Field(default=17.0, gt=0, lt=50)
    acceptance: Literal["simple", "guarded"] = "guarded"
    length_display: Literal["in", "cm", "ft"] = "in"


class InstrumentEntry(Table):
    """One ``[[instruments]]``: an instrument at hand and how to reach it.

    `serial` pins the instrument: another one answering there is refused.
    """

    alias: str = Field(
        pattern=r"^[a-z][a-z0-9 -]*$", description="small letters, digits, spaces and hyphens"
    )
    instrument_class: InstrumentClass = Field(alias="class")
    profile: str = Field(min_length=1)
    resource: str = Field(min_length=1)
    serial: str = ""
    calibrated: date | None = None
    calibration_due: date | None = None

    @model_validator(mode="after")
    def _due_afterwards(self) -> Self:
        done, due = self.calibrated, self.calibration_due
        if done is not None and due is not None and due < done:
            text = f"This day, {due}, is before the calibration of {done} that it follows."
            raise FaultsAt([(("calibration_due",), text)])
        return self


class Point(Table):
    """One ``[[points]]``: where a probe or the receiver is put, and what should be there.

    `target` and `adjust_to` (accepted distance from it after an adjustment) are in the SI unit
    of `quantity`; for DDM a positive target means that 150 Hz is to predominate. A point with a
    `place` is out in the field: the instrument is carried there. One with a `port` is a socket of
    the cabinet by that name, where several instruments can be connected.
    """

    name: str = Field(min_length=1)
    quantity: str
    instrument: str
    channel: str = ""
    target: float | None = None
    adjust_to: float | None = Field(default=None, gt=0)
    control: str = ""
    place: FieldPlace | None = None
    port: str = ""

    @model_validator(mode="before")
    @classmethod
    def _targets_in_si(cls, data: Any) -> Any:
        if not isinstance(data, dict):
            return data
        quantity = str(data.get("quantity", ""))
        if quantity not in QUANTITIES:
            raise FaultsAt([(("quantity",), not_defined("quantity", quantity, sorted(QUANTITIES)))])
        convert = in_si(KIND_OF_QUANTITY[quantity])
        given = {name: data[name] for name in ("target", "adjust_to") if name in data}
        converted = {}
        for name, value in given.items():
            try:
                converted[name] = convert(value)
            except ValueError as error:
                raise FaultsAt([((name,), str(error))]) from error
        return {**data, **converted}


class CablePathEntry(Table):
    """A feed or return line that may be shortened.

    Attributes
    ----------
    velocity_factor_u
        Standard uncertainty of the velocity factor. What a maker states is seldom better than the
        default; common practice, no source.
    """

    spare_m: LengthM = Field(alias="spare", ge=0)
    velocity_factor: float = Field(gt=0.3, le=1.0)
    velocity_factor_u: float = Field(default=0.01, ge=0.0, le=0.1)


class Phasing(Table):
    """One ``[phasing.NAME]``: how one SBO signal is phased against its carrier.

    Transmit phasing is done at a point out in the field, monitor phasing at a monitor channel.

    Attributes
    ----------
    carrier
        Whose CSB and SBO it is; says which cables are meant.
    set_width
        The width is set at the same point, so that both hold together; else another step does.
    switched_off
        The other carrier, off while this one is phased: where both are received they add up, and
        what is nulled is not the phase of either.
    place_phase_deg, place_phase_u_deg
        By how much SBO leads at the point when the far field is in phase: what the near field of
        the array adds there, by the station's own comparison or by computation.
    accepted_phase_deg
        How much phase may be left; judged at the end, with the uncertainty of both readings and
        of the line.
    """

    point: str
    carrier: CarrierName = "course"
    set_width: bool = True
    switched_off: CarrierName | None = None
    place_phase_deg: AngleDeg = Field(default=0.0, alias="place_phase", gt=-60, lt=60)
    place_phase_u_deg: AngleDeg = Field(default=0.0, alias="place_phase_u", ge=0)
    wanted_tone: Literal[90, 150]
    line_in: PathName
    line_stage: Stage
    line_angle_deg: AngleDeg = Field(default=90.0, alias="line_angle", gt=45, lt=135)
    line_angle_u_deg: AngleDeg = Field(default=0.0, alias="line_angle_u", ge=0)
    line_loss_db: LevelDb = Field(default=0.0, alias="line_loss", ge=0)
    line_loss_u_db: LevelDb = Field(default=0.0, alias="line_loss_u", ge=0)
    cut_stage: Stage
    null: Ddm = Field(default=0.001, gt=0)
    accepted_phase_deg: AngleDeg | None = Field(default=None, alias="accepted_phase", gt=0, lt=90)
    width_band: Ddm = Field(default=0.001, gt=0)
    max_rounds: int = Field(default=6, ge=1, le=20)
    fine_control: str
    fine_range_deg: AngleDeg = Field(alias="fine_range", gt=0)
    allowance_m: LengthM = Field(alias="allowance", ge=0)
    sbo: CablePathEntry
    csb: CablePathEntry


class WideAlarm(Table):
    """Table ``[wide_alarm]``: how the wide profile is set and what must be left off course."""

    course_control: str
    clearance_control: str = ""
    course_point: str
    clearance_points: tuple[str, ...] = ()
    off_course_minimum: Ddm = 0.155
    band: Ddm = Field(default=0.001, gt=0)


class Comparison(Table):
    """One ``[[comparisons]]``: two points that carry the same signal."""

    first: str
    second: str


class Monitor(Table):
    """Table ``[monitor]``: the channels whose DDM the baseline reads and sets, in that order.

    The channel that is phased has its own table; these are the others, such as the course line,
    both clearances and a far-field monitor.
    """

    channels: tuple[str, ...] = ()


class Simulation(Table):
    """Table ``[simulation]``: what the simulated bench is told; real stations have none.

    `plant` goes to the simulator as it is.
    """

    hands_port: int = Field(default=5099, ge=1, le=65535)
    plant: Mapping[str, Any] = Field(default_factory=dict)


class Station(Equipment):
    """One localizer and its equipment.

    `limits` states what holds here instead of a row of the tables, by the row's key. The file's
    own text and digest go into the log with every run.
    """

    station: Facility
    geometry: Geometry
    conventions: Conventions
    instruments: tuple[InstrumentEntry, ...] = Field(min_length=1)
    points: tuple[Point, ...] = ()
    comparisons: tuple[Comparison, ...] = ()
    phasing: Mapping[str, Phasing] = Field(default_factory=dict)
    monitor: Monitor = Field(default_factory=Monitor)
    wide_alarm: WideAlarm | None = None
    site: Site | None = None
    course: Course | None = None
    clearance: Clearance | None = None
    cable_sets: Mapping[str, CableSet] = Field(default_factory=dict)
    limits: Mapping[str, Mapping[str, Any]] = Field(default_factory=dict)
    simulation: Simulation = Field(default_factory=Simulation)
    _path: Path = PrivateAttr(default=Path("station.toml"))
    _text: str = PrivateAttr(default="")

    @model_validator(mode="after")
    def _names_agree(self) -> Self:
        aliases = [entry.alias for entry in self.instruments]
        points = [point.name for point in self.points]
        check_differ("The alias", aliases, lambda number: ("instruments", number, "alias"))
        check_differ("The point", points, lambda number: ("points", number, "name"))
        faults = [
            (place, not_defined(what, name, known))
            for what, known, named in (
                ("instrument", aliases, named_instruments(self)),
                ("point", points, named_points(self)),
            )
            for place, name in named
            if name not in known
        ]
        if faults:
            raise FaultsAt(faults)
        return self

    def read_from(self, path: Path, text: str) -> Self:
        """Return a copy that knows the file it was read from."""
        copy = self.model_copy()
        copy._path, copy._text = path, text  # noqa: SLF001 - its own copy
        return copy

    @property
    def path(self) -> Path:
        """The file it was read from."""
        return self._path

    @property
    def text(self) -> str:
        """The file as it was read."""
        return self._text

    @property
    def digest(self) -> str:
        """SHA-256 of the file, hex."""
        return hashlib.sha256(self._text.encode()).hexdigest()

    @property
    def log_path(self) -> Path:
        """Where the log is; relative names are relative to the station file."""
        return self._path.parent / self.station.log

    def point(self, name: str) -> Point:
        """Return a test point by name.

        Raises
        ------
        StationFileError
            There is no such point.
        """
        for point in self.points:
            if point.name == name:
                return point
        known = ", ".join(f"'{p.name}'" for p in self.points) or "none"
        raise StationFileError(
            f"there is no point '{name}' (points: {known}).",
            file=str(self._path),
            key="points",
            hint=did_you_mean(name, (p.name for p in self.points)),
        )

    def instrument(self, alias: str) -> InstrumentEntry:
        """Return an instrument's entry by alias.

        Raises
        ------
        StationFileError
            There is no such instrument.
        """
        for entry in self.instruments:
            if entry.alias == alias:
                return entry
        known = ", ".join(entry.alias for entry in self.instruments)
        raise StationFileError(
            f"there is no instrument '{alias}' (instruments: {known}).",
            file=str(self._path),
            key="instruments",
            hint=did_you_mean(alias, (entry.alias for entry in self.instruments)),
        )


def load_station(path: Path) -> Station:
    """Read and check a station file.

    Raises
    ------
    StationFileError
        The file is missing, is not TOML, or does not describe a station.
    """
    station = load_toml(path, Station, StationFileError)
    return station.read_from(path.resolve(), path.read_text(encoding="utf-8"))


def parse_station(text: str, path: Path) -> Station:
    """Return the station that `text` describes, as if it were read from `path`.

    Resuming a run uses the text that the log holds.

    Raises
    ------
    StationFileError
        As `load_station`.
    """
    return check_toml(text, Station, StationFileError, name=str(path)).read_from(path, text)
