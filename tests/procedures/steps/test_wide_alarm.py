"""The wide alarm profile: set where it belongs, checked off course, removed, proven removed."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import pytest

from daq.errors import Refused
from daq.roles import Answer, Operator, Prompt, WatchCommand, WatchView
from procedures.steps.wide_alarm import wide_alarm
from tests.support.steps import Stage, stage

COURSE, CLEARANCE = "course SBO level", "clearance SBO level"


@dataclass
class AtHold:
    """Notes the plant's truth while the profile is set."""

    inner: Operator
    on: Stage
    width_ddm: list[float] = field(default_factory=list)
    name: str = "looks"

    def answer(self, prompt: Prompt) -> Answer:
        if prompt.key == "wide/hold":
            self.width_ddm.append(self.on.width_ddm())
        return self.inner.answer(prompt)

    def watching(self, view: WatchView) -> WatchCommand:
        return self.inner.watching(view)

    def tell(self, text: str) -> None:
        self.inner.tell(text)


@dataclass
class Stuck:
    """Says that everything is done, but one control does not move."""

    inner: Operator
    control: str
    only_from: str = ""
    name: str = "stuck"

    def answer(self, prompt: Prompt) -> Answer:
        action = prompt.action
        if action and action.arguments.get("control") == self.control:
            return True
        return self.inner.answer(prompt)

    def watching(self, view: WatchView) -> WatchCommand:
        if view.control == self.control and view.key.startswith(self.only_from):
            return "capture" if view.steady else "go on"
        return self.inner.watching(view)

    def tell(self, text: str) -> None:
        self.inner.tell(text)


@pytest.mark.parametrize(
    ("basis", "ddm"),
    [
        # 0.155 x 0.83, and 0.155 / 1.17: the two conventions in use (common practice, no source).
        ("sensitivity", 0.1287),
        ("width", 0.1325),
    ],
)
def test_the_profile_is_set_where_the_convention_says(
    basis: str, ddm: float, tmp_path: Path
) -> None:
    """By the journal within the band, and by the plant's phasors within the receiver's error."""
    changes = {'alarm_basis = "sensitivity"': f'alarm_basis = "{basis}"'}
    with stage(tmp_path, changes=changes) as on:
        looks = AtHold(on.who.inner, on)
        on.who.inner = looks
        wide_alarm(on.bench)
        note = on.requests("note")["wide/alarm point"]
        set_to = on.requests("judge")["wide/set course/verdict 1"]
    assert note["wide_ddm"] == pytest.approx(ddm, abs=6e-5)
    assert note["basis"] == basis
    assert set_to["value"] == pytest.approx(ddm, abs=0.001)
    assert looks.width_ddm == pytest.approx([ddm], abs=0.0015)


def test_course_and_clearance_are_reduced_by_the_same_ratio(tmp_path: Path) -> None:
    with stage(tmp_path) as on:
        wide_alarm(on.bench)
        judged = on.requests("judge")
    normal = float(str(judged["wide/verify/clearance 90/verdict"]["value"]))
    wide = float(str(judged["wide/off course/clearance 90/verdict"]["value"]))
    assert wide / normal == pytest.approx(0.83, abs=0.01)
    assert normal < 0 < float(str(judged["wide/off course/clearance 150/verdict"]["value"]))


@pytest.mark.parametrize(
    ("minimum", "verdict"),
    [("0.155", "in tolerance"), ("0.174", "too close to call"), ("0.190", "out of tolerance")],
)
def test_too_little_left_off_course_refuses_once_the_normal_values_are_back(
    minimum: str, verdict: str, tmp_path: Path
) -> None:
    """Clearance 0.210 at the wide alarm leaves 0.174 on each side."""
    changes = {'off_course_minimum = "0.155"': f'off_course_minimum = "{minimum}"'}
    enough = verdict == "in tolerance"
    with stage(tmp_path, changes=changes) as on:
        before = [on.position(control) for control in (COURSE, CLEARANCE)]
        if enough:
            wide_alarm(on.bench)
        else:
            with pytest.raises(Refused, match=f"'clearance 90' reads .*{verdict}.*'clearance 150'"):
                wide_alarm(on.bench)
        after = [on.position(control) for control in (COURSE, CLEARANCE)]
        judged = on.requests("judge")
        assert on.bench.hazards == {}
    low, high = (judged[f"wide/off course/clearance {tone}/verdict"] for tone in (150, 90))
    assert (low["low"], low["high"]) == (float(minimum), None)
    assert (high["low"], high["high"]) == (None, -float(minimum))
    assert {low["verdict"], high["verdict"]} == {verdict}
    assert after == pytest.approx(before, abs=0.005)
    held = [prompt.key for prompt in on.who.asked if prompt.key == "wide/hold"]
    assert len(held) == enough


def test_the_controls_are_back_at_their_marks_and_every_normal_value_is_verified(
    tmp_path: Path,
) -> None:
    with stage(tmp_path) as on:
        before = [on.position(control) for control in (COURSE, CLEARANCE)]
        wide_alarm(on.bench)
        after = [on.position(control) for control in (COURSE, CLEARANCE)]
        judged = on.requests("judge")
    assert after == pytest.approx(before, abs=0.005)
    verified = {key for key in judged if key.startswith("wide/verify/")}
    assert verified == {
        f"wide/verify/{point}/verdict"
        for point in ("course width", "clearance 90", "clearance 150")
    }
    assert {judged[key]["verdict"] for key in verified} == {"in tolerance"}
    assert on.bench.hazards == {}


def test_a_control_that_does_not_move_is_refused_and_the_profile_stays_open(tmp_path: Path) -> None:
    with stage(tmp_path) as on:
        on.who.inner = Stuck(on.who.inner, COURSE)
        with pytest.raises(Refused, match=rf"after 3 adjustments with '{COURSE}'.*at its stop"):
            wide_alarm(on.bench)
        assert list(on.bench.hazards) == ["wide"]


def test_a_mark_that_was_not_returned_to_is_found_and_turned_live(tmp_path: Path) -> None:
    """The technician says that the control is back; the reading says that it is not."""
    with stage(tmp_path) as on:
        before = on.position(COURSE)
        on.who.answers = {f"wide/remove/{COURSE}": True}
        wide_alarm(on.bench)
        assert any(view.key == "wide/restore/course width/adjust 1" for view in on.who.views)
        assert on.position(COURSE) == pytest.approx(before, abs=0.02)


def test_a_control_that_is_stuck_at_the_profile_is_refused(tmp_path: Path) -> None:
    with stage(tmp_path) as on:
        on.who.inner = Stuck(on.who.inner, CLEARANCE, only_from="wide/restore/")
        with pytest.raises(Refused, match=rf"adjustments with '{CLEARANCE}'.*put it back"):
            wide_alarm(on.bench)
        assert list(on.bench.hazards) == ["wide"]


def test_a_value_that_is_not_back_leaves_the_profile_open(tmp_path: Path) -> None:
    """Somebody turns the clearance after it was restored; the last look finds it."""
    with stage(tmp_path) as on:
        inner = on.who.inner

        class Meddler:
            name = "meddler"
            watching = staticmethod(inner.watching)
            tell = staticmethod(inner.tell)

            @staticmethod
            def answer(prompt: Prompt) -> Answer:
                if prompt.key == "wide/verify/course width/connect":
                    on.turn(CLEARANCE, -0.2)
                return inner.answer(prompt)

        on.who.inner = Meddler()
        with pytest.raises(Refused, match=r"'clearance 90' reads .* after the profile was removed"):
            wide_alarm(on.bench)
        assert list(on.bench.hazards) == ["wide"]


def test_a_single_frequency_localizer_has_no_clearance_to_reduce(tmp_path: Path) -> None:
    changes = {
        'clearance_control = "clearance SBO level"\n': "",
        'clearance_points = ["clearance 90", "clearance 150"]\n': "",
    }
    with stage(tmp_path, changes=changes) as on:
        wide_alarm(on.bench)
        assert {view.control for view in on.who.views} == {COURSE}
