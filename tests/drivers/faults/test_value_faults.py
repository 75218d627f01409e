"""Faults of the value that an answer alone cannot show, and what does find them."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from daq.clock import ManualClock, SystemClock
from daq.errors import AnswerError
from daq.reading import Quality
from drivers.profiled import Place, ProfiledInstrument
from drivers.registry import find_profile
from sim_instruments.bench import SimulatedBench
from sim_instruments.fault_panel import FaultPanel
from sim_instruments.faults import fault_from_words

LINE = "ASRL./receiver.tty::INSTR"


@pytest.fixture
def receiver(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[tuple[object, object]]:
    model = request.param
    bench = SimulatedBench({"seed": 16}, ManualClock(), receiver="course width")
    with bench.serve([(model, LINE)], folder=tmp_path, hands_port=None) as served:
        where = Place("receiver", LINE, SystemClock(), tmp_path)
        instrument = ProfiledInstrument(find_profile(model, tmp_path), where)
        yield instrument, served.panels[model]
        served.panels[model].clear()
        instrument.close()


def arm(panel: FaultPanel, name: str, question: str, **words: str) -> None:
    panel.arm(fault_from_words(name, words), count=0, matching=question)


@pytest.mark.parametrize("receiver", ["halvorsund-nr2"], indirect=True)
def test_a_frozen_receiver_is_found_and_free_again_when_it_moves(receiver):
    instrument, panel = receiver
    assert {instrument.measure("ddm").quality for _ in range(40)} == {Quality.OK}
    arm(panel, "frozen value", "DDM")
    qualities = [instrument.measure("ddm").quality for _ in range(25)]
    assert qualities[-5:] == [Quality.FROZEN] * 5
    panel.clear()
    assert instrument.measure("ddm").quality is Quality.OK


@pytest.mark.parametrize("receiver", ["ostrel-pir7"], indirect=True)
def test_a_unit_that_somebody_changed_at_the_panel_is_an_error(receiver):
    instrument, panel = receiver
    arm(panel, "wrong unit", "Q:D", unit="mV", factor="0.001")
    with pytest.raises(AnswerError, match=r"in 'mV', but 'uA' is declared"):
        instrument.measure("ddm")


@pytest.mark.parametrize("receiver", ["halvorsund-nr2"], indirect=True)
def test_a_value_beyond_0_4_is_impossible(receiver):
    """About 2 m = 0.4 is where a tone's depth has folded (daq.reading)."""
    instrument, panel = receiver
    arm(panel, "wrong unit", "DDM", factor="3.0")
    reading = instrument.measure("ddm")
    assert (reading.quality, reading.usable) == (Quality.IMPOSSIBLE, False)


@pytest.mark.parametrize("receiver", ["halvorsund-nr2"], indirect=True)
def test_a_wrong_sign_passes_every_check_but_a_known_predominance(receiver):
    """Why there is a sense check: the reading is as good as any other."""
    instrument, panel = receiver
    right = instrument.measure("ddm").value
    arm(panel, "wrong sign", "DDM")
    wrong = instrument.measure("ddm")
    assert wrong.quality is Quality.OK
    assert wrong.value == pytest.approx(-right, abs=0.005)
