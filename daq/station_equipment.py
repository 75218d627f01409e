"""Tables of a station file for its equipment: transmitters, alarms, profiles, routine work.

A station that has no such table has nothing of the kind to check, and the procedures skip it.
"""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import BeforeValidator, Field, model_validator

from daq.station_table import Ddm, FrequencyHz, LevelDb, Ratio, Table, in_si
from daq.toml_faults import check_differ
from daq.units import Kind

PowerW = Annotated[float, BeforeValidator(in_si(Kind.POWER))]
TimeS = Annotated[float, BeforeValidator(in_si(Kind.TIME))]
Carrier = Literal["course", "clearance"]
AlarmKind = Literal[
    "course shift", "wide", "narrow", "clearance", "power", "sum of depths", "ident"
]
ProfileKind = Literal["wide", "narrow", "shifted", "low power", "phasing"]


class CarrierChecks(Table):
    """One ``[[transmitter.carriers]]``: where a carrier is measured at the transmitter.

    Attributes
    ----------
    assigned_hz
        Frequency that this carrier has to have; the channel's when None.
    frequency_point, power_point, detector_point
        Points of the station file; the detector's is an oscilloscope's. Empty: not measured.
    normal_power_w
        What a power meter shows there when all is well, carrier and sidebands.
    """

    carrier: Carrier
    assigned_hz: FrequencyHz | None = Field(default=None, alias="assigned", gt=0)
    frequency_point: str = ""
    power_point: str = ""
    detector_point: str = ""
    normal_power_w: PowerW | None = Field(default=None, alias="normal_power", gt=0)

    @model_validator(mode="after")
    def _power_has_a_normal(self) -> Self:
        if self.power_point and self.normal_power_w is None:
            raise ValueError("a power_point needs normal_power, what is shown when all is well")
        return self


class IdentCheck(Table):
    """Table ``[transmitter.ident]``: how the identification is caught.

    Attributes
    ----------
    point
        Detector at which it is looked for; a record there should last for two transmissions.
    records
        How many records are taken, one after the other: together they should last for three or
        four transmissions.
    suppressed
        Local rules have the identification off during maintenance: it is switched on for the
        measurement only. Otherwise it is keyed all along and stays so.
    unequal
        Accepted difference of the longest and the shortest interval between transmissions, as a
        part of their mean. The standard has no number for "about equal".
    """

    point: str
    records: int = Field(default=20, ge=1, le=400)
    suppressed: bool = True
    unequal: Ratio = Field(default=0.1, gt=0, lt=1)


class TransmitterChecks(Table):
    """Table ``[transmitter]``: what is measured of each transmitter, and limits of the station.

    Attributes
    ----------
    records
        Records of the detector that are averaged.
    detector_u
        Standard uncertainty of a depth that the detector's law and the record's scale add, as a
        part of the depth; both tones share it, and the balance has none of it.
    power_band_db
        Accepted distance of the power from normal.
    balance
        Accepted DDM of CSB alone.
    alike_power_db, alike_depth, alike_balance
        How far two transmitters may differ.
    both_point
        An oscilloscope's point at which one detector sees both carriers, the clearance carrier some
        6 dB below the course carrier: there the phase of each tone is compared between them. Empty:
        not measured.
    """

    carriers: tuple[CarrierChecks, ...] = Field(min_length=1)
    records: int = Field(default=4, ge=1, le=100)
    detector_u: Ratio = Field(default=0.005, ge=0, lt=0.5)
    power_band_db: LevelDb = Field(default=0.5, alias="power_band", gt=0)
    balance: Ddm = Field(default=0.004, gt=0)
    alike_power_db: LevelDb = Field(default=0.5, alias="alike_power", gt=0)
    alike_depth: Ratio = Field(default=0.01, gt=0)
    alike_balance: Ddm = Field(default=0.004, gt=0)
    both_point: str = ""
    ident: IdentCheck | None = None


class AlarmEntry(Table):
    """One ``[[alarms.entries]]``: a parameter that the monitor has to alarm on.

    Attributes
    ----------
    point, control
        Where it is read and with what it is made to leave its limits.
    carrier
        Whose it is; a station with one carrier skips those of the clearance carrier.
    side
        Of a course shift: the tone that is made to predominate.
    setting
        What the alarm has to come at, in the point's SI unit, where the standards leave it to the
        station; for power a part of normal.
    within_s
        Time in which the alarm has to come where it is not the category's: a far-field monitor,
        which aircraft disturb, takes longer.
    also
        Other points that are verified after the control was restored.
    """

    name: str = Field(min_length=1, pattern=r"^[^/]+$", description="a name without a slash")
    kind: AlarmKind
    point: str = ""
    control: str = ""
    carrier: Carrier = "course"
    side: Literal[90, 150] = 150
    setting: Ratio | None = Field(default=None, gt=0)
    within_s: TimeS | None = Field(default=None, alias="within", gt=0)
    also: tuple[str, ...] = ()

    @model_validator(mode="after")
    def _is_whole(self) -> Self:
        if self.kind != "ident" and not (self.point and self.control):
            raise ValueError(f"alarm '{self.name}' needs point and control")
        if self.kind == "sum of depths" and self.setting is None:
            raise ValueError(f"alarm '{self.name}' needs setting, the sum at which it has to come")
        return self


class Alarms(Table):
    """Table ``[alarms]``: the monitor's alarm unit, and each parameter that it watches.

    Attributes
    ----------
    state_point
        A point at which the alarm unit is asked; see `procedures.steps.alarm_unit`.
    steps
        How many steps there are from normal to the computed setting while walking.
    poll_s
        From one look at the alarm unit to the next while a step is held.
    """

    state_point: str
    steps: int = Field(default=12, ge=3, le=100)
    poll_s: TimeS = Field(default=0.5, alias="poll", gt=0, le=5)
    entries: tuple[AlarmEntry, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _names_differ(self) -> Self:
        names = [entry.name for entry in self.entries]
        check_differ("The alarm", names, lambda number: ("entries", number, "name"))
        return self


class ProfileSetting(Table):
    """One control of a profile and the point at which it is watched.

    `target` is in the point's SI unit and takes the place of what the kind of profile says.
    """

    point: str
    control: str
    target: float | None = None
    band: float = Field(default=0.001, gt=0)


class ProfileEntry(Table):
    """One ``[[flight_profiles]]``: a state that is set for the flight inspection.

    Attributes
    ----------
    settings
        What is turned, in order; the first decides about the others' ratio (wide, narrow).
    side
        Of a shifted course: the tone that is made to predominate.
    phasing
        Of a phasing verification: which ``[phasing.NAME]``.
    """

    name: str = Field(min_length=1, pattern=r"^[^/]+$", description="a name without a slash")
    kind: ProfileKind
    settings: tuple[ProfileSetting, ...] = ()
    side: Literal[90, 150] = 150
    phasing: str = ""

    @model_validator(mode="after")
    def _is_whole(self) -> Self:
        if self.kind == "phasing" and not self.phasing:
            raise ValueError(f"profile '{self.name}' needs phasing, the name of a [phasing.NAME]")
        if self.kind != "phasing" and not self.settings:
            raise ValueError(f"profile '{self.name}' needs settings")
        return self


class RoutineEntry(Table):
    """One ``[[maintenance.routine]]``: work that comes again, and how often."""

    name: str = Field(min_length=1)
    procedure: str = Field(min_length=1)
    interval: str = Field(min_length=1)
    source: str = ""


class Maintenance(Table):
    """Table ``[maintenance]``: intervals; see `procedures.history.due` for the defaults."""

    routine: tuple[RoutineEntry, ...] = ()


class Routine(Table):
    """Table ``[routine]``: what the routine readings look at and what they allow.

    Attributes
    ----------
    points
        Points that are read; empty: every point with a target that needs no carrying.
    stay_ddm, stay_part
        How far a reading may lie from its target between visits: DDM, and other quantities as a
        part of the target.
    drift_ddm, drift_part
        How far it may lie from the reference value.
    offer
        Ask about an adjustment also where a reading is within its limits.
    """

    points: tuple[str, ...] = ()
    stay_ddm: Ddm = Field(default=0.01, gt=0)
    stay_part: Ratio = Field(default=0.1, gt=0, lt=1)
    drift_ddm: Ddm = Field(default=0.01, gt=0)
    drift_part: Ratio = Field(default=0.1, gt=0, lt=1)
    offer: bool = False


class Equipment(Table):
    """The optional tables of this module together; `daq.station.Station` is one of these."""

    transmitter: TransmitterChecks | None = None
    alarms: Alarms | None = None
    flight_profiles: tuple[ProfileEntry, ...] = ()
    maintenance: Maintenance | None = None
    routine: Routine | None = None

    @model_validator(mode="after")
    def _profiles_differ(self) -> Self:
        names = [profile.name for profile in self.flight_profiles]
        check_differ(
            "the flight profile", names, lambda number: ("flight_profiles", number, "name")
        )
        return self
