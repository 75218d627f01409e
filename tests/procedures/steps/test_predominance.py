"""Each tone is made to predominate on the simulated transmitter, and seen to be back."""

from __future__ import annotations

from pathlib import Path

import pytest

from daq.errors import Refused
from daq.roles import Answer
from procedures.steps.predominance import RESTORED, readings_with_each_tone
from sim_instruments.operator import Prompt, SimulatedOperator
from tests.support.steps import stage

KEY = "sense/receiver"


class Forgetful(SimulatedOperator):
    """Says that a tone is on again and leaves it off."""

    def answer(self, prompt: Prompt) -> Answer:
        return True if "/undo" in prompt.key else super().answer(prompt)


@pytest.mark.parametrize("point", ["course line", "course width", "clearance 90", "course CSB"])
def test_each_tone_predominates_by_far_whatever_the_station_is_like(
    tmp_path: Path, point: str
) -> None:
    """SBO with the wrong sense, and a channel in which the other tone normally predominates."""
    text = '[[points]]\nname = "course CSB"\nquantity = "ddm"\ninstrument = "receiver"\n\n'
    before = '[[points]]\nname = "course line IF"'
    with stage(tmp_path, changes={before: text + before}, plant={"phase_error_deg": 150.0}) as made:
        read = readings_with_each_tone(made.bench, KEY, point)
        assert made.under.sim.plant.truth().tones_off == []
    assert read[150].value > 0.05
    assert read[90].value < -0.05


def test_every_prompt_reminds_while_a_tone_is_off_and_none_afterwards(tmp_path: Path) -> None:
    with stage(tmp_path) as made:
        readings_with_each_tone(made.bench, KEY, "course line")
        assert made.bench.hazards == {}
        reminded = [
            p.key for p in made.who.asked if "the radiated guidance is false then" in p.caution
        ]
    assert reminded == [f"{KEY}/{act}" for act in ("make 150", "undo 150", "make 90", "undo 90")]


def test_a_tone_that_stays_off_is_found_and_the_reminder_stands(tmp_path: Path) -> None:
    with stage(tmp_path) as made:
        made.who.inner = Forgetful(made.under.sim.hands, "run 1")
        with pytest.raises(Refused, match="after the sense check; before it read") as refused:
            readings_with_each_tone(made.bench, KEY, "course line")
        assert made.under.sim.plant.truth().tones_off == [90]
        [hazard] = made.bench.hazards.values()
        for undo in hazard.undo:
            made.under.sim.hands.do(undo.verb, undo.arguments)
        assert made.under.sim.plant.truth().tones_off == []
    assert "a tone may still be off" in refused.value.hint


def test_what_it_read_before_is_what_has_to_come_back(tmp_path: Path) -> None:
    with stage(tmp_path) as made:
        readings_with_each_tone(made.bench, KEY, "course width")
        judged = made.requests("judge")
    assert list(judged) == [f"{KEY}/undone 150/verdict", f"{KEY}/undone 90/verdict"]
    for row in judged.values():
        assert row["verdict"] == "in tolerance"
        assert row["value"] == pytest.approx(0.155, abs=RESTORED)


def test_the_receiver_of_a_traverse_is_carried_to_its_middle_first(tmp_path: Path) -> None:
    with stage(tmp_path) as made:
        readings_with_each_tone(made.bench, KEY, "course traverse")
        assert made.who.asked[0].action is not None
        assert made.who.asked[0].action.arguments == {"along_m": 3120.0, "lateral_m": 0.0}
        assert f"{KEY}/before/connect" not in made.who.asked_keys
