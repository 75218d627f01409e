"""One fault on one link in the middle of an adjustment, and all that has to hold then."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

import pytest

from daq.frozen import NoiseFloor
from daq.log.entry import Kind
from sim_instruments.faults import fault_from_words
from tests.faults.stand import OPEN_S, RECOVERY_S, SLACK_S, TIMEOUT_S, Stand

VISA_EXTRA_S: Final = 2.0
"""pyvisa-py 0.8.1 notices a closed VXI-11 connection 1 s late, and takes another to close it."""

FROZEN_LIMIT: Final = NoiseFloor(0.0001, 0.000001).limit


@dataclass(frozen=True)
class Expected:
    """What becomes of a fault.

    Attributes
    ----------
    seen
        Kind of the error, or quality of the reading; empty when the right value is shown.
    or_seen
        As what else, by chance of timing.
    words, count
        How the fault is armed.
    repaired
        It does not go away by itself: the technician mends it.
    plausible
        How many wrong values may pass for good before the safeguard of that name has them.
    safeguard
        The test that shows it.
    """

    seen: str
    or_seen: tuple[str, ...] = ()
    words: Mapping[str, str] = field(default_factory=dict)
    count: int = 1
    repaired: bool = False
    plausible: int = 0
    safeguard: str = ""


EXPECTED: Final[Mapping[str, Expected]] = {
    "drop link": Expected("LinkLost"),
    "answer late": Expected("LinkTimeout", words={"seconds": str(1.5 * TIMEOUT_S)}),
    "answer half": Expected("LinkTimeout"),
    "silence": Expected("LinkTimeout"),
    "dribble": Expected("LinkTimeout"),
    "stop reading": Expected("LinkTimeout", repaired=True),
    # A word that falls between a question and its answer is refused as an answer.
    "chatter": Expected("", or_seen=("AnswerError",)),
    "garbage bytes": Expected("AnswerError"),
    "wrong baud rate": Expected("LinkTimeout"),
    "echo": Expected(""),
    "stolen bytes": Expected("LinkTimeout"),
    "stale value": Expected("", count=3, plausible=3, safeguard="a stamp, two instruments"),
    "frozen value": Expected("frozen", count=0, repaired=True, plausible=FROZEN_LIMIT - 2),
    "wrong unit": Expected("impossible", count=3),
    "wrong sign": Expected("", count=3, plausible=3, safeguard="the sense check"),
    "noise burst": Expected("", plausible=1, safeguard="steadiness before a value counts"),
    "power cycle": Expected("LinkLost"),
    "error in queue": Expected(""),
    "says": Expected("AnswerError"),
}
"""Every fault of the menu, the same on every link."""


@dataclass(frozen=True)
class Met:
    """What became of one fault on one link; times in seconds, None where nothing was noticed."""

    fault: str
    link: str
    seen: str
    logged: str
    notice_s: float | None
    recover_s: float | None

    def __str__(self) -> str:
        return (
            f"{self.fault:<16} {self.link:<7} {self.seen:<44} {self.logged:<44} "
            f"{_seconds(self.notice_s)} {_seconds(self.recover_s)}"
        )


HEADER: Final = (
    f"{'fault':<16} {'link':<7} {'seen as':<44} {'in the log as':<44} {'noticed':>8} {'well':>8}"
)


def meet(stand: Stand, fault: str, link: str, *, during: str = "adjust") -> Met:
    """Let a fault strike the fourth reading of an adjustment, or of a measurement.

    Checks all that has to hold.
    """
    expected = EXPECTED[fault]
    before = stand.as_found()
    if not expected.repaired:
        stand.technician.mend = lambda: None
    struck = len(stand.device.given) + 3
    armed = fault_from_words(fault, expected.words)
    stand.panel.arm(armed, after=3, count=expected.count, matching="MEAS")
    after = stand.adjust(before) if during == "adjust" else stand.as_found("again")
    check_numbers(stand, expected, after.value)
    check_screen(stand)
    check_log(stand, expected)
    return _timed(stand, fault, link, stand.device.given[struck].at_ns)


def check_numbers(stand: Stand, expected: Expected, measured: float) -> None:
    """No wrong number: each good reading is the answer to its own question, the mean of them."""
    good = [row for row in stand.rows(Kind.READING) if stand.good(row)]
    wrong = stand.wrong()
    assert len(wrong) <= expected.plausible, wrong
    window = good[-8:]
    assert not [row for row in window if row in wrong]
    assert measured == pytest.approx(sum(float(str(r.body["value"])) for r in window) / 8)


def check_log(stand: Stand, expected: Expected) -> None:
    """No lost reading: all that was shown is on the disk, and each failure is a gap with why."""
    rows = stand.rows(Kind.READING)
    logged = {(row.mono_ns, row.body["raw"]) for row in rows}
    assert {(v.reading.mono_ns, v.reading.raw) for v in stand.technician.views} <= logged
    gaps, tries = stand.events("gap"), stand.events("tried again")
    assert len(gaps) == len(tries) == len(stand.technician.questions)
    first = _first_failure(stand)
    assert first in (expected.seen, *expected.or_seen)
    away = stand.events("instrument was away")
    # A link that did not come clean in time is opened anew: an absence, too.
    assert len(away) == 1 if first == "LinkLost" else len(away) <= 1
    assert all(event["reason"] for event in away)


def check_screen(stand: Stand) -> None:
    """What the technician is told: who, what was sent, what came, what to try; no traceback."""
    shown = " ".join(stand.screen.getvalue().split())
    assert "Traceback" not in shown
    for text, _ in stand.technician.questions[:1]:
        assert text.startswith(f"receiver ({stand.resource}): ")
        for word in ("Sent 'MEASure:DDM?", "Received ", "Try: ", "Mend it and try again?"):
            assert word in text
        assert text[:40] in shown


def _first_failure(stand: Stand) -> str:
    """Kind of the first gap, else the first quality that is not good, else nothing."""
    for gap in stand.events("gap"):
        error = gap["error"]
        assert isinstance(error, Mapping)
        assert error["message"]
        return str(error["kind"])
    bad = [row for row in stand.rows(Kind.READING) if not stand.good(row)]
    return str(bad[0].body["quality"]) if bad else ""


def _timed(stand: Stand, fault: str, link: str, struck_ns: int) -> Met:
    seen = _first_failure(stand)
    questions = [at_ns for _, at_ns in stand.technician.questions]
    rows = stand.rows(Kind.READING)
    bad = [row.mono_ns for row in rows if not stand.good(row)]
    noticed = min([*questions, *bad], default=None)
    expected = EXPECTED[fault]
    logged = f"gap: {seen}" if questions else (f"readings: {seen}" if seen else "readings: ok")
    if noticed is None:
        said = f"right; {expected.safeguard}" if expected.safeguard else "the right value"
        return Met(fault, link, said, logged, None, None)
    last = max([*questions, *bad])
    well_ns = next(row.mono_ns for row in rows if stand.good(row) and row.mono_ns > last)
    met = Met(
        fault,
        link,
        f"{seen} ({len(questions)} questions)" if questions else f"a value marked {seen}",
        logged,
        (noticed - struck_ns) / 1e9,
        (well_ns - noticed) / 1e9,
    )
    extra_s = VISA_EXTRA_S if link == "VXI-11" else 0.0
    assert (noticed - struck_ns) / 1e9 < TIMEOUT_S + extra_s + SLACK_S
    assert (well_ns - noticed) / 1e9 < OPEN_S + RECOVERY_S + 2 * SLACK_S
    return met


def _seconds(value: float | None) -> str:
    return f"{value:7.2f}s" if value is not None else "       -"
