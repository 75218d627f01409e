"""A dual-frequency localizer and its monitor, from phasors and waveforms.

Nothing here computes a DDM: carriers with their sidebands run through cables and controls, are
summed, and whoever wants a number has to demodulate them.
"""

from __future__ import annotations

import cmath
import math
import threading

import numpy as np

from sim_instruments.clock import Clock
from sim_instruments.controls import HandError, Turned
from sim_instruments.drift import RandomWalk
from sim_instruments.monitor import (
    CHANNELS,
    CLEARANCE_SBO,
    CLEARANCE_SBO_SHARE,
    COURSE_SBO,
    DETECTOR_POINTS,
    FINE_PHASE,
    IF_POINTS,
    LINE_SBO_SHARE,
    NOMINAL_VPP,
    NOMINAL_WIDTH_DDM,
    PHASE_DETECTOR,
    PHASE_DETECTOR_LEVEL,
    VOLT_POINTS,
    WIDTH,
    Carrier,
    build_controls,
    if_volts_per_unit,
)
from sim_instruments.parameters import PlantParameters
from sim_instruments.paths import (
    PATHS,
    STAGES,
    Path,
    PathName,
    build_paths,
    carrier_hz,
    quarter_wave_line,
)
from sim_instruments.signals import ComplexArray, FloatArray, Modulation, Timebase
from sim_instruments.truth import PlantTruth

IF_HZ = 20_000.0
PROBE_NOISE_V = 0.001
NOISE_READING_S = 0.1


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
        seeds = np.random.SeedSequence(given.seed).spawn(5)
        found, turning, noise, phase_walk, level_walk = map(np.random.default_rng, seeds)
        self._turning, self._noise = turning, noise
        self._phase_walk = RandomWalk(given.phase_drift_deg, phase_walk)
        self._level_walk = RandomWalk(given.level_drift_db, level_walk)
        self._modulation = Modulation(ident_depth=given.ident_depth)
        self._paths = build_paths(given)
        self._controls = build_controls(given, found)
        sense = 1 if given.wanted_tone == 150 else -1
        self._width_share = sense * NOMINAL_WIDTH_DDM / 2 * given.width_ratio
        self._csb_loss, self._sbo_loss = (abs(self._through(path)) for path in ("csb", "sbo"))
        shares = (
            LINE_SBO_SHARE,
            sense * NOMINAL_WIDTH_DDM / 2,
            -CLEARANCE_SBO_SHARE,
            CLEARANCE_SBO_SHARE,
        )
        self._if_volts = {
            point: if_volts_per_unit(share) for point, share in zip(IF_POINTS, shares, strict=True)
        }

    @property
    def control_names(self) -> tuple[str, ...]:
        """Names of all controls."""
        return tuple(self._controls)

    def position(self, control: str) -> float:
        """Return where `control` stands, 0 to 1; ValueError when there is no such control."""
        if control not in self._controls:
            raise ValueError(f"no control {control!r}; there are {', '.join(self._controls)}")
        return self._controls[control].position

    def turn(self, control: str, fraction: float) -> Turned:
        """Turn by `fraction` of the range, as a hand does; positive raises level or advances."""
        self.position(control)
        with self._lock:
            return self._controls[control].turn(fraction, self._hand, self._turning)

    def place(self, control: str, position: float) -> Turned:
        """Bring a control to a position that can be seen."""
        self.position(control)
        with self._lock:
            return self._controls[control].place(position, self._hand, self._turning)

    def restore(self, control: str) -> Turned:
        """Bring a control back to where it stood before it was first turned."""
        self.position(control)
        with self._lock:
            return self._controls[control].restore(self._hand, self._turning)

    def fraction_for(
        self, control: str, *, change_db: float = 0.0, change_deg: float = 0.0
    ) -> float:
        """Return the part of the range of `control` that changes level or phase by so much.

        Raises
        ------
        ValueError
            The control does not change that.
        """
        self.position(control)
        law = self._controls[control].law
        wanted, per_range = (change_deg, law.phase_deg) if change_deg else (change_db, law.level_db)
        if not per_range:
            raise ValueError(f"{control!r} does not change that")
        return wanted / per_range

    def cut(self, path: str, stage: str, length_m: float) -> None:
        """Cut exactly `length_m` off a cable; ValueError when there is not so much to spare."""
        with self._lock:
            self._path(path, stage).cut(length_m)

    def insert_line(self, path: str, stage: str) -> None:
        """Put the quarter-wave line in; there is one line, so it leaves where it was."""
        with self._lock:
            target = self._path(path, stage)
            for each in self._paths.values():
                each.line = None
            target.line = quarter_wave_line(self.given)

    def remove_line(self, path: str, stage: str) -> None:
        """Take the line out; nothing happens when it is not there."""
        with self._lock:
            self._path(path, stage).line = None

    def now_s(self) -> float:
        """Return plant time, s since it was built."""
        return (self._clock.monotonic_ns() - self._start_ns) / 1e9

    def baseband(self, point: str, t0_s: float, rate_hz: float, n: int) -> ComplexArray:
        """Return what a receiver at `point` gets, with its own noise, shape ``(n,)``.

        Complex baseband around the mean of the two carriers, carrier amplitude near 1. Where no
        localizer signal is, there is only noise. The noise is white: a tone's amplitude from N
        samples has the variance 2 sigma^2/N, so DDM over 0.1 s has 4 sigma^2/N.
        """
        sigma = self.given.receiver_noise_ddm * math.sqrt(rate_hz * NOISE_READING_S) / 2
        with self._lock:
            pairs = self._noise.standard_normal(2 * n)
        noise: ComplexArray = pairs.view(np.complex128)
        noise *= sigma
        if point in CHANNELS:
            noise += self.field(point, Timebase(t0_s, rate_hz, n))
        return noise

    def field(self, channel: str, time: Timebase) -> ComplexArray:
        """Return the noise-free sum of both carriers at a monitor channel, shape ``(n,)``."""
        total: ComplexArray = np.zeros(time.n, dtype=np.complex128)
        for carrier in self.carriers(channel, time.t0_s):
            wave = self._modulation.carrier(time, carrier.csb, carrier.sbo)
            wave *= time.rotor(carrier.offset_hz)
            total += wave
        return total

    def can_receive(self, point: str) -> bool:
        """Whether a receiver at `point` finds a localizer signal."""
        return point in CHANNELS

    def can_probe(self, point: str) -> bool:
        """Whether a probe at `point` finds volts to show."""
        return point in VOLT_POINTS

    def volts(self, point: str, t0_s: float, rate_hz: float, n: int) -> FloatArray:
        """Return what a probe at `point` sees, V, shape ``(n,)``.

        Raises
        ------
        ValueError
            There is nothing to probe at `point`.
        """
        time = Timebase(t0_s, rate_hz, n)
        if point in IF_POINTS:
            amplitude_v = self._if_volts[point] * abs(self._controls[f"{point} level"].gain)
            signal = amplitude_v * (self.field(point.removesuffix(" IF"), time) * time.rotor(IF_HZ))
            clean = signal.real
        elif point in DETECTOR_POINTS:
            clean = np.abs(self.field(point.removesuffix(" detector"), time))
        elif point == PHASE_DETECTOR:
            level_v = NOMINAL_VPP / 2 * abs(self._controls[PHASE_DETECTOR_LEVEL].gain)
            clean = level_v * time.rotor(2 * self.given.carrier_offset_hz).real
        else:
            raise ValueError(f"no probe point {point!r}; there are {', '.join(VOLT_POINTS)}")
        with self._lock:
            noisy: FloatArray = clean + PROBE_NOISE_V * self._noise.standard_normal(n)
        return noisy

    def carriers(self, channel: str, t_s: float) -> tuple[Carrier, Carrier]:
        """Return course and clearance carrier at a monitor channel at plant time `t_s`."""
        with self._lock:
            offset_hz = self.given.carrier_offset_hz
            clearance_sbo = CLEARANCE_SBO_SHARE * self._controls[CLEARANCE_SBO].gain
            if channel.startswith("course"):
                csb, sbo = self._course(channel, t_s)
                leak = 10 ** (-self.given.clearance_in_course_db / 20)
                clearance = Carrier(-offset_hz, leak, 0)
                return Carrier(offset_hz, csb, sbo), clearance
            sign = 1 if channel == "clearance 150" else -1
            leak = 10 ** (-self.given.course_in_clearance_db / 20)
            return Carrier(offset_hz, leak, 0), Carrier(-offset_hz, 1, sign * clearance_sbo)

    def truth(self) -> PlantTruth:
        """Return what no instrument shows."""
        with self._lock:
            width = self.carriers("course width", self.now_s())[0]
            ratio = width.sbo / width.csb
            if self.given.wanted_tone == 90:
                ratio = -ratio
            named = {f"{path} {stage}": self._paths[path, stage] for path, stage in self._paths}
            return PlantTruth(
                phase_deg=math.degrees(cmath.phase(ratio)),
                sbo_to_csb=abs(ratio),
                lengths_m={name: each.cable.length_m for name, each in named.items()},
                spare_m={name: each.spare_m for name, each in named.items()},
                lines_in=[name for name, each in named.items() if each.line is not None],
                cuts=[(name, cut_m) for name, each in named.items() for cut_m in each.cuts_m],
                positions={name: each.position for name, each in self._controls.items()},
            )

    def _course(self, channel: str, t_s: float) -> tuple[complex, complex]:
        """Return C and S of the course carrier at its line or width channel."""
        csb = self._through("csb") / self._csb_loss
        sbo = self._through("sbo") / self._sbo_loss * self._controls[COURSE_SBO].gain
        if channel == "course line":
            return csb, sbo * LINE_SBO_SHARE
        walk = cmath.rect(
            10 ** (self._level_walk.at(t_s) / 20), math.radians(self._phase_walk.at(t_s))
        )
        controls = self._controls[FINE_PHASE].gain * self._controls[WIDTH].gain
        return csb, sbo * self._width_share * controls * walk

    def _through(self, path: PathName) -> complex:
        """Return the phasor of one signal's whole run, transmitter to monitor."""
        frequency_hz = carrier_hz(self.given)
        return math.prod(
            (self._paths[path, stage].gain(frequency_hz) for stage in STAGES), start=1 + 0j
        )

    def _path(self, path: str, stage: str) -> Path:
        for key, found in self._paths.items():
            if key == (path, stage):
                return found
        raise ValueError(
            f"no cable {path!r} at {stage!r}; paths are {', '.join(PATHS)}, "
            f"stages {', '.join(STAGES)}"
        )
