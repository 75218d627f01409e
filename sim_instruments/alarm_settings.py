"""Set points of the monitor's alarm unit."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class AlarmSettings:
    """The keys of ``[simulation.plant.alarms]``.

    Attributes
    ----------
    course_shift_ddm
        Largest magnitude on the course line; 7.5 m of 0.00145 DDM/m (category II).
    width_wide_ddm, width_narrow_ddm
        Smallest and largest magnitude at the width channel; 17 per cent of sensitivity.
    clearance_ddm
        Smallest magnitude at the clearance channels.
    power_percent
        Smallest power of either carrier, per cent of nominal.
    sdm_low, sdm_high
        Range of the sum of depths, ratio.
    ident_depth
        Smallest depth of the ident; 0: the ident is not monitored.
    far_field_ddm
        Largest magnitude at the far-field monitor.
    delay_s
        How long a parameter has to be out before its alarm comes, s.
    far_field_delay_s
        The same of the far-field monitor, which aircraft disturb.
    """

    course_shift_ddm: float = 0.0109
    width_wide_ddm: float = 0.1287
    width_narrow_ddm: float = 0.1814
    clearance_ddm: float = 0.165
    power_percent: float = 80.0
    sdm_low: float = 0.36
    sdm_high: float = 0.44
    ident_depth: float = 0.0
    far_field_ddm: float = 0.0109
    delay_s: float = 1.5
    far_field_delay_s: float = 70.0

    def __post_init__(self) -> None:
        if min(self.delay_s, self.far_field_delay_s) < 0:
            raise ValueError("simulation.plant.alarms: a delay is not negative")
