"""``trimbench trim traverse`` with a receiver's own log: by options, and by a station file."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.errors import InputError
from procedures.commands.trim_drive import layout_of
from sim_instruments.drive import CarPosition, OstrelDl4, Straight, Trip
from sim_instruments.geometry import Position
from sim_instruments.parameters import PlantParameters
from sim_instruments.plant import Plant
from tests.sim_instruments.test_drive import CLOCK
from tests.support.commands import CommandLine
from tests.support.driving import RECEIVER_LOG, positions
from tests.support.ground import true_course
from tests.support.plants import STATION

TRIP = Trip(Straight(Position(3120.0, -130.0), Position(3120.0, 130.0)), 15.0)
RECEIVER = OstrelDl4(0.6, every=3)


@pytest.fixture
def plant() -> Plant:
    return Plant(PlantParameters.from_table({"alignment_ddm": 0.006}), CLOCK)


@pytest.fixture
def log(tmp_path: Path, plant: Plant) -> Path:
    """A log and its track, driven on a plant."""
    path = tmp_path / "drive.csv"
    path.write_text(RECEIVER.log(plant, TRIP, 1.8e9), encoding="utf-8")
    track = CarPosition().track(plant.given.site, TRIP, 1.8e9)
    path.with_suffix(".nmea").write_text(track, encoding="utf-8")
    return path


@pytest.fixture
def station(tmp_path: Path) -> Path:
    text = STATION.read_text(encoding="utf-8")
    for before, after in positions("course", u="0.05 m", log=RECEIVER_LOG).items():
        assert before in text
        text = text.replace(before, after)
    path = tmp_path / "station.toml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Callable[..., CommandLine]:
    def made() -> CommandLine:
        return CommandLine(capsys)

    return made


Run = Callable[..., CommandLine]


def test_a_station_file_says_what_the_log_holds(
    run: Run, log: Path, station: Path, plant: Plant
) -> None:
    truth = true_course(plant)
    said = run()(
        "trim", "traverse", log, "--station", station, "--track", log.with_suffix(".nmea"), "--json"
    )  # fmt: skip
    data = said.json
    assert data["alignment_m"] == pytest.approx(truth.alignment, abs=0.2)
    assert data["sensitivity"] == pytest.approx(truth.sensitivity, rel=0.005)
    assert data["course_width_deg"] == pytest.approx(truth.course_width_deg, rel=0.005)
    assert data["log"]["delay_s"] == pytest.approx(RECEIVER.lag_s, abs=0.03)
    assert data["log"]["delay_estimated"]
    assert data["log"]["passes"] == 2
    assert [file["name"] for file in data["log"]["files"]] == ["drive.csv", "drive.nmea"]
    # What the receiver may be off by is one error for all rows: 0.0005 DDM over the slope.
    assert data["alignment_u_m"] == pytest.approx(0.0005 / truth.sensitivity, rel=0.02)


def test_columns_may_be_said_by_options(run: Run, tmp_path: Path) -> None:
    rows = [(t, 6.0 * t - 60.0) for t in range(21)] + [(40 - t, 6.0 * t - 60.0) for t in range(20)]
    text = "\n".join(["s;DDM %;x", *(f"{t};{-0.145 * (x - 3.0):.4f};{x}" for t, x in sorted(rows))])
    path = tmp_path / "own.csv"
    path.write_text(text, encoding="utf-8")
    keys = ("separator=;", "time=s", "time_unit=s", "ddm=DDM %", "ddm_unit=%", "positive=90",
            "offset=x")  # fmt: skip
    options = [word for key in keys for word in ("--log", key)]
    data = run()("trim", "traverse", path, *options, "--json").json
    assert data["alignment_m"] == pytest.approx(3.0, abs=0.01)
    assert data["sensitivity"] == pytest.approx(0.00145, rel=1e-3)
    assert data["log"]["delay_s"] == pytest.approx(0.0, abs=0.01)
    said = run()("trim", "traverse", path, *options, "--explain")
    assert "ms late" in said.out
    assert "corrected, 2 passes" in said.out
    assert "receiver's log: rows averaged" in said.out


def test_degrees_need_no_distance_and_have_no_metres(run: Run, tmp_path: Path) -> None:
    rows = "\n".join(f"{t},{0.08 * (0.1 * t - 1.4):.5f},{0.1 * t - 1.5:.2f}" for t in range(31))
    path = tmp_path / "angles.csv"
    path.write_text(f"time,ddm,angle\n{rows}\n", encoding="utf-8")
    options = ("--log", "ddm_unit=ratio", "--log", "positive=150", "--log", "angle=angle",
               "--log", "time_unit=s")  # fmt: skip
    data = run()("trim", "traverse", path, *options, "--json").json
    assert data["alignment_deg"] == pytest.approx(-0.1, abs=0.01)
    assert data["log"]["hysteresis_m"] is None
    assert "takes both directions" in data["log"]["warnings"][0]
    # A tenth of a degree a second, and a second of lag that nobody knows.
    assert data["alignment_u_deg"] == pytest.approx(0.1, rel=0.05)


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (["--log", "ddm_unit=uA"], "positive: Field required"),
        (["--log", "ddm_unit=furlongs", "--log", "positive=90"], "ddm_unit"),
        (["--log", "positive"], "KEY=VALUE was expected"),
        (["--log", "positive=90", "--log", "positive=90"], "each key once"),
        (["--track", "t.nmea"], "ddm_unit: Field required"),
        (["--station", str(STATION)], r"no table [course.positions.receiver_log]"),
        (["--station", str(STATION), "--log", "positive=90"], "not from both"),
    ],
)
def test_options_that_do_not_say_it_are_refused(
    run: Run, log: Path, options: list[str], message: str
) -> None:
    said = run()("trim", "traverse", log, *options, "--json")
    assert said.code == 2
    assert message in said.error["message"]


def test_a_plain_traverse_is_read_as_ever(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "plain.csv"
    path.write_text("offset_m,ddm\n-50,-0.07\n0,0\n50,0.07\n", encoding="utf-8")
    data = run()("trim", "traverse", path, "--json").json
    assert data["sensitivity"] == pytest.approx(0.0014)
    assert "log" not in data


@given(st.lists(st.text(max_size=20) | st.sampled_from(["positive=90", "ddm_unit=%"]), max_size=4))
def test_any_options_give_a_layout_or_an_input_error(options: list[str]) -> None:
    try:
        layout = layout_of(options)
    except InputError:
        return
    assert layout.positive == 90
