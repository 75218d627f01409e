"""Signal levels: as found, turned while it is watched, as left."""

from __future__ import annotations

from pathlib import Path

import pytest

from daq.errors import Refused
from procedures.steps.levels import signal_levels
from procedures.steps.setting import bring_to_target
from tests.support.steps import stage

LEVELS = (
    "course line IF", "course width IF", "clearance 90 IF", "clearance 150 IF", "phase detector",
)  # fmt: skip


def test_every_level_is_left_at_one_and_a_half_volts(tmp_path: Path) -> None:
    """1.5 V peak to peak at each point: common practice, no source."""
    with stage(tmp_path) as on:
        signal_levels(on.bench)
        judged = on.requests("judge")
    for level in LEVELS:
        assert f"levels/{level}/as found/verdict" in judged
        last = [row for key, row in judged.items() if key.startswith(f"levels/{level}/")][-1]
        assert last["verdict"] == "in tolerance"
        assert last["value"] == pytest.approx(1.5, abs=0.03)


def test_a_level_that_is_right_is_not_touched(tmp_path: Path) -> None:
    """A second pass changes nothing: no watch, no control moved."""
    with stage(tmp_path) as on:
        signal_levels(on.bench)
        positions = on.under.sim.plant.truth().positions
        watched = len(on.who.views)
        for level in LEVELS:
            bring_to_target(on.bench, f"again/{level}", level)
        assert len(on.who.views) == watched
        assert on.under.sim.plant.truth().positions == positions


def test_a_level_that_is_out_and_has_no_control_is_refused(tmp_path: Path) -> None:
    with (
        stage(tmp_path, changes={'control = "course line IF level"\n': ""}) as on,
        pytest.raises(Refused, match=r"'course line IF' reads .* names no control for it"),
    ):
        bring_to_target(on.bench, "k", "course line IF")


@pytest.mark.parametrize("gone", ['target = "1.5 V"\n', 'adjust_to = "0.03 V"\n'])
def test_a_point_without_target_or_tolerance_cannot_be_set(gone: str, tmp_path: Path) -> None:
    with (
        stage(tmp_path, changes={gone: ""}) as on,
        pytest.raises(Refused, match=r"no target to be set to.*`target` and `adjust_to`"),
    ):
        bring_to_target(on.bench, "k", "course line IF")
