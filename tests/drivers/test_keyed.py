"""A meter that is read by a person: typed values, their unit, sign and uncertainty."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from daq.clock import ManualClock
from daq.errors import Aborted, AnswerError, InputError, ProfileError, UnitError
from daq.reading import Quality
from daq.roles import InstrumentClass
from daq.units import Kind
from drivers.keyed import typed_value
from drivers.registry import open_instrument

PLATE = "Fernmark,VM-2,8812"


class Typist:
    """Types what it was given, and remembers what it was asked."""

    def __init__(self, *lines: str) -> None:
        self.lines = list(lines)
        self.asked: list[str] = []

    def __call__(self, question: str) -> str:
        self.asked.append(question)
        return self.lines.pop(0)


def keyed(ask, kind=InstrumentClass.NAVIGATION_RECEIVER, resource="KEYED"):
    return open_instrument(
        "meter", kind, "keyed", resource, clock=ManualClock(), base=Path("/bench"), ask=ask
    )


def test_a_typed_value_says_that_it_was_typed():
    ask = Typist(PLATE, "117 uA 90", "3 uA", "0.1 90 Hz")
    meter = keyed(ask)
    first, second = meter.measure("ddm", point="course width"), meter.measure("ddm")
    assert first.raw == "typed by hand: 117 uA 90"
    assert first.value == pytest.approx(-117 * 0.155 / 150)
    assert first.u == second.u == pytest.approx(3 * 0.155 / 150 / math.sqrt(3))
    assert (first.source, first.point, first.quality) == ("meter", "course width", Quality.OK)
    assert str(meter.identity) == "Fernmark VM-2 serial 8812"
    assert "course width" in ask.asked[1]
    assert "either way" in ask.asked[2]
    assert second.value == -0.1


def test_the_accuracy_comes_from_the_profile_that_the_resource_names():
    """Hand-worked from scpi-multimeter: above 1 V, (0.1 % of 2 V + 10 mV) / sqrt(3)."""
    meter = keyed(Typist(PLATE, "2.0 V"), InstrumentClass.MULTIMETER, "KEYED::scpi-multimeter")
    assert meter.measure("voltage").u == pytest.approx(0.012 / math.sqrt(3))
    assert meter.quantities == {"voltage"}


@pytest.mark.parametrize(
    ("typed", "kind", "value"),
    [
        ("0.155 150", Kind.DDM, 0.155),
        ("15.5 % 90 Hz", Kind.DDM, -0.155),
        ("0", Kind.DDM, 0.0),
        ("0.000 90", Kind.DDM, 0.0),
        ("-47.3 dBm", Kind.LEVEL, -47.3),
        ("109.35 MHz", Kind.FREQUENCY, 109.35e6),
        ("1480 mV", Kind.VOLTAGE, 1.48),
    ],
)
def test_what_people_type_in_si(typed, kind, value):
    assert typed_value(typed, kind) == pytest.approx(value)


@pytest.mark.parametrize("typed", ["0.155", "-0.155", "-0.155 90", "0.155 120"])
def test_a_ddm_that_does_not_say_which_tone_predominates_is_refused(typed):
    """A reversed sense is the worst mistake there is: it is never guessed from a sign."""
    with pytest.raises(UnitError):
        typed_value(typed, Kind.DDM)


def test_a_slip_is_told_and_asked_again():
    ask = Typist(PLATE, "o.155 150", "0.155", "0.155 150", "0.002")
    assert keyed(ask).measure("ddm").value == 0.155
    assert "is no number" in ask.asked[2]
    assert "which tone predominates" in ask.asked[3]


def test_after_five_slips_it_is_an_error_with_what_was_typed():
    with pytest.raises(AnswerError, match=r"Received 'x'"):
        keyed(Typist(PLATE, *"xxxxx")).measure("ddm")


def test_a_meter_without_any_error_is_not_believed():
    ask = Typist(PLATE, "0.155 150", "0", "± 0.002")
    assert keyed(ask).measure("ddm").u == pytest.approx(0.002 / math.sqrt(3))


def test_an_impossible_ddm_is_marked():
    assert keyed(Typist(PLATE, "0.41 150", "0.002")).measure("ddm").quality is Quality.IMPOSSIBLE


def test_without_anybody_to_type_it_is_refused():
    with pytest.raises(InputError, match="read by hand: somebody has to type"):
        keyed(None)


def test_whoever_stops_at_a_question_stops_the_run():
    def stop(question: str) -> str:
        raise Aborted("Stopped.")

    with pytest.raises(Aborted):
        keyed(stop)


def test_other_resources_classes_and_quantities_are_refused():
    with pytest.raises(InputError, match="no resource of the driver 'keyed'"):
        keyed(Typist(PLATE), resource="ASRL1::INSTR")
    with pytest.raises(ProfileError, match="another class"):
        keyed(Typist(PLATE), resource="KEYED::scpi-multimeter")
    with pytest.raises(InputError, match="does not measure vpp"):
        keyed(Typist(PLATE)).measure("vpp")
