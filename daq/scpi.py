"""Numbers, error-queue answers and identities of SCPI, from text; see `scpi_messages` for bytes.

They are parsed strictly: what does not fit raises `AnswerError` with what arrived.

References: IEEE 488.2-1992 section 8.7 (NR1, NR2, NR3) and SCPI-1999 volume 1, 7.2.1 (9.9E37
stands for infinity, 9.91E37 for not a number). Cited from memory of the standards' numbering.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Final

from daq.errors import AnswerError
from daq.reading import Quality
from daq.roles import Identity
from daq.scpi_messages import PADDING

_TEXT_LIMIT: Final = 4096
_NOT_A_NUMBER: Final = 9.91e37
_INFINITY_FROM: Final = 9.89e37


def decode_text(message: bytes, encoding: str = "latin-1") -> str:
    """Return a message as text without line ends, NUL and blanks at both ends; never fails.

    Bytes that are not legal in `encoding` become U+FFFD, so that a reply with a stray byte is
    shown and not lost.
    """
    return message.strip(PADDING).decode(encoding, errors="replace").strip()


@dataclass(frozen=True, slots=True)
class Number:
    """A number from an instrument; `value` is NaN unless `quality` is ``OK``."""

    value: float
    quality: Quality


_NUMBER: Final = re.compile(
    r"""(?:(?P<header>[:*]?[A-Za-z][A-Za-z0-9_:*]*)\s+)?
    (?P<number>[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:\s?[Ee]\s?[+-]?[0-9]+)?
      |[+-]?INF(?:INITY)?|NINF|[+-]?NAN)
    \s*(?P<suffix>[A-Za-zµ%°/]*)""",
    re.VERBOSE | re.IGNORECASE,
)
_MULTIPLIERS: Final = {"": 1.0, "G": 1e9, "MA": 1e6, "K": 1e3, "M": 1e-3, "U": 1e-6, "N": 1e-9}
_MEGA_UNITS: Final = ("HZ", "OHM")  # IEEE 488.2: MHZ and MOHM are mega, every other M is milli


def parse_number(text: str, *, unit: str = "") -> Number:
    """Read one NR1, NR2 or NR3 number, with or without a header and a unit suffix.

    Parameters
    ----------
    text
        Such as ``+4``, ``.5``, ``1.234E+00``, ``VOLT 1.234E+00 V``.
    unit
        The declared unit. A suffix may be absent, or the unit with a multiplier (``MV`` for V);
        the value is returned in the declared unit.

    Raises
    ------
    AnswerError
        No number, more than a number, or a suffix of another unit.
    """
    found = _NUMBER.fullmatch(text.strip()) if len(text) <= _TEXT_LIMIT else None
    if found is None:
        raise AnswerError(
            "A number was expected.", received=text[:200].encode("latin-1", "replace")
        )
    factor = _suffix_factor(found["suffix"], unit, text)
    word = found["number"].upper().replace(" ", "")
    return classify(float("-inf" if word == "NINF" else word), factor)


def classify(value: float, factor: float = 1.0) -> Number:
    """Tell SCPI's stand-ins for infinity and for no value from numbers; scale the latter."""
    if math.isnan(value) or math.isclose(abs(value), _NOT_A_NUMBER, rel_tol=1e-6):
        return Number(math.nan, Quality.NO_VALUE)
    if abs(value) >= _INFINITY_FROM:
        return Number(math.nan, Quality.OVER if value > 0 else Quality.UNDER)
    return Number(value * factor, Quality.OK)


def _suffix_factor(suffix: str, unit: str, text: str) -> float:
    given, wanted = suffix.replace("µ", "u").upper(), unit.upper()
    if not given:
        return 1.0
    if wanted and given.endswith(wanted):
        multiplier = given.removesuffix(wanted)
        if multiplier == "M" and wanted in _MEGA_UNITS:
            return 1e6
        if multiplier in _MULTIPLIERS:
            return _MULTIPLIERS[multiplier]
    raise AnswerError(
        f"The answer is in {suffix!r}, but {unit or 'no unit'!r} is declared.",
        received=text.encode("latin-1", "replace"),
        hint="correct the unit in the profile, or the instrument's own setting.",
    )


@dataclass(frozen=True, slots=True)
class QueuedError:
    """One entry of an instrument's error queue; code 0 means that the queue is empty."""

    code: int
    text: str

    @property
    def kind(self) -> str:
        """Class of the error by its range (SCPI-1999 volume 2, 21.8)."""
        if self.code == 0:
            return "no error"
        if self.code > 0:
            return "error of the maker's own"
        kinds = {1: "command error", 2: "execution error", 3: "device error", 4: "query error"}
        return kinds.get(-self.code // 100, "error")


_QUEUED: Final = re.compile(r"(?P<code>[+-]?[0-9]{1,9})\s*(?:,\s*(?P<text>.*))?", re.DOTALL)


def parse_error(text: str) -> QueuedError:
    """Read an answer to ``SYSTem:ERRor?``: ``-113,"Undefined header"``.

    Raises
    ------
    AnswerError
        The answer does not begin with a code.
    """
    found = _QUEUED.fullmatch(text.strip()) if len(text) <= _TEXT_LIMIT else None
    if found is None:
        raise AnswerError(
            "An entry of the error queue was expected.",
            received=text[:200].encode("latin-1", "replace"),
        )
    words = (found["text"] or "").strip()
    return QueuedError(int(found["code"]), words.removeprefix('"').removesuffix('"'))


def parse_identity(text: str) -> Identity:
    """Read a ``*IDN?`` answer with any number of fields; those that are missing stay empty.

    A serial number of ``0`` is the standard's way of saying that there is none (IEEE 488.2 10.14).
    """
    raw = text.strip()
    maker, model, serial, firmware = [*(part.strip() for part in raw.split(",")), "", "", "", ""][
        :4
    ]
    return Identity(maker, model, "" if serial == "0" else serial, firmware, raw)
