"""What procedures ask for: instruments by class, and somebody who answers and turns controls.

A procedure names a class and a quantity, never a model. Drivers, the terminal and the simulated
operator fulfil these protocols by their shape; none of them needs to be imported here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Literal, Protocol, runtime_checkable

from daq.position import Position
from daq.reading import Reading, Waveform


class InstrumentClass(StrEnum):
    """The classes of things that a technician names."""

    OSCILLOSCOPE = "oscilloscope"
    NAVIGATION_RECEIVER = "navigation receiver"
    POWER_METER = "power meter"
    FREQUENCY_COUNTER = "frequency counter"
    MULTIMETER = "multimeter"
    SPECTRUM_ANALYZER = "spectrum analyzer"
    POSITION_RECEIVER = "position receiver"
    ALARM_UNIT = "alarm unit"


@dataclass(frozen=True, slots=True)
class Identity:
    """Who answered at an address.

    Attributes
    ----------
    maker, model, serial, firmware
        The four fields of an IEEE 488.2 ``*IDN?`` answer; empty where the instrument gives none.
    raw
        The answer as it came.
    """

    maker: str
    model: str
    serial: str = ""
    firmware: str = ""
    raw: str = ""

    def __str__(self) -> str:
        words = [self.maker, self.model, f"serial {self.serial}" if self.serial else "no serial"]
        return " ".join(word for word in words if word)


class Instrument(Protocol):
    """Anything that gives readings."""

    @property
    def alias(self) -> str:
        """The name that the station file gives it."""

    @property
    def instrument_class(self) -> InstrumentClass:
        """What kind of thing it is."""

    @property
    def identity(self) -> Identity:
        """Who answered when the link was opened."""

    @property
    def quantities(self) -> frozenset[str]:
        """The quantities it can read, by name (`daq.reading.QUANTITIES`)."""

    def measure(self, quantity: str, *, point: str = "", channel: str = "") -> Reading:
        """Take one reading.

        Parameters
        ----------
        quantity
            A name in `quantities`.
        point
            The test point that the reading is of; copied into the reading.
        channel
            The instrument's own input, such as ``1``; empty where it has only one.

        Raises
        ------
        BenchError
            The link failed, the instrument reported an error, or the answer is no answer.
        """

    def close(self) -> None:
        """Let go of the link; harmless when called twice."""


@runtime_checkable
class ReadsInOneWay(Protocol):
    """An instrument that can tell whether it is still read as it was before."""

    def way_of_reading(self, quantity: str) -> str:
        """Return a short digest of what a reading's value and sign hang on, such as its profile.

        Raises
        ------
        KeyError
            It has no such quantity.
        """


class Oscilloscope(Instrument, Protocol):
    """An instrument that also gives samples."""

    def waveform(self, *, point: str = "", channel: str = "") -> Waveform:
        """Take one record of samples; raises as `Instrument.measure` does."""


class PositionReceiver(Instrument, Protocol):
    """An instrument that knows where it is."""

    def position(self) -> Position:
        """Return where it is now; raises as `Instrument.measure` does, also when it has no fix."""


@dataclass(frozen=True, slots=True)
class Action:
    """What hands are to do: a verb and its arguments, so that a simulated hand can do it too.

    Verbs in use: ``connect receiver`` (point), ``connect probe`` (point, channel),
    ``insert line`` (path, stage), ``remove line`` (path, stage), ``cut`` (path, stage, length_m),
    ``centre control`` (control), ``turn control`` (control, change_db or change_deg),
    ``restore control`` (control), ``carry receiver`` (along_m and lateral_m, or radius_m and
    azimuth_deg, from the middle of the array), ``switch carrier`` (carrier, state: on or off),
    ``switch tone`` (tone: 90 or 150, state: on or off),
    ``sweep cable`` (name, file, far_end), ``measure match`` and ``measure insulation`` (name),
    ``cut cable`` (name, length_m), ``drive receiver`` (along_m, from_m and to_m, or radius_m,
    from_deg and to_deg; passes), ``name track`` (file).
    ``path`` is ``sbo`` or ``csb``, of the clearance carrier ``clearance sbo`` and ``clearance
    csb``; ``stage`` is ``transmitter`` or ``monitor``; ``carrier`` is ``course`` or ``clearance``.
    """

    verb: str
    arguments: Mapping[str, str | float] = field(default_factory=dict)


PromptKind = Literal["acknowledge", "confirm", "number", "text"]
Answer = bool | float | str


@dataclass(frozen=True, slots=True)
class Prompt:
    """One question to the technician.

    Attributes
    ----------
    key
        Stable within the run; the answer is journalled under it.
    kind
        ``acknowledge`` a caution, ``confirm`` that something was done, or type a ``number`` or a
        ``text``. The answer's type follows: bool, bool, float, str.
    text
        What is asked, in plain English.
    caution
        What can hurt somebody here; empty for most prompts.
    action
        What the hands are to do before answering, if anything.
    unit
        Unit of a number, SI (``m``).
    suggestion
        What a number is expected to be, in `unit`.
    """

    key: str
    kind: PromptKind
    text: str
    caution: str = ""
    action: Action | None = None
    unit: str = ""
    suggestion: float | None = None


@dataclass(frozen=True, slots=True)
class WatchView:
    """What is shown after each reading while a hand is on a control.

    Attributes
    ----------
    key
        Key of the watch within the run.
    instruction
        What to do, in words.
    control
        The control under the hand; empty when nothing is to be turned.
    reading
        The newest reading; already on disk.
    shown
        The smoothed value that is shown large, SI unit of the quantity.
    target, band
        Wanted value and accepted distance from it, same unit; None when just watching.
    steady
        The readings have settled.
    slope_per_s
        Rate of change of the shown value.
    rate_hz
        Readings per second.
    best
        The value closest to the target so far.
    count, elapsed_s
        Readings so far, seconds since the start.
    reference
        The reference value of this point that is in force, same unit as `shown`; None without one.
    """

    key: str
    instruction: str
    control: str
    reading: Reading
    shown: float
    target: float | None
    band: float | None
    steady: bool
    slope_per_s: float
    rate_hz: float
    best: float | None
    count: int
    elapsed_s: float
    reference: float | None = None

    @property
    def distance(self) -> float | None:
        """Shown value minus target."""
        return None if self.target is None else self.shown - self.target

    @property
    def in_band(self) -> bool:
        """Whether the shown value lies within the band around the target."""
        if self.target is None or self.band is None:
            return False
        return abs(self.shown - self.target) <= self.band


WatchCommand = Literal["go on", "capture", "redo", "abort"]


class Operator(Protocol):
    """Somebody who reads prompts and has hands: a technician at a terminal, or a simulated one."""

    @property
    def name(self) -> str:
        """The role under which answers are logged, such as ``technician``."""

    def answer(self, prompt: Prompt) -> Answer:
        """Do what the prompt asks and answer it; raises `Aborted` when the run is to stop."""

    def watching(self, view: WatchView) -> WatchCommand:
        """See one more reading, perhaps turn the control, and say how to go on."""

    def tell(self, text: str) -> None:
        """Hear something that needs no answer."""
