"""Monitor phasing where it cannot be done, and where nothing has to be done."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from pathlib import Path

import pytest

from daq.errors import Refused
from daq.roles import Action, Answer, Operator, Prompt, WatchCommand, WatchView
from daq.units import format_length
from procedures.steps.phasing import PAIRS, phase_and_width
from tests.support.in_process import InProcessBench
from tests.support.operators import Interrupted, Minded
from tests.support.plants import demo_station
from tests.support.steps import IN_ORDER, stage


def test_a_monitor_that_is_in_order_needs_no_cut(tmp_path: Path) -> None:
    with stage(tmp_path) as on:
        done = phase_and_width(on.bench, "monitor")
        assert on.under.sim.plant.truth().lines_in == []
    assert done.cuts == 0
    assert abs(done.quadrature.value) <= 0.001
    assert done.normal.value == pytest.approx(0.155, abs=0.001)


@pytest.mark.parametrize("phase_deg", [-170.0, -91.0, -30.0, 45.0, 120.0, 180.0])
def test_one_cut_is_enough_wherever_the_phase_is_found(phase_deg: float, tmp_path: Path) -> None:
    """The phase that is stated lies within k=3 of what the plant was given."""
    with stage(tmp_path, plant={"phase_error_deg": phase_deg}) as on:
        done = phase_and_width(on.bench, "monitor")
        note = on.requests("note")["phasing/monitor/round 1/phase"]
    error = (float(str(note["phase_deg"])) - phase_deg + 180.0) % 360.0 - 180.0
    assert abs(error) <= 3.0 * float(str(note["u_deg"]))
    assert note["reversed"] is (abs(phase_deg) > 90.0)
    assert done.cuts == 1
    assert done.normal.value == pytest.approx(0.155, abs=0.001)


def test_reversed_by_half_a_wave_is_mended_by_half_a_wavelength(tmp_path: Path) -> None:
    """At 109.35 MHz and 0.82 half a wavelength is c x 0.82 / (2 f) = 1.124 m.

    What twice the doubt about the velocity factor comes to, 27 mm, is left to the fine control.
    """
    with stage(tmp_path, plant={"phase_error_deg": 180.0}) as on:
        phase_and_width(on.bench, "monitor")
        (cut,) = on.under.sim.plant.truth().cuts
    half_m = 299_792_458 * 0.82 / (2 * 109.35e6)
    assert half_m - 2.0 * 0.01 / 0.82 * half_m - 0.025 < cut[1] < half_m - 0.02


def test_too_little_spare_cable_is_refused_with_what_is_missing(tmp_path: Path) -> None:
    with stage(
        tmp_path, changes={'spare = "1.30 m"': 'spare = "0.10 m"'}, plant={"phase_error_deg": 180.0}
    ) as on:
        with pytest.raises(Refused, match="spare cable cannot bring 'course width' into phase"):
            phase_and_width(on.bench, "monitor")
        assert on.under.sim.plant.truth().cuts == []
        assert on.bench.hazards == {}


def test_after_the_stations_number_of_rounds_it_stops_and_says_so(tmp_path: Path) -> None:
    """One round cannot do when the width has to be turned as well."""
    with (
        stage(
            tmp_path, changes={"max_rounds = 6": "max_rounds = 1"}, plant={"width_ratio": 0.6}
        ) as on,
        pytest.raises(Refused, match="After 1 rounds the null and the width"),
    ):
        phase_and_width(on.bench, "monitor")


def test_a_station_without_the_table_is_refused(tmp_path: Path) -> None:
    with stage(tmp_path) as on, pytest.raises(Refused, match=r"no table \[phasing.transmitter\]"):
        phase_and_width(on.bench, "transmitter")


def test_what_was_really_cut_counts_against_the_spare(tmp_path: Path) -> None:
    """The length that the technician enters is taken from the spare, not the planned one."""
    with stage(tmp_path, plant={"phase_error_deg": -60.0}) as on:
        on.who.answers = {"/cut": 0.25, "/cut/again 1": 0.25}
        # Nothing is cut in the plant, so the same is found again until the spare is used up.
        with pytest.raises(Refused):
            phase_and_width(on.bench, "monitor")
        made = [row for key, row in on.requests("note").items() if key.endswith("cut made")]
    assert [round(float(str(row["spare_left_m"])), 3) for row in made[:3]] == [1.05, 0.8, 0.55]


# A pair of readings that says nothing ---------------------------------------------------------


@dataclass
class Absent:
    """Says yes to connecting the receiver and the line and does neither, until asked to look."""

    inner: Operator
    left_out: list[Prompt] = field(default_factory=list)
    looked: bool = False

    @property
    def name(self) -> str:
        return self.inner.name

    def answer(self, prompt: Prompt) -> Answer:
        if re.search(r"/again \d+\Z", prompt.key):
            self.looked = True
            for left in self.left_out:
                if left.action and left.action.verb == "connect receiver":
                    self.inner.answer(left)
            return True
        verb = prompt.action.verb if prompt.action else ""
        if not self.looked and verb in ("connect receiver", "insert line"):
            self.left_out.append(prompt)
            return True
        if verb == "remove line" and len(self.left_out) == 2:
            self.left_out.pop()
            return True
        return self.inner.answer(prompt)

    def watching(self, view: WatchView) -> WatchCommand:
        return self.inner.watching(view)

    def tell(self, text: str) -> None:
        self.inner.tell(text)


def test_a_pair_that_says_nothing_is_read_again_once_somebody_has_looked(tmp_path: Path) -> None:
    """The question names what to look at; the void pair is kept and is no as-found value."""
    with stage(tmp_path, plant={"phase_error_deg": -60.0}) as on:
        on.who.inner = Absent(on.who.inner)
        done = phase_and_width(on.bench, "monitor")
        (asked,) = [p for p in on.who.asked if p.key.endswith("/again 1")]
        notes = on.requests("note")
        read = list(on.requests("measure"))
    assert "Is the receiver connected to 'course width'" in asked.text
    assert "is the line in the SBO path at the transmitter, is the course carrier on" in asked.text
    assert "line is in" in asked.caution
    first, again = "phasing/monitor/round 1", "phasing/monitor/round 1/again 1"
    assert read[:4] == [f"{k}/{of}" for k in (first, again) for of in ("normal", "quadrature")]
    assert notes[f"{first}/void"]["void"] == [f"{first}/normal", f"{first}/quadrature"]
    assert f"{again}/phase" in notes
    assert done.normal.value == pytest.approx(0.155, abs=0.001)


def test_only_a_no_refuses_and_the_line_is_still_reminded_of(tmp_path: Path) -> None:
    with stage(tmp_path) as on:
        on.who.inner = Absent(on.who.inner)
        on.who.answers = {"/again 1": False}
        with pytest.raises(Refused, match=r"own uncertainty.*Is the receiver connected"):
            phase_and_width(on.bench, "monitor")
        assert list(on.bench.hazards) == ["phasing/monitor/round 1/line"]


def test_after_a_number_of_pairs_it_gives_up(tmp_path: Path) -> None:
    with stage(tmp_path) as on:
        on.who.inner = Absent(on.who.inner)
        on.who.answers = {f"/again {n}": True for n in range(1, 9)}
        with pytest.raises(Refused, match="own uncertainty"):
            phase_and_width(on.bench, "monitor")
        asked = [key for key in on.who.asked_keys if "/again" in key and key[-1].isdigit()]
    assert len(asked) == PAIRS - 1


def test_a_run_that_was_cut_off_at_a_bad_pair_arrives_at_the_question(tmp_path: Path) -> None:
    with InProcessBench.make(demo_station(), IN_ORDER, log=tmp_path / "x.tblog") as made:
        absent = Absent(made.technician(1))

        def at_question(key: str, when: str) -> bool:
            return key.endswith("/again 1") and when == "before"

        with pytest.raises(KeyboardInterrupt):
            made.run("monitor-baseline", Interrupted(absent, at_prompt=at_question))
        who = Minded(absent)
        end = made.resume(1, who)
    assert who.asked_keys[0] == "phasing/monitor/round 1/again 1"
    assert end.result == "finished"


# The length really cut ------------------------------------------------------------------------


@pytest.mark.parametrize("typed_m", [10.0, -0.3, 0.0])
def test_a_strange_length_is_asked_for_once_more_with_plan_and_spare(
    typed_m: float, tmp_path: Path
) -> None:
    """10 m of 1.3 m to spare, a negative length, nothing at all; the second answer counts."""
    with stage(tmp_path, plant={"phase_error_deg": -60.0}) as on:
        on.who.inner = Typing(on.who.inner, typed_m)
        phase_and_width(on.bench, "monitor")
        again = next(p for p in on.who.asked if p.key.endswith("/cut/again 1"))
        made = next(row for key, row in on.requests("note").items() if key.endswith("cut made"))
    assert format_length(typed_m) in again.text
    assert "1.300 m (51.2 in) was to spare" in again.text
    assert again.action is None
    assert again.suggestion is None
    planned_m = float(str(made["planned_m"]))
    assert format_length(planned_m) in again.text
    assert made["cut_m"] == pytest.approx(planned_m, abs=0.01)
    assert made["spare_left_m"] == pytest.approx(1.3 - planned_m, abs=0.01)


def test_a_length_near_the_plan_is_not_asked_for_again(tmp_path: Path) -> None:
    with stage(tmp_path, plant={"phase_error_deg": -60.0}) as on:
        phase_and_width(on.bench, "monitor")
        assert not [key for key in on.who.asked_keys if "/cut/again" in key]


def test_a_length_that_stays_impossible_ends_the_run(tmp_path: Path) -> None:
    with stage(tmp_path, plant={"phase_error_deg": -60.0}) as on:
        on.who.answers = {"/cut": -1.0, "/cut/again 1": -1.0, "/again 2": -1.0, "/again 3": -1.0}
        with pytest.raises(Refused, match="No length of the SBO path of the monitor"):
            phase_and_width(on.bench, "monitor")


@pytest.mark.parametrize(
    ("share", "agrees", "words"),
    [(1.0, True, ""), (0.5, False, "Either less was cut than entered")],
)
def test_the_phase_after_a_cut_is_compared_with_what_the_cut_should_have_made(
    share: float, agrees: bool, words: str, tmp_path: Path
) -> None:
    """The plant cuts half of what is said: that is told, with the length that fits, and kept."""
    with stage(tmp_path, plant={"phase_error_deg": -90.0}) as on:
        on.who.inner = Sparing(on.who.inner, share)
        phase_and_width(on.bench, "monitor")
        check = on.requests("note")["phasing/monitor/round 2/cut check"]
        really_m = on.under.sim.plant.truth().cuts[0][1]
    assert check["agrees"] is agrees
    assert check["as_if_m"] == pytest.approx(really_m, abs=0.03)
    assert [words in text for text in on.who.told if "not what a cut of" in text] == [
        True for _ in range(not agrees)
    ]


def test_a_length_that_is_corrected_afterwards_gives_the_spare_back(tmp_path: Path) -> None:
    """Half of it was cut: the other half is still there, and the next cut is possible."""
    with stage(tmp_path, plant={"phase_error_deg": 180.0}) as on:
        on.who.inner = Sparing(on.who.inner, 0.5)
        on.who.answers = {"/cut/again afterwards": 0.5}
        done = phase_and_width(on.bench, "monitor")
        first, second = (
            row for key, row in on.requests("note").items() if key.endswith("cut made")
        )
    assert done.cuts == 2
    assert float(str(first["spare_left_m"])) == pytest.approx(1.3 - float(str(first["cut_m"])))
    assert second["spare_left_m"] == pytest.approx(1.3 - 0.5 - float(str(second["cut_m"])))


def test_a_corrected_length_below_zero_is_asked_for_again(tmp_path: Path) -> None:
    """It would stand in the record as what was really cut, and the spare would not know of it."""
    with stage(tmp_path, plant={"phase_error_deg": 180.0}) as on:
        on.who.inner = Sparing(on.who.inner, 0.5)
        on.who.answers = {"/cut/again afterwards": -0.5, "/cut/again afterwards 2": 0.5}
        phase_and_width(on.bench, "monitor")
        _, second = (row for key, row in on.requests("note").items() if key.endswith("cut made"))
    assert second["spare_left_m"] == pytest.approx(1.3 - 0.5 - float(str(second["cut_m"])))


def test_a_corrected_length_that_stays_below_zero_ends_the_run(tmp_path: Path) -> None:
    with stage(tmp_path, plant={"phase_error_deg": 180.0}) as on:
        on.who.inner = Sparing(on.who.inner, 0.5)
        on.who.answers = {
            f"/cut/again afterwards{again}": -0.5 for again in ("", " 2", " 3")
        }  # fmt: skip
        with pytest.raises(Refused, match="No length of the SBO path was entered"):
            phase_and_width(on.bench, "monitor")


def test_a_slip_that_was_entered_twice_does_not_make_spare_cable(tmp_path: Path) -> None:
    """10 m entered and confirmed, then 0.5 m: of 1.3 m there is 0.8 m left, and not 9.5 m."""
    with stage(tmp_path, plant={"phase_error_deg": 180.0}) as on:
        on.who.inner = Sparing(on.who.inner, 0.5)
        on.who.answers = {
            "round 1/cut/again 1": 10.0, "/cut/again afterwards": 0.5,
        }  # fmt: skip
        on.who.inner = Typing(on.who.inner, 10.0)
        phase_and_width(on.bench, "monitor")
        first, second = (
            row for key, row in on.requests("note").items() if key.endswith("cut made")
        )
    assert first["spare_left_m"] == 0.0
    assert second["spare_left_m"] == pytest.approx(0.8 - float(str(second["cut_m"])))


@dataclass
class Typing:
    """Cuts as asked and types another length the first time; then what was cut."""

    inner: Operator
    typed_m: float
    cut_m: float = 0.0

    @property
    def name(self) -> str:
        return self.inner.name

    def answer(self, prompt: Prompt) -> Answer:
        if prompt.key.endswith("/cut/again 1"):
            return self.cut_m
        answer = self.inner.answer(prompt)
        if prompt.key.endswith("/cut"):
            self.cut_m = float(answer)
            return self.typed_m
        return answer

    def watching(self, view: WatchView) -> WatchCommand:
        return self.inner.watching(view)

    def tell(self, text: str) -> None:
        self.inner.tell(text)


@dataclass
class Sparing:
    """Cuts a share of the first length that is asked for and types the whole."""

    inner: Operator
    share: float

    @property
    def name(self) -> str:
        return self.inner.name

    def answer(self, prompt: Prompt) -> Answer:
        if not prompt.key.endswith("round 1/cut") or prompt.action is None:
            return self.inner.answer(prompt)
        length_m = float(prompt.action.arguments["length_m"])
        arguments = {**prompt.action.arguments, "length_m": self.share * length_m}
        self.inner.answer(replace(prompt, action=Action("cut", arguments)))
        return length_m

    def watching(self, view: WatchView) -> WatchCommand:
        return self.inner.watching(view)

    def tell(self, text: str) -> None:
        self.inner.tell(text)


@dataclass
class LeavesOut(Minded):
    """Says that the line is in the first time, and has not put it in; owns it when asked."""

    skipped: int = 0

    def answer(self, prompt: Prompt) -> Answer:
        if prompt.key.endswith("/line surely in"):
            self.asked.append(prompt)
            return False
        verb = prompt.action.verb if prompt.action else ""
        first = "/round 1/line" in prompt.key and "again" not in prompt.key
        if first and verb in ("insert line", "remove line"):
            self.skipped += 1
            return True
        return super().answer(prompt)


def test_a_line_that_changed_nothing_is_asked_about_and_the_pair_read_again(tmp_path: Path) -> None:
    with stage(tmp_path, plant={"phase_error_deg": -150.0}) as on:
        who = on.who.inner = LeavesOut(on.who.inner)
        done = phase_and_width(on.bench, "monitor")
        notes = on.requests("note")
    (asked,) = [p for p in who.asked if p.key.endswith("/line surely in")]
    assert "Is it surely in?" in asked.text
    assert who.skipped == 2
    first = "phasing/monitor/round 1"
    assert notes[f"{first}/void"]["void"] == [f"{first}/normal", f"{first}/quadrature"]
    assert f"{first}/phase" not in notes
    assert done.cuts == 1


def test_with_the_line_in_and_both_readings_alike_a_yes_goes_on(tmp_path: Path) -> None:
    """At 45 degrees sine and cosine are the same."""
    with stage(tmp_path, plant={"phase_error_deg": 45.0}) as on:
        phase_and_width(on.bench, "monitor")
        assert not [key for key in on.requests("note") if key.endswith("/void")]


def test_ctrl_c_at_the_question_for_the_line_still_reminds_of_it(tmp_path: Path) -> None:
    """It may have been put in before the key was pressed."""
    with stage(tmp_path) as on:
        on.who.answers = {"/line in": KeyboardInterrupt()}
        with pytest.raises(KeyboardInterrupt):
            phase_and_width(on.bench, "monitor")
        assert list(on.bench.hazards) == ["phasing/monitor/round 1/line"]
