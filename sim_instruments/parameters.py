"""What the simulated plant is told: the keys of a station file's ``[simulation.plant]`` table."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from sim_instruments.alarm_settings import AlarmSettings
from sim_instruments.feeds import FeedCondition
from sim_instruments.geometry import Site
from sim_instruments.morse import LETTERS
from sim_instruments.sheet import Sheet
from sim_instruments.tables import read_table
from sim_instruments.transmitter import TransmitterParameters, second_transmitter


@dataclass(frozen=True, slots=True)
class PlantParameters:
    """A localizer as it is found. Every field is a key of the table; all have a default.

    Attributes
    ----------
    seed
        Of everything random in the plant.
    frequency_hz
        Mean of the two carriers, Hz.
    carrier_offset_hz
        Course carrier above, clearance carrier below the mean, Hz.
    phase_error_deg
        Phase of SBO relative to CSB at the width channel at the start, fine control centred;
        positive = SBO leads. Built into the length of the monitor's SBO return line.
    width_ratio
        Width-channel DDM that phase zero would give at the start, over 0.155.
    wanted_tone
        Tone that predominates at the width channel when the sense is right: 90 or 150.
    velocity_factor, cable_loss_db_per_m
        Of every cable, ratio and dB/m.
    transmitter_length_m, monitor_length_m
        Feed cables and monitor return lines before any difference between SBO and CSB, m.
    spare_m
        Slack in each cable: the most that can be cut off before it no longer reaches, m.
    line_angle_deg, line_loss_db
        Nominal angle and loss of the quarter-wave line.
    line_angle_error_deg, line_loss_error_db
        What the line at hand has on top of that.
    fine_range_deg, width_range_db
        Ranges of the monitor's fine phase and width controls, stop to stop.
    width_coupling_deg_per_db
        Phase that the width control adds with each dB.
    receiver_noise_ddm
        Standard deviation of DDM in one receiver reading of 0.1 s, ratio.
    phase_drift_deg, level_drift_db
        Standard deviation of the SBO path's drift after one hour.
    clearance_in_course_db, course_in_clearance_db
        How far down the other carrier is in a monitor channel, dB.
    ident_depth
        Depth of a continuously keyed ident, ratio; 0: the transmitters key theirs.
    ident_suppressed
        1: the transmitters are found with their ident switched off, as for maintenance; 0: keyed.
    transmitters
        How many there are: 1 or 2.
    ident
        What they key.
    course_power_w, clearance_power_w
        Nominal carrier power at the transmitter, W.
    transmit_phase_error_deg, clearance_phase_error_deg
        Phase of SBO relative to CSB at the course and the clearance array at the start, transmit
        phase controls centred; positive = SBO leads. Built into the length of the SBO feeds; the
        monitor's return line is such that `phase_error_deg` holds all the same.
    transmit_phase_range_deg
        Range of the transmitters' two SBO phase controls, stop to stop.
    alignment_ddm
        DDM on the course line at the start, with the alignment control centred.
    threshold_m
        From the array to the threshold, m.
    threshold_sensitivity_ddm_per_m
        Displacement sensitivity there when all is tuned.
    far_field_monitor_m
        From the array to the far-field monitor on the course line, m; 0: there is none.
    if_level_spread
        How far off the IF levels are found, over the 15 to 35 per cent that an installation
        leaves; 0: not at all.
    visit
        Number of the visit: other noise and other hands' errors for another number, the same plant.
    position_error_m
        Standard deviation of where hands put the receiver, along and lateral, m.
    tx1, tx2, site, sheet, feeds, alarms
        Tables of their own: `TransmitterParameters`, `Site`, `Sheet`,
        `FeedCondition`, `AlarmSettings`.
    """

    seed: int = 1
    frequency_hz: float = 109.35e6
    carrier_offset_hz: float = 4750.0
    phase_error_deg: float = 0.0
    width_ratio: float = 1.0
    wanted_tone: int = 150
    velocity_factor: float = 0.82
    cable_loss_db_per_m: float = 0.07
    transmitter_length_m: float = 12.0
    monitor_length_m: float = 18.0
    spare_m: float = 1.32
    line_angle_deg: float = 90.0
    line_loss_db: float = 0.35
    line_angle_error_deg: float = 0.0
    line_loss_error_db: float = 0.0
    fine_range_deg: float = 40.0
    width_range_db: float = 26.0
    width_coupling_deg_per_db: float = 1.0
    receiver_noise_ddm: float = 0.0003
    phase_drift_deg: float = 0.1
    level_drift_db: float = 0.003
    clearance_in_course_db: float = 40.0
    course_in_clearance_db: float = 30.0
    ident_depth: float = 0.0
    ident_suppressed: int = 0
    transmitters: int = 2
    ident: str = "ITN"
    course_power_w: float = 15.0
    clearance_power_w: float = 6.0
    transmit_phase_error_deg: float = 0.0
    clearance_phase_error_deg: float = 0.0
    transmit_phase_range_deg: float = 40.0
    alignment_ddm: float = 0.0
    threshold_m: float = 3120.0
    threshold_sensitivity_ddm_per_m: float = 0.00145
    far_field_monitor_m: float = 4200.0
    if_level_spread: float = 1.0
    visit: int = 0
    position_error_m: float = 0.03
    tx1: TransmitterParameters = field(default_factory=TransmitterParameters)
    tx2: TransmitterParameters = field(default_factory=second_transmitter)
    site: Site = field(default_factory=Site)
    sheet: Sheet = field(default_factory=Sheet)
    feeds: FeedCondition = field(default_factory=FeedCondition)
    alarms: AlarmSettings = field(default_factory=AlarmSettings)

    def __post_init__(self) -> None:
        if self.wanted_tone not in (90, 150):
            raise ValueError(f"simulation.plant.wanted_tone: 90 or 150, not {self.wanted_tone}")
        for key in ("phase_error_deg", "transmit_phase_error_deg", "clearance_phase_error_deg"):
            if not -180 <= getattr(self, key) <= 180:
                raise ValueError(
                    f"simulation.plant.{key}: -180 to 180 degrees, not {getattr(self, key)}"
                )
        if self.transmitters not in (1, 2):
            raise ValueError(f"simulation.plant.transmitters: 1 or 2, not {self.transmitters}")
        if not self.ident or set(self.ident) - set(LETTERS):
            raise ValueError(f"simulation.plant.ident: letters A to Z, not {self.ident!r}")
        for key in ("threshold_m", "threshold_sensitivity_ddm_per_m", "course_power_w"):
            if getattr(self, key) <= 0:
                raise ValueError(f"simulation.plant.{key}: above 0, not {getattr(self, key)}")
        if not 0 < self.width_ratio < 2.5:
            raise ValueError(
                f"simulation.plant.width_ratio: above 0, below 2.5, not {self.width_ratio}"
            )
        if self.receiver_noise_ddm < 0:
            raise ValueError("simulation.plant.receiver_noise_ddm: not negative")

    @classmethod
    def from_table(cls, table: Mapping[str, object]) -> PlantParameters:
        """Return the parameters that a ``[simulation.plant]`` table states.

        Raises
        ------
        ValueError
            A key is unknown or its value is no number; the message names the key.
        """
        return read_table(cls, table, "simulation.plant")
