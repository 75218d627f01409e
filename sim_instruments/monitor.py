"""The monitor's channels and controls: what each point carries, and what each control does.

Amplitudes are normalised so that the carrier that a channel is for has amplitude 1.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from sim_instruments.controls import Control, ControlLaw
from sim_instruments.parameters import PlantParameters

CHANNELS: Final = ("course line", "course width", "clearance 90", "clearance 150")
IF_POINTS: Final = tuple(f"{channel} IF" for channel in CHANNELS)
DETECTOR_POINTS: Final = tuple(f"{channel} detector" for channel in CHANNELS)
PHASE_DETECTOR: Final = "phase detector"
VOLT_POINTS: Final = (*IF_POINTS, *DETECTOR_POINTS, PHASE_DETECTOR)

FINE_PHASE: Final = "monitor SBO phase"
WIDTH: Final = "monitor width"
PHASE_DETECTOR_LEVEL: Final = "phase detector level"

NOMINAL_WIDTH_DDM: Final = 0.155
CLEARANCE_SBO_SHARE: Final = 0.105
"""S/C of the clearance signal at its monitor points: DDM 0.210."""
LINE_SBO_SHARE: Final = 0.0002
"""S/C that is left on the course line: DDM 0.0004."""
NOMINAL_VPP: Final = 1.5


def build_controls(given: PlantParameters, rng: np.random.Generator) -> dict[str, Control]:
    """Return the monitor's controls by name; IF levels start off by tens of per cent."""
    controls = {
        FINE_PHASE: Control(ControlLaw(level_db=0.1, phase_deg=given.fine_range_deg)),
        WIDTH: Control(
            ControlLaw(given.width_range_db, given.width_range_db * given.width_coupling_deg_per_db)
        ),
    }
    for name in (*(f"{point} level" for point in IF_POINTS), PHASE_DETECTOR_LEVEL):
        found = rng.uniform(0.65, 0.85) if rng.random() < 0.5 else rng.uniform(1.15, 1.35)
        law = ControlLaw(level_db=16.0)
        off = given.if_level_spread * 20 * math.log10(found) / law.level_db
        controls[name] = Control(law, position=0.5 + off)
    return controls


def if_volts_per_unit(share: float) -> float:
    """Return volts of carrier that make 1.5 V peak to peak of AM with m = 0.2 and S/C = `share`.

    The highest point of the envelope is found on the waveform itself; it comes every 1/30 s.
    """
    t_s = np.arange(3000) / 90_000
    s90, s150 = np.sin(2 * np.pi * 90 * t_s), np.sin(2 * np.pi * 150 * t_s)
    envelope = 1 + (0.2 - share) * s90 + (0.2 + share) * s150
    return NOMINAL_VPP / (2 * float(envelope.max()))
