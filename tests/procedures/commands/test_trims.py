"""`trimbench trim …` as a user and as a program meet it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner

from procedures.commands.errors import run_app
from procedures.commands.trims import trim_app

CABLE = [
    "cable", "--normal", "0.118", "--normal-tone", "90", "--quadrature", "0.031",
    "--quadrature-tone", "150", "--wanted-tone", "150", "--line-in", "sbo",
    "--frequency", "109.35 MHz", "--velocity-factor", "0.82",
]  # fmt: skip
COMMANDS: dict[str, list[str]] = {
    "cable": CABLE,
    "half-wave": ["half-wave", "--frequency", "110.1 MHz", "--velocity-factor", "0.84"],
    "level": ["level", "--reading", "0.121", "--target", "0.155"],
    "alarm": ["alarm", "--nominal", "0.155", "--percent", "17", "--basis", "width"],
    "width": ["width", "--distance", "3120 m"],
    "course-shift": ["course-shift", "--category", "I"],
    "power": ["power", "--carriers", "2"],
}


def run(arguments: list[str]) -> Any:
    result = CliRunner().invoke(trim_app, [*arguments, "--json"])
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def error_of(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> dict[str, str]:
    assert run_app(trim_app, [*arguments, "--json"]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    error = json.loads(err)["error"]
    assert isinstance(error, dict)
    return error


@pytest.fixture
def traverse_csv(tmp_path: Path) -> Path:
    rows = [f"{x},{0.155 / 105 * (x - 2):.6f},0.0005" for x in range(-100, 101, 20)]
    path = tmp_path / "traverse.csv"
    path.write_text("offset_m,ddm,u_ddm\n" + "\n".join(rows) + "\n")
    return path


def test_a_carrier_in_kilohertz_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    """Else it is cut by hundreds of metres."""
    for arguments in (CABLE, COMMANDS["half-wave"]):
        typo = [word.replace(" MHz", "kHz") for word in arguments]
        assert "no frequency of an ILS carrier" in error_of(typo, capsys)["message"]


def test_per_cent_and_a_sensitivity_are_taken_as_they_are_said() -> None:
    plain, said = (["alarm", "--nominal", "0.155", "--percent", text] for text in ("17", "17 %"))
    assert run(plain) == run(said)
    assert run(["power", "--percent", "80 %"])["percent"] == 80.0
    shift = run(["course-shift", "--category", "I", "--sensitivity", "0.145 %/m"])
    assert shift == run(["course-shift", "--category", "I", "--sensitivity", "0.00145"])


def test_a_wrong_sensitivity_is_told_how_to_be_written(capsys: pytest.CaptureFixture[str]) -> None:
    error = error_of(["course-shift", "--category", "I", "--sensitivity", "5 m"], capsys)
    assert "a displacement sensitivity was expected" in error["message"]
    assert "0.145 %/m" in error["hint"]


def test_cable_finds_a_reversed_sense_and_cuts_csb_first() -> None:
    """atan2(0.031, -0.118) = 165.28 degrees by hand; 1.0321 m of 2.2481 m less what is left on."""
    data = run([*CABLE, "--line-angle-u", "0 deg", "--reading-u", "0.0001"])
    assert data["phase_deg"] == pytest.approx(165.28, abs=0.005)
    assert data["reversed"] is True
    assert 0.0 < data["phase_u_deg"] < 0.1
    best, other = data["cuts"]
    assert (best["path"], other["path"]) == ("csb", "sbo")
    assert best["length_m"] == pytest.approx(1.0321 - 0.010, abs=1e-4)
    assert best["length_in"] == pytest.approx(best["length_m"] / 0.0254)
    assert best["phase_left_deg"] == pytest.approx(0.010 / 2.2481 * 360, abs=1e-3)
    assert other["phase_left_deg"] == pytest.approx(-0.010 / 2.2481 * 360, abs=1e-3)


def test_cable_takes_signed_readings_and_other_units() -> None:
    signed = [*CABLE]
    for tone in ("--normal-tone", "--quadrature-tone"):
        at = signed.index(tone)
        del signed[at : at + 2]
    signed[signed.index("0.118")] = "-11.8 %"
    signed[signed.index("0.031")] = "30 uA"
    assert run(signed)["phase_deg"] == pytest.approx(run(CABLE)["phase_deg"])


def test_cable_knows_spare_lengths_and_the_fine_control() -> None:
    data = run([*CABLE, "--csb-spare", "30 in", "--sbo-spare", "1.5 m", "--fine-range", "40 deg"])
    assert [cut["path"] for cut in data["cuts"]] == ["sbo", "csb"]
    assert data["cuts"][1]["within_spare"] is False
    assert data["cuts"][0]["fine_control_deg"] == -data["cuts"][0]["phase_left_deg"]


def test_cable_says_what_a_cut_leaves_with_its_uncertainty_and_what_is_left_on() -> None:
    """Both are k = 2: 2 hypot(1.05, 1 / 82 of 161 deg) = 4.4 deg; 28 mm of 2.248 m = 4.5 deg."""
    result = CliRunner().invoke(trim_app, [*CABLE, "--velocity-factor-u", "0.01"])
    assert "phase     +165.3 ± 2.1 deg (k=2) (SBO leads)" in result.stdout
    assert "CSB by 1.004 m (39.5 in), 28 mm left on, leaves +4.5 ± 4.4 deg (k=2)" in result.stdout


def test_alarm_points_are_printed_as_the_standards_round_them() -> None:
    """17 per cent of sensitivity: 0.1287 and 0.1814, not what binary makes of 0.12865."""
    result = CliRunner().invoke(trim_app, ["alarm"])
    assert "wide alarm    0.1287 (124.5 uA)" in result.stdout
    assert "narrow alarm  0.1814 (175.5 uA)" in result.stdout


def test_an_alarm_that_no_receiver_shows_is_warned_of() -> None:
    assert run(["alarm"])["warnings"] == []
    (warning,) = run(["alarm", "--nominal", "0.39"])["warnings"]
    assert "narrow alarm lies beyond 0.4 DDM" in warning


def test_level_in_decibels_and_per_cent() -> None:
    """20 log10(155/121) = 2.151 dB by hand."""
    assert run(COMMANDS["level"])["change_db"] == pytest.approx(2.151, abs=5e-4)
    volts = run(["level", "--reading", "1200 mV", "--target", "1.5 Vpp", "--reading-u", "12 mV"])
    assert volts["change_percent"] == pytest.approx(25.0)
    assert volts["change_u_db"] == pytest.approx(0.0869, abs=1e-4)
    assert run(["level", "--reading", "-0.121", "--target", "-0.155"])["change_db"] > 0


def test_width_and_half_wave_and_power() -> None:
    assert run(COMMANDS["width"])["course_width_deg"] == pytest.approx(3.855, abs=5e-4)
    assert run(COMMANDS["half-wave"])["half_wave_in"] == pytest.approx(45.0, abs=0.05)
    assert run(COMMANDS["power"])["change_db"] == pytest.approx(-0.969, abs=5e-4)
    assert run(["power", "--carriers", "1"])["change_db"] == pytest.approx(-3.010, abs=5e-4)


def test_course_shift_by_category() -> None:
    assert run(COMMANDS["course-shift"])["alarm_ddm"] == pytest.approx(0.015)
    third = run(["course-shift", "--category", "III"])
    assert third["alarm_ddm"] == pytest.approx(0.0087)
    assert third["status"] == "from memory (high)"


def test_traverse_from_a_file(traverse_csv: Path) -> None:
    data = run(["traverse", str(traverse_csv), "--distance", "3120 m"])
    assert data["alignment_m"] == pytest.approx(2.0, abs=1e-3)
    assert data["sensitivity"] == pytest.approx(0.155 / 105, rel=1e-4)
    assert data["sensitivity_u"] > 0
    assert data["half_width_left"] == pytest.approx(105.0, rel=1e-3)
    assert data["half_width_right"] == pytest.approx(105.0, rel=1e-3)
    assert data["course_width_deg"] == pytest.approx(3.855, abs=0.002)
    assert "course_width_deg" not in run(["traverse", str(traverse_csv)])


def test_traverse_in_degrees_names_its_results_so(tmp_path: Path) -> None:
    path = tmp_path / "angles.csv"
    path.write_text("angle_deg,ddm\n-1,-0.08\n0,0.001\n1,0.081\n1.5,0.12\n")
    data = run(["traverse", str(path)])
    assert "alignment_deg" in data
    assert "alignment_m" not in data
    assert data["course_width_deg"] == pytest.approx(3.86, abs=0.02)


def test_clearance_from_a_file(tmp_path: Path) -> None:
    angles = np.arange(-36, 36.5, 0.5)
    ddm = np.where(angles == 21, 0.15, np.clip(0.08 * angles, -0.2, 0.2))
    path = tmp_path / "wide.csv"
    path.write_text(
        "angle_deg,ddm\n" + "".join(f"{a},{d}\n" for a, d in zip(angles, ddm, strict=True))
    )
    found = run(["clearance", str(path)])
    assert found["warnings"] == []
    sectors = found["sectors"]
    low = min(sectors, key=lambda sector: sector["lowest_ddm"])
    assert (low["side"], low["at_deg"], low["verdict"]) == ("150", 21.0, "out of tolerance")
    assert low["margin_u"] is None


def test_clearance_of_positions_the_other_way_round_warns(tmp_path: Path) -> None:
    angles = np.arange(-36, 36.5, 0.5)
    path = tmp_path / "wide.csv"
    path.write_text(
        "angle_deg,ddm\n" + "".join(f"{a},{-np.clip(0.08 * a, -0.2, 0.2)}\n" for a in angles)
    )
    (warning,) = run(["clearance", str(path)])["warnings"]
    assert "the sense is reversed" in warning
    assert warning in " ".join(
        CliRunner().invoke(trim_app, ["clearance", str(path)]).stdout.split()
    )


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_explains_itself_and_reads_well(name: str) -> None:
    result = CliRunner().invoke(trim_app, [*COMMANDS[name], "--explain"])
    assert result.exit_code == 0
    assert "\n- " in result.stdout
    assert " nan" not in result.stdout
    assert run([*COMMANDS[name], "--explain"])["explain"]


@pytest.mark.parametrize(
    ("change", "kind", "message"),
    [
        ({"109.35 MHz": "38.2 in"}, "UnitError", "is a length; a frequency was expected"),
        ({"0.118": "0", "0.031": "0"}, "InputError", "Both readings are zero"),
        ({"0.118": "much"}, "UnitError", "no number"),
        ({"0.118": "nan"}, "UnitError", "no number"),
        ({"0.118": "0.41"}, "InputError", "folded"),
        ({"0.031": "-0.031"}, "InputError", "says 90 Hz"),
        ({"0.82": "1.2"}, "InputError", "velocity factor"),
        ({"sbo": "abc"}, "UsageError", "--line-in"),
        ({"109.35 MHz": "-109.35 MHz"}, "UnitError", "no frequency of an ILS carrier"),
    ],
)
def test_cable_refuses_with_the_reason(
    change: dict[str, str], kind: str, message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    error = error_of([change.get(word, word) for word in CABLE], capsys)
    assert error["kind"] == kind
    assert message in error["message"]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["width", "--distance", "-5 m"], "positive"),
        (["width", "--distance", "3120"], "no unit"),
        (["width", "--distance", "3120 MHz"], "is a frequency; a length"),
        (["level", "--reading", "0", "--target", "0.155"], "not zero"),
        (["level", "--reading", "0.1", "--target", "1.5 V"], "is a voltage; a DDM"),
        (["alarm", "--percent", "seventeen"], "no percentage"),
        (["alarm", "--percent", "120"], "below 100"),
        (["alarm", "--basis", "both"], "--basis"),
        (["alarm", "--nominal", "5"], "no receiver shows it"),
        (["level", "--reading", "1e-320", "--target", "0.155"], "no level control reaches"),
        (["level", "--reading", "1e308", "--target", "1e-300"], "no level control reaches"),
        (["traverse", "none.csv"], "No such file"),
        (["match", "one.s1p", "--frequency", "109.35 MHz"], "no such file"),
        (["course-shift", "--category", "IV"], "--category"),
        (["power", "--percent", "0"], "above 0"),
    ],
)
def test_other_commands_refuse_with_the_reason(
    arguments: list[str], message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert message in error_of(arguments, capsys)["message"]


def test_a_real_process_prints_one_object_and_leaves_with_two_on_an_error() -> None:
    code = (
        "import sys; from procedures.commands.errors import run_app; "
        "from procedures.commands.trims import trim_app; sys.exit(run_app(trim_app))"
    )
    root = Path(__file__).resolve().parents[3]
    environment = {**os.environ, "PYTHONPATH": str(root)}

    def call(*arguments: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-c", code, *arguments],
            capture_output=True,
            text=True,
            check=False,
            env=environment,
        )

    good = call("level", "--reading", "-0.121", "--target", "-98.7 uA", "--json")
    assert (good.returncode, good.stderr) == (0, "")
    assert json.loads(good.stdout)["change_db"] == pytest.approx(-1.4847, abs=1e-3)
    bad = call("width", "--distance", "far", "--json")
    assert (bad.returncode, bad.stdout) == (2, "")
    assert json.loads(bad.stderr)["error"]["kind"] == "UnitError"
