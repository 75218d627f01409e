"""No procedure judges DDM by a receiver whose sense was never proved."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path

import pytest

from daq.errors import Aborted
from daq.log.entry import Kind
from daq.log.reader import LogReader
from drivers.profiled import Place
from procedures.catalogue import PROCEDURES
from procedures.record.collect import collect
from sim_instruments.fault_panel import FaultPanel
from sim_instruments.faulty_session import FaultySession
from sim_instruments.value_faults import WrongSign
from tests.support.in_process import DirectInstrument, InProcessBench
from tests.support.operators import Minded, Says
from tests.support.plants import demo_station

REVERSED = "The sense of 'receiver' is reversed: it calls 150 Hz what is 90 Hz."
NO_DDM = frozenset({"transmitter", "cable-set"})
"""Read no DDM with a navigation receiver; balance is measured on a detector's samples."""

PROFILES = Path(__file__).parents[3] / "drivers" / "profiles"


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[InProcessBench]:
    with InProcessBench.make(demo_station(), log=tmp_path / "run.tblog") as made:
        yield made


def journalled(bench: InProcessBench, run: int = 1) -> dict[str, Mapping[str, object]]:
    with LogReader(bench.writer.path) as reader:
        rows = [(e.key, e.body["request"]) for e in reader.entries(run=run, kind=Kind.OUTCOME)]
    return {key: row for key, row in rows if isinstance(row, Mapping)}


@pytest.mark.parametrize("name", sorted(PROCEDURES.keys() - NO_DDM - {"sense-check"}))
def test_each_procedure_that_judges_ddm_asks_for_the_proof_before_it_reads_anything(
    bench: InProcessBench, name: str
) -> None:
    who = Minded(bench.technician(1), answers={"sense/receiver/possible": Aborted("Enough.")})
    end = bench.run(name, who)
    assert (end.result, who.asked_keys[-1]) == ("aborted", "sense/receiver/possible")
    with LogReader(bench.writer.path) as reader:
        assert list(reader.entries(kind=Kind.READING)) == []


def test_a_receiver_that_was_found_right_is_not_asked_for_again_by_another_procedure(
    bench: InProcessBench,
) -> None:
    assert bench.run("sense-check").result == "finished"
    who = Minded(bench.technician(2))
    bench.run("routine", who)
    assert any(key.startswith("routine/") for key in journalled(bench, 2))
    assert not [key for key in who.asked_keys if key.startswith("sense/")]
    assert any("was found right on" in said for said in who.told)
    with LogReader(bench.writer.path) as reader:
        [proof] = [entry for entry in reader.entries(run=1) if entry.key == "sense/receiver/found"]
    noted = journalled(bench, 2)["sense/receiver/found before"]
    assert (noted["row"], noted["serial"]) == (proof.seq, "20417")


def refused_before_anything_is_turned(bench: InProcessBench) -> None:
    before = bench.sim.plant.truth().positions
    end = bench.run("monitor-baseline")
    assert (end.result, end.message.startswith(REVERSED)) == ("refused", True), end
    assert end.open_hazards == ()
    truth = bench.sim.plant.truth()
    assert (truth.positions, truth.cuts, truth.lines_in, truth.tones_off) == (before, [], [], [])
    kinds = {str(row["do"]) for row in journalled(bench).values()}
    assert "adjust" not in kinds
    assert all(key.startswith(("cautions/", "calibration/", "sense/")) for key in journalled(bench))


def test_a_profile_that_states_the_wrong_convention_ends_a_baseline_before_it_begins(
    bench: InProcessBench, tmp_path: Path
) -> None:
    right = (PROFILES / "halvorsund-nr2.toml").read_text(encoding="utf-8")
    assert right.count("positive_tone = 150") == 1
    wrong = right.replace("positive_tone = 150", "positive_tone = 90")
    (tmp_path / "misstated.toml").write_text(wrong, encoding="utf-8")
    bench.instruments["receiver"].close()
    bench.instruments["receiver"] = DirectInstrument(
        "misstated.toml",
        Place("receiver", "ASRL./receiver.tty::INSTR", bench.clock, tmp_path),
        bench.sim.device("halvorsund-nr2").session(),
    )
    refused_before_anything_is_turned(bench)


def test_a_receiver_whose_sign_was_turned_round_ends_a_baseline_before_it_begins(
    bench: InProcessBench, tmp_path: Path
) -> None:
    """The fault menu's wrong sign, in every answer to DDM."""
    panel = FaultPanel(bench.clock)
    panel.arm(WrongSign(), count=0, matching="DDM")
    bench.instruments["receiver"].close()
    bench.instruments["receiver"] = DirectInstrument(
        "halvorsund-nr2",
        Place("receiver", "ASRL./receiver.tty::INSTR", bench.clock, tmp_path),
        FaultySession(bench.sim.device("halvorsund-nr2").session(), panel),
    )
    refused_before_anything_is_turned(bench)


def test_a_baseline_without_the_proof_says_so_on_its_record(bench: InProcessBench) -> None:
    reason = "modulation must stay on"
    answers: dict[str, Says] = {
        "sense/receiver/possible": False,
        "sense/receiver/reason": reason,
    }
    end = bench.run("monitor-baseline", Minded(bench.technician(1), answers=answers))
    assert end.result == "finished", end
    with LogReader(bench.writer.path) as reader:
        warnings = collect(reader, end.run).warnings
    assert any("not proved" in told and reason in told for told in warnings)


def test_the_readings_of_the_check_are_no_part_of_what_was_found_or_left(
    bench: InProcessBench,
) -> None:
    """A course line that reads 0.2 on purpose stands apart from the course line."""
    bench.run("monitor-baseline")
    with LogReader(bench.writer.path) as reader:
        summary = collect(reader, 1).summary
    lines = {line.variant: line for line in summary if line.point == "course line"}
    made = {f"{tone} made to predominate" for tone in ("no tone", "150 Hz", "90 Hz")}
    assert set(lines) == {"", *made}
    assert lines[""].found is not None
    assert abs(lines[""].found.measurement.value) < 0.01
