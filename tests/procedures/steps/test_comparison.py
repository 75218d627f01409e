"""A receiver and an oscilloscope that look at the same signal have to agree."""

from __future__ import annotations

from pathlib import Path

import pytest

from procedures.steps.comparison import compare_instruments
from tests.support.steps import Stage, stage

HERE = "# Two instruments that look at the same signal have to agree."
SECOND = 'second = "course width detector"'
ANOTHER_POINT = """[[points]]
name = "course line detector"
quantity = "ddm"
instrument = "scope"
channel = "3"

"""


def compared(on: Stage) -> tuple[object, float, float]:
    note = on.requests("note")["comparison/1/result"]
    return note["agree"], float(str(note["difference"])), float(str(note["u"]))


def against(second: str) -> dict[str, str]:
    return {HERE: ANOTHER_POINT + HERE, SECOND: f'second = "{second}"'}


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("width_ratio", [0.3, 1.0, 1.6])
def test_the_same_signal_by_two_instruments_agrees(
    width_ratio: float, seed: int, tmp_path: Path
) -> None:
    """The receiver demodulates in its own way, the samples go through the estimator."""
    plant = {"width_ratio": width_ratio, "seed": seed}
    with stage(tmp_path, changes=against("course width detector"), plant=plant) as on:
        compare_instruments(on.bench)
        agree, difference, u = compared(on)
    assert agree is True
    assert abs(difference) <= 2 * u
    assert u < 0.003
    assert "agree within their uncertainties" in on.who.told[-1]


def test_a_probe_on_the_wrong_point_is_a_disagreement_that_does_not_end_the_run(
    tmp_path: Path,
) -> None:
    with stage(tmp_path, changes=against("course line detector")) as on:
        compare_instruments(on.bench)
        agree, difference, _ = compared(on)
    assert agree is False
    assert difference == pytest.approx(-0.155, abs=0.003)
    assert "DISAGREE by 0.15" in on.who.told[-1]
    assert "find out which one is wrong" in on.who.told[-1]


def test_the_oscilloscope_is_asked_for_its_probe_and_the_receiver_for_its_lead(
    tmp_path: Path,
) -> None:
    with stage(tmp_path, changes=against("course width detector")) as on:
        compare_instruments(on.bench)
    verbs = [prompt.action.verb for prompt in on.who.asked if prompt.action]
    assert verbs == ["connect receiver", "connect probe"]


def test_a_station_without_comparisons_compares_nothing(tmp_path: Path) -> None:
    pair = f'[[comparisons]]\nfirst = "course width"\n{SECOND}\n'
    with stage(tmp_path, changes={pair: ""}) as on:
        compare_instruments(on.bench)
    assert on.who.asked == []
