"""The transmitters, their controls and the feed cables: what goes into the two arrays."""

from __future__ import annotations

import cmath
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final, Literal

from sim_instruments.controls import Control, ControlLaw
from sim_instruments.morse import MODES, IdentMode, Keyer
from sim_instruments.parameters import PlantParameters
from sim_instruments.paths import CableName, Path, carrier_hz
from sim_instruments.signals import Modulation
from sim_instruments.transmitter import (
    CarrierParameters,
    ModulatorSetting,
    TransmitterParameters,
    modulation,
)

CarrierName = Literal["course", "clearance"]
CARRIERS: Final[tuple[CarrierName, ...]] = ("course", "clearance")
ALIGNMENT: Final = "course alignment"
IDENT_DEPTH: Final = "ident depth"
TONES: Final = (90, 150)
OFF: Final = 1e-6
"""What is left of a carrier that is switched off, amplitude: -120 dB."""
FEEDS: Final[Mapping[CarrierName, tuple[CableName, CableName]]] = {
    "course": (("csb", "transmitter"), ("sbo", "transmitter")),
    "clearance": (("clearance csb", "transmitter"), ("clearance sbo", "transmitter")),
}


@dataclass(frozen=True, slots=True)
class Carrier:
    """One modulated carrier at some point.

    Attributes
    ----------
    offset_hz
        From the nominal frequency, Hz.
    csb, sbo
        Complex amplitudes; 1 is what there is when all is tuned and the point is the one that
        the carrier is for.
    modulation
        Of the CSB; its tones are the SBO's too.
    """

    offset_hz: float
    csb: complex
    sbo: complex
    modulation: Modulation


def build_transmitter_controls(given: PlantParameters) -> dict[str, Control]:
    """Return the controls of one transmitter by name."""
    controls: dict[str, Control] = {}
    for carrier in CARRIERS:
        controls |= {
            f"{carrier} SBO level": Control(ControlLaw(level_db=8.0, phase_deg=0.4)),
            f"{carrier} SBO phase": Control(
                ControlLaw(level_db=0.1, phase_deg=given.transmit_phase_range_deg)
            ),
            f"{carrier} carrier power": Control(ControlLaw(level_db=6.0)),
            f"{carrier} modulation depth": Control(ControlLaw(level_db=3.0)),
            f"{carrier} modulation balance": Control(ControlLaw(ddm=0.08)),
        }
    controls[ALIGNMENT] = Control(ControlLaw(ddm=0.1))
    controls[IDENT_DEPTH] = Control(ControlLaw(level_db=8.0))
    return controls


class TransmitterSide:
    """Both transmitters and the feeds; not safe on its own, the plant locks it.

    Attributes
    ----------
    active
        The transmitter that feeds the arrays: 1 or 2.
    ident_mode
        How both key their ident.
    tones_off
        Tones that both are switched not to make, Hz.
    """

    def __init__(self, given: PlantParameters, paths: Mapping[CableName, Path]) -> None:
        self._given = given
        self._paths = paths
        self.active = 1
        self._off: set[CarrierName] = set()
        self.tones_off: set[int] = set()
        self.ident_mode: IdentMode = "continuous" if given.ident_depth else "code"
        if given.ident_suppressed:
            self.ident_mode = "off"
        self._controls = {
            number: build_transmitter_controls(given) for number in range(1, given.transmitters + 1)
        }
        frequency_hz = carrier_hz(given)
        self._loss = {
            name: abs(paths[name].gain(frequency_hz)) for pair in FEEDS.values() for name in pair
        }

    @property
    def controls(self) -> dict[str, Control]:
        """Controls of the active transmitter by name."""
        return self._controls[self.active]

    def select(self, number: int) -> None:
        """Let the other transmitter feed the arrays; ValueError when there is none."""
        if number not in self._controls:
            raise ValueError(f"no transmitter {number}; there are {len(self._controls)}")
        self.active = number

    def switch(self, carrier: str, *, on: bool) -> None:
        """Switch the course or the clearance carrier on or off; ValueError for any other word."""
        for known in CARRIERS:
            if carrier == known:
                (self._off.discard if on else self._off.add)(known)
                return
        raise ValueError(f"no carrier {carrier!r}; there are {' and '.join(CARRIERS)}")

    def switch_tone(self, tone: int, *, on: bool) -> None:
        """Switch the 90 or the 150 Hz tone of all modulators on or off; ValueError for another."""
        if tone not in TONES:
            raise ValueError(f"no tone of {tone} Hz; there are {' and '.join(map(str, TONES))}")
        (self.tones_off.discard if on else self.tones_off.add)(tone)

    def key_ident(self, mode: str) -> None:
        """Key the ident in code, continuously or not at all; ValueError for any other word."""
        for known in MODES:
            if mode == known:
                self.ident_mode = known
                return
        raise ValueError(f"an ident is not keyed {mode!r}; {', '.join(MODES)} can be")

    def emission(self, name: CarrierName) -> Carrier:
        """Return a carrier as it leaves its feed cables: C and S are 1 when all is tuned."""
        mine = self._carrier(name)
        controls = self.controls
        power = 10 ** (mine.power_db / 20) * controls[f"{name} carrier power"].gain
        if name in self._off:
            power *= OFF
        csb_feed, sbo_feed = FEEDS[name]
        sbo_error = cmath.rect(10 ** (mine.sbo_level_db / 20), math.radians(mine.sbo_phase_deg))
        sbo = controls[f"{name} SBO level"].gain * controls[f"{name} SBO phase"].gain * sbo_error
        return Carrier(
            self.offset_hz(name),
            power * self._through(csb_feed),
            power * sbo * self._through(sbo_feed),
            self._modulation(name, mine),
        )

    def offset_hz(self, name: CarrierName) -> float:
        """Return the frequency of a carrier less the nominal frequency, Hz."""
        sign = 1 if name == "course" else -1
        return sign * self._given.carrier_offset_hz + self._carrier(name).carrier_error_hz

    def leak(self) -> float:
        """Return the part of the course CSB that the array's feed adds to SBO: half its DDM."""
        return (self._given.alignment_ddm + self.controls[ALIGNMENT].added_ddm) / 2

    def _transmitter(self) -> TransmitterParameters:
        return self._given.tx1 if self.active == 1 else self._given.tx2

    def _carrier(self, name: CarrierName) -> CarrierParameters:
        given = self._transmitter()
        return given.course if name == "course" else given.clearance

    def _modulation(self, name: CarrierName, mine: CarrierParameters) -> Modulation:
        given = self._transmitter()
        setting = ModulatorSetting(
            abs(self.controls[f"{name} modulation depth"].gain),
            self.controls[f"{name} modulation balance"].added_ddm,
            abs(self.controls[IDENT_DEPTH].gain),
        )
        keyer = Keyer(
            self._given.ident,
            given.ident_dot_s,
            given.ident_repeat_s,
            self.ident_mode,
            given.ident_late_s,
        )
        made = modulation(given, mine, setting, keyer, self._given.ident_depth)
        if self.ident_mode == "off":
            made = replace(made, ident_depth=0.0)
        return made.without(self.tones_off) if self.tones_off else made

    def _through(self, name: CableName) -> complex:
        return self._paths[name].gain(carrier_hz(self._given)) / self._loss[name]
