"""A meter without a port: the technician reads it and types what it shows.

A value that went through a hand is never dressed up as one that came over a wire: its text in
the log begins with ``typed by hand``, and its uncertainty comes from the meter's profile, or from
the limit of error that the technician states.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Final

from daq.errors import AnswerError, InputError, UnitError
from daq.reading import Quality, Reading, impossible_ddm
from daq.roles import Identity, InstrumentClass
from daq.scpi import parse_identity
from daq.station import KIND_OF_QUANTITY
from daq.units import Kind, parse
from drivers.accuracy import standard_uncertainty
from drivers.profile import Profile
from drivers.profiled import Place
from drivers.standing_in import StandingIn
from drivers.units import si_scale

Ask = Callable[[str], str]
"""Shows a question and returns the line that was typed; raises `Aborted` when nobody will."""

_PATIENCE: Final = 5
_READS: Final[Mapping[InstrumentClass, tuple[str, ...]]] = MappingProxyType(
    {
        InstrumentClass.OSCILLOSCOPE: ("vpp",),
        InstrumentClass.NAVIGATION_RECEIVER: ("ddm", "sdm", "depth_90", "depth_150", "rf_level"),
        InstrumentClass.POWER_METER: ("power", "rf_level"),
        InstrumentClass.FREQUENCY_COUNTER: ("frequency",),
        InstrumentClass.MULTIMETER: ("voltage",),
        InstrumentClass.SPECTRUM_ANALYZER: ("frequency", "rf_level"),
    }
)
_DDM: Final = re.compile(r"(?P<size>.+?)\s+(?P<tone>90|150)(?:\s*Hz)?", re.IGNORECASE)
_LIKE: Final[Mapping[Kind, str]] = MappingProxyType(
    {
        Kind.DDM: "0.121 150 or 117 uA 90: the size, then the tone that predominates",
        Kind.RATIO: "40 %",
        Kind.FREQUENCY: "109.3501 MHz",
        Kind.LEVEL: "-47.3 dBm",
        Kind.POWER: "12.4 W",
        Kind.VOLTAGE: "1.52 V",
    }
)


class KeyedInstrument(StandingIn):
    """Fulfils `daq.roles.Instrument` by asking a person. One thread at a time.

    Parameters
    ----------
    instrument_class
        What kind of meter it is.
    place
        Its alias and the clock; there is no link.
    ask
        Asks the technician.
    profile
        Says what the meter reads and how accurately; None: all that its class reads, and the
        limit of error is asked for once for each quantity.

    Raises
    ------
    InputError
        Nothing of this class can be read by hand.
    """

    by_hand: Final = True
    """Each reading costs a person's effort: one is taken where others are read many times."""

    def __init__(
        self,
        instrument_class: InstrumentClass,
        place: Place,
        ask: Ask,
        profile: Profile | None = None,
    ) -> None:
        if profile is None and instrument_class not in _READS:
            raise InputError(f"A {instrument_class} cannot be read by hand.")
        super().__init__(instrument_class, place)
        self._ask = ask
        self._profile = profile
        self._limits: dict[str, float] = {}
        plate = ask(f"{place.alias}: what does its plate say? Maker, model, serial number:")
        found = parse_identity(plate)
        self._identity = Identity(found.maker, found.model, found.serial, raw=f"plate: {plate}")

    @property
    def identity(self) -> Identity:
        """What the technician read from its plate."""
        return self._identity

    @property
    def quantities(self) -> frozenset[str]:
        """See `Instrument`."""
        return frozenset(self._profile.quantity if self._profile else _READS[self._class])

    def measure(self, quantity: str, *, point: str = "", channel: str = "") -> Reading:
        """Ask for one value.

        Raises
        ------
        InputError
            The meter has no such quantity.
        AnswerError
            Five times in a row what was typed was no value.
        """
        self._check_quantity(quantity, self.quantities)
        clock = self._place.clock
        began_ns = clock.monotonic_ns()
        kind = KIND_OF_QUANTITY[quantity]
        where = " ".join(
            part for part in (f"at '{point}'" if point else "", channel and f"channel {channel}")
        ).strip()
        question = f"{self.alias}: {quantity} {where} (such as {_LIKE[kind]}):"
        text, value = self._asked(question, lambda typed: typed_value(typed, kind))
        u = self._u(quantity, kind, value)
        impossible = quantity == "ddm" and impossible_ddm(value, u)
        mono_ns, utc_ns = clock.monotonic_ns(), clock.utc_ns()
        return Reading(
            quantity=quantity,
            value=value,
            u=u,
            source=self.alias,
            point=point,
            utc_ns=utc_ns,
            mono_ns=mono_ns,
            took_ns=mono_ns - began_ns,
            quality=Quality.IMPOSSIBLE if impossible else Quality.OK,
            raw=f"typed by hand: {text.strip()}",
        )

    def _u(self, quantity: str, kind: Kind, value: float) -> float:
        if self._profile is not None:
            section = self._profile.quantity[quantity]
            scale, _ = si_scale(section.unit)
            return scale * standard_uncertainty(section.accuracy, value / scale)
        if quantity not in self._limits:
            question = f"{self.alias}: by how much may its {quantity} be off, either way?"
            _, limit = self._asked(question, lambda typed: _limit(typed, kind))
            self._limits[quantity] = limit
        # Limits of error without a probability: JCGM 100:2008 4.3.7.
        return self._limits[quantity] / math.sqrt(3.0)

    def _asked(self, question: str, read: Callable[[str], float]) -> tuple[str, float]:
        said, typed = question, ""
        for _ in range(_PATIENCE):
            typed = self._ask(said)
            try:
                return typed, read(typed)
            except UnitError as error:
                said = f"{error} {question}"
        raise AnswerError(
            "What was typed is no value.",
            instrument=self._place.label,
            received=typed.encode("utf-8", "replace")[:200],
            hint=f"read the meter again. {question}",
        )


def typed_value(text: str, kind: Kind) -> float:
    """Return a typed value in SI; of a DDM the size and, behind it, the tone that predominates.

    Raises
    ------
    UnitError
        No value, one of another kind, or a DDM that does not say which tone predominates.
    """
    if kind is Kind.LEVEL:
        return parse(re.sub(r"dBm\s*$", "dB", text), kind)
    if kind is not Kind.DDM:
        return parse(text, kind)
    found = _DDM.fullmatch(text.strip())
    size = parse(found["size"] if found else text, kind)
    if size == 0.0:
        return 0.0
    if found is None or size < 0:
        raise UnitError(
            f"{text.strip()!r} does not say which tone predominates.",
            hint="type the size without a sign and then 90 or 150, such as 0.121 150.",
        )
    return size if found["tone"] == "150" else -size


def _limit(text: str, kind: Kind) -> float:
    cleaned = re.sub(r"dBm?\s*$", "dB", text.strip().removeprefix("±").strip())
    limit = abs(parse(cleaned, kind))
    if limit == 0.0:
        raise UnitError("No meter is without error.", hint="look into its data sheet.")
    return limit
