"""A dual-frequency localizer and its monitor, from phasors and waveforms.

Nothing here computes a DDM: carriers with their sidebands run through cables and controls, are
radiated, are summed, and whoever wants a number has to demodulate them.
"""

from __future__ import annotations

import cmath
import math
import threading

import numpy as np

from sim_instruments.cable import Cable
from sim_instruments.clock import Clock
from sim_instruments.controls import Control, HandError, Turned
from sim_instruments.geometry import Position
from sim_instruments.monitor import CHANNELS, build_controls
from sim_instruments.parameters import PlantParameters
from sim_instruments.paths import CABLES, Path, build_paths, quarter_wave_line
from sim_instruments.pickups import MonitorSide
from sim_instruments.ports import (
    BOTH_CSB,
    CSB_PORTS,
    POWER_POINTS,
    both_csb,
    carrier_of,
    csb_at,
    power_w,
)
from sim_instruments.probing import PROBE_POINTS, Probes
from sim_instruments.radiation import Radiation, summed
from sim_instruments.receiver_dsp import RATE_HZ, demodulate
from sim_instruments.signals import ComplexArray, FloatArray, Timebase
from sim_instruments.transmitting import Carrier, TransmitterSide
from sim_instruments.truth import FieldTruth, PlantTruth

PROBE_NOISE_V = 0.001
NOISE_READING_S = 0.1
FAR_FIELD_MONITOR = "far field monitor"

Spot = str | Position
"""Where a receiver can be: at a named point, or carried to a place."""


class Plant:
    """The localizer on the bench. Safe to use from several threads.

    Parameters
    ----------
    given
        How it is found.
    clock
        Whose monotonic time drives tones and drift.
    hand
        How badly controls are turned.
    """

    def __init__(
        self, given: PlantParameters, clock: Clock, *, hand: HandError | None = None
    ) -> None:
        self.given = given
        self._clock = clock
        self._start_ns = clock.monotonic_ns()
        self._hand = hand or HandError()
        self._lock = threading.RLock()
        found, turning, noise, phase_walk, level_walk = _generators(given)
        self._turning, self._noise = turning, noise
        self._paths = build_paths(given)
        self._monitor_controls = build_controls(given, found)
        self._transmitters = TransmitterSide(given, self._paths)
        self._radiation = Radiation(given)
        self._monitor = MonitorSide(
            given, self._paths, self._monitor_controls, (phase_walk, level_walk)
        )
        self._changed_s = 0.0
        self._probes = Probes(
            self.field, self.separation_hz, self._monitor_controls, self._monitor.shares()
        )

    @property
    def control_names(self) -> tuple[str, ...]:
        """Names of all controls: the monitor's and the active transmitter's."""
        return (*self._monitor_controls, *self._transmitters.controls)

    @property
    def transmitter(self) -> int:
        """The transmitter that feeds the arrays: 1 or 2."""
        return self._transmitters.active

    @property
    def ident_depth(self) -> float:
        """Depth of the course carrier's ident while its key is down; 0 when it is switched off."""
        with self._lock:
            if self._transmitters.ident_mode == "off":
                return 0.0
            return self._transmitters.emission("course").modulation.ident_depth

    @property
    def changed_s(self) -> float:
        """Plant time of the last act of a hand, s."""
        return self._changed_s

    def position(self, control: str) -> float:
        """Return where `control` stands, 0 to 1; ValueError when there is no such control."""
        return self._control(control).position

    def turn(self, control: str, fraction: float) -> Turned:
        """Turn by `fraction` of the range, as a hand does; positive raises level or advances."""
        with self._lock:
            self._changed_s = self.now_s()
            return self._control(control).turn(fraction, self._hand, self._turning)

    def place(self, control: str, position: float) -> Turned:
        """Bring a control to a position that can be seen."""
        with self._lock:
            self._changed_s = self.now_s()
            return self._control(control).place(position, self._hand, self._turning)

    def restore(self, control: str) -> Turned:
        """Bring a control back to where it stood before it was first turned."""
        with self._lock:
            self._changed_s = self.now_s()
            return self._control(control).restore(self._hand, self._turning)

    def fraction_for(
        self,
        control: str,
        *,
        change_db: float = 0.0,
        change_deg: float = 0.0,
        change_ddm: float = 0.0,
    ) -> float:
        """Return the part of the range of `control` that changes level, phase or DDM by so much.

        Raises
        ------
        ValueError
            The control does not change that.
        """
        law = self._control(control).law
        part = law.fraction_for(change_db=change_db, change_deg=change_deg, change_ddm=change_ddm)
        if part is None:
            raise ValueError(f"{control!r} does not change that")
        return part

    def select_transmitter(self, number: int) -> None:
        """Let transmitter 1 or 2 feed the arrays; ValueError when there is none such."""
        with self._lock:
            self._transmitters.select(number)
            self._changed_s = self.now_s()

    def switch_carrier(self, carrier: str, *, on: bool) -> None:
        """Switch the course or the clearance carrier of both transmitters on or off."""
        with self._lock:
            self._transmitters.switch(carrier, on=on)
            self._changed_s = self.now_s()

    def switch_tone(self, tone: int, *, on: bool) -> None:
        """Switch the 90 or the 150 Hz tone of both transmitters' modulators on or off."""
        with self._lock:
            self._transmitters.switch_tone(tone, on=on)
            self._changed_s = self.now_s()

    def key_ident(self, mode: str) -> None:
        """Key the ident in ``"code"``, ``"continuous"`` or ``"off"``."""
        with self._lock:
            self._transmitters.key_ident(mode)
            self._changed_s = self.now_s()

    def cut(self, path: str, stage: str, length_m: float) -> None:
        """Cut exactly `length_m` off a cable; ValueError when there is not so much to spare."""
        with self._lock:
            self._path(path, stage).cut(length_m)
            self._changed_s = self.now_s()

    def cable(self, path: str, stage: str) -> Cable:
        """Return a cable as it is now; ValueError when there is none such."""
        with self._lock:
            return self._path(path, stage).cable

    def insert_line(self, path: str, stage: str) -> None:
        """Put the quarter-wave line in; there is one line, so it leaves where it was."""
        with self._lock:
            target = self._path(path, stage)
            for each in self._paths.values():
                each.line = None
            target.line = quarter_wave_line(self.given)
            self._changed_s = self.now_s()

    def remove_line(self, path: str, stage: str) -> None:
        """Take the line out; nothing happens when it is not there."""
        with self._lock:
            self._path(path, stage).line = None
            self._changed_s = self.now_s()

    def now_s(self) -> float:
        """Return plant time, s since it was built."""
        return (self._clock.monotonic_ns() - self._start_ns) / 1e9

    def baseband(self, spot: Spot, t0_s: float, rate_hz: float, n: int) -> ComplexArray:
        """Return what a receiver at `spot` gets, with its own noise, shape ``(n,)``.

        Complex baseband around the mean of the two carriers, carrier amplitude near 1 in the
        monitor and at the threshold. Where no localizer signal is, there is only noise. The noise
        is white: a tone's amplitude from N samples has the variance 2 sigma^2/N, so DDM over
        0.1 s has 4 sigma^2/N. A signal stronger than 1 does not make a reading quieter.
        """
        sigma = self.given.receiver_noise_ddm * math.sqrt(rate_hz * NOISE_READING_S) / 2
        with self._lock:
            pairs = self._noise.standard_normal(2 * n)
        noise: ComplexArray = pairs.view(np.complex128)
        if self.can_receive(spot):
            carriers = self.carriers(spot, t0_s)
            if isinstance(spot, Position):
                sigma *= max(1.0, *(abs(carrier.csb) for carrier in carriers))
            noise *= sigma
            noise += summed(carriers, Timebase(t0_s, rate_hz, n))
        else:
            noise *= sigma
        return noise

    def field(self, spot: Spot, time: Timebase) -> ComplexArray:
        """Return the noise-free sum of all carriers at `spot`, shape ``(n,)``."""
        return summed(self.carriers(spot, time.t0_s), time)

    def can_receive(self, spot: Spot) -> bool:
        """Whether a receiver at `spot` finds a localizer signal."""
        if isinstance(spot, Position):
            return spot.radius_m >= 1
        has_far_field = spot == FAR_FIELD_MONITOR and self.given.far_field_monitor_m > 0
        return spot in (*CHANNELS, *CSB_PORTS, BOTH_CSB) or has_far_field

    def can_probe(self, point: str) -> bool:
        """Whether a probe at `point` finds volts to show."""
        return point in PROBE_POINTS

    def can_meter(self, point: str) -> bool:
        """Whether a power meter or a counter can be connected to `point`."""
        return point in POWER_POINTS

    def power_w(self, point: str) -> float:
        """Return the power at a port that `can_meter`, W."""
        with self._lock:
            return power_w(point, self._transmitters, self._radiation, self.given)

    def frequency_hz(self, point: str) -> float:
        """Return the carrier frequency at a port that `can_meter`, Hz."""
        with self._lock:
            return self.given.frequency_hz + self._transmitters.offset_hz(carrier_of(point))

    def separation_hz(self) -> float:
        """Return the course carrier's frequency less the clearance carrier's, Hz."""
        with self._lock:
            side = self._transmitters
            return side.offset_hz("course") - side.offset_hz("clearance")

    def volts(self, point: str, t0_s: float, rate_hz: float, n: int) -> FloatArray:
        """Return what a probe at `point` sees, V, shape ``(n,)``.

        Raises
        ------
        ValueError
            There is nothing to probe at `point`.
        """
        clean = self._probes.volts(point, Timebase(t0_s, rate_hz, n))
        with self._lock:
            noisy: FloatArray = clean + PROBE_NOISE_V * self._noise.standard_normal(n)
        return noisy

    def carriers(self, spot: Spot, t_s: float) -> tuple[Carrier, ...]:
        """Return the carriers at a spot that `can_receive`, at plant time `t_s`."""
        with self._lock:
            if isinstance(spot, str) and spot in CSB_PORTS:
                return (csb_at(spot, self._transmitters),)
            if spot == BOTH_CSB:
                return both_csb(self._transmitters)
            emissions = (
                self._transmitters.emission("course"),
                self._transmitters.emission("clearance"),
            )
            leak = self._transmitters.leak()
            if spot == FAR_FIELD_MONITOR:
                spot = Position(self.given.far_field_monitor_m)
            if isinstance(spot, Position):
                return self._radiation.carriers(*emissions, leak, spot)
            return self._monitor.carriers(spot, *emissions, leak, t_s)

    def truth(self) -> PlantTruth:
        """Return what no instrument shows."""
        with self._lock:
            width = self.carriers("course width", self.now_s())[0]
            ratio = (width.sbo / width.csb - self._transmitters.leak()) * self._monitor.sense
            emitted = {name: self._transmitters.emission(name) for name in ("course", "clearance")}
            transmit = {
                name: math.degrees(cmath.phase(each.sbo / each.csb))
                for name, each in emitted.items()
            }
            named = {f"{path} {stage}": self._paths[path, stage] for path, stage in CABLES}
            controls = {**self._monitor_controls, **self._transmitters.controls}
            return PlantTruth(
                phase_deg=math.degrees(cmath.phase(ratio)),
                sbo_to_csb=abs(ratio),
                lengths_m={name: each.cable.length_m for name, each in named.items()},
                spare_m={name: each.spare_m for name, each in named.items()},
                lines_in=[name for name, each in named.items() if each.line is not None],
                cuts=[(name, cut_m) for name, each in named.items() for cut_m in each.cuts_m],
                positions={name: each.position for name, each in controls.items()},
                transmitter=self._transmitters.active,
                transmit_phase_deg=transmit,
                tones_off=sorted(self._transmitters.tones_off),
            )

    def field_truth(self, place: Position) -> FieldTruth:
        """Return what an ideal receiver at `place` reads now; it demodulates like any other."""
        time = Timebase(self.now_s(), RATE_HZ, round(RATE_HZ * NOISE_READING_S))
        seen = demodulate(self.field(place, time))
        course, clearance = (abs(carrier.csb) for carrier in self.carriers(place, time.t0_s))
        over = max(course, 1e-12) / max(clearance, 1e-12)
        return FieldTruth(seen.ddm, seen.sdm, 20 * math.log10(over))

    def _control(self, name: str) -> Control:
        found = self._monitor_controls.get(name) or self._transmitters.controls.get(name)
        if found is None:
            raise ValueError(f"no control {name!r}; there are {', '.join(self.control_names)}")
        return found

    def _path(self, path: str, stage: str) -> Path:
        for key, found in self._paths.items():
            if key == (path, stage):
                return found
        known = ", ".join(" at ".join(name) for name in CABLES)
        raise ValueError(f"no cable {path!r} at {stage!r}; there are {known}")


def _generators(given: PlantParameters) -> list[np.random.Generator]:
    """Return one generator for what is found, and four for what happens during a visit."""
    seeds = np.random.SeedSequence(given.seed).spawn(5)
    if given.visit:
        seeds[1:] = np.random.SeedSequence((given.seed, given.visit)).spawn(5)[1:]
    return [np.random.default_rng(seed) for seed in seeds]
