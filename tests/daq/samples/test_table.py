from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from daq.errors import SamplesError
from daq.samples.analyze import analyze_file
from daq.samples.table import open_table
from tests.daq.samples.synthetic import Truth, clean, record

TRUTH = Truth(rate_hz=10_000.0, duration_s=0.5, m150=0.26)


def lines(form: Callable[[float, float], str]) -> list[str]:
    v = record(TRUTH, np.random.default_rng(1))
    return [form(t, x) for t, x in zip(TRUTH.t - 0.25, v, strict=True)]


FORMS: dict[str, Callable[[float, float], str]] = {
    "comma": lambda t, x: f"{t:.6E},{x:.6E}",
    "comma with a last empty cell": lambda t, x: f"{t:.6f},{x:.6f},",
    "semicolon and decimal comma": lambda t, x: f"{t:.6f};{x:.6f}".replace(".", ","),
    "tab": lambda t, x: f"{t:.6f}\t{x:.6f}",
    "blanks": lambda t, x: f"  {t:.6f}   {x:.6f}",
    "blanks and decimal comma": lambda t, x: f"  {t:.6f}   {x:.6f}".replace(".", ","),
    "quotes": lambda t, x: f'"{t:.6f}","{x:.6f}"',
    "quotes and decimal comma": lambda t, x: f'"{t:.6f}","{x:.6f}"'.replace(".", ","),
    "after columns that are empty": lambda t, x: f",,,{t:.6f},{x:.6f}",
}


@pytest.mark.parametrize("name", FORMS)
@pytest.mark.parametrize("heading", [[], ["Record Length,5000", "0.5,0.1", "", "Time (s),CH1 (V)"]])
def test_tables_as_oscilloscopes_write_them(tmp_path: Path, name: str, heading: list[str]) -> None:
    path = tmp_path / "a.csv"
    path.write_text("\n".join([*heading, *lines(FORMS[name])]) + "\n")
    a = analyze_file(path)
    assert a.rate_hz == 10_000.0
    assert a.samples == 5_000
    assert a.ddm.value == pytest.approx(TRUTH.ddm, abs=4.0 * a.ddm.u)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\n\n"])
def test_any_way_of_writing_text(tmp_path: Path, encoding: str, end: str) -> None:
    path = tmp_path / "a.csv"
    rows = ["Zeit;Spannung", "s;V", *lines(FORMS["semicolon and decimal comma"])]
    path.write_bytes(end.join(rows).encode(encoding))
    a = analyze_file(path)
    assert (a.rate_hz, a.samples) == (10_000.0, 5_000)


@pytest.mark.parametrize(
    ("heading", "unit_s"),
    [
        ("Time (ms),CH1 (V)", 1e-3),
        ("Time,CH1\n(ms),(V)", 1e-3),
        ("Time [us],CH1", 1e-6),
        ("\u00b5s,V", 1e-6),
        ("Time in ms,0\nTime,CH1\ns,V", 1.0),
        ("Samples,CH1", 1.0),
    ],
)
def test_the_unit_over_the_time_column_counts(tmp_path: Path, heading: str, unit_s: float) -> None:
    path = tmp_path / "a.csv"
    rows = lines(lambda t, x: f"{t / unit_s:.6f},{x:.6f}")
    path.write_text("\n".join([heading, *rows]), encoding="utf-8")
    assert open_table(path).rate_hz == pytest.approx(10_000.0)


def test_three_columns_are_time_i_and_q(tmp_path: Path) -> None:
    z = clean(TRUTH) * np.exp(2j * np.pi * 200.0 * TRUTH.t)
    path = tmp_path / "a.csv"
    np.savetxt(path, np.column_stack([TRUTH.t, z.real, z.imag]), delimiter=",", fmt="%.9e")
    a = analyze_file(path)
    assert a.carrier_offset_hz is not None
    assert a.carrier_offset_hz.value == pytest.approx(200.0, abs=0.01)
    assert a.ddm.value == pytest.approx(TRUTH.ddm, abs=1e-5)


def test_a_long_table_is_read_in_pieces(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("t,v\n" + "\n".join(lines(FORMS["comma"])) + "\n")
    pieces = list(open_table(path).chunks(700))
    assert [len(piece) for piece in pieces] == [700] * 7 + [100]


def test_a_gap_in_the_time_axis_is_refused(tmp_path: Path) -> None:
    rows = lines(FORMS["comma"])
    path = tmp_path / "a.csv"
    path.write_text("\n".join(rows[:3000] + rows[3007:]) + "\n")
    with pytest.raises(SamplesError, match=r"a.csv, line 3001: the time axis is uneven"):
        analyze_file(path)


def test_a_gap_between_two_pieces_is_refused(tmp_path: Path) -> None:
    rows = lines(FORMS["comma"])
    path = tmp_path / "a.csv"
    path.write_text("\n".join(rows[:5000] + rows[5001:]) + "\n")
    assert len(list(open_table(path).chunks(5000))) == 1
    path.write_text("\n".join(rows[:4200] + rows[4201:]) + "\n")
    with pytest.raises(SamplesError, match="line 4201: the time axis is uneven"):
        list(open_table(path).chunks(4200))


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("nothing\nbut words\n", "holds no row of numbers"),
        ("1,2\n2,3\n", "only 2 rows"),
        ("0,1\n1,1\n1,1\n2,1\n", "line 3: the first column does not rise"),
        ("0,1,2,3\n1,1,2,3\n2,1,2,3\n", "line 1: 4 columns"),
        ("0,1\n1,2\n2,3\n3,\n4,5\n", "line 4: not 2 numbers: '3,'"),
        ("0,1\n1,2\n2,3\n3,oops\n4,5\n", "line 4: not 2 numbers: '3,oops'"),
        ("t,v\n0,1\n\n1,2\n2,3\n3,4,5\n4,5\n", "line 6: not 2 numbers"),
        ("9,1\n8,2\n7,3\n6,4\n", "line 2: the first column does not rise"),
        ("1\n2\n3\n4\n", "single column"),
        ("0,1\n1,2\n2,3\n3,4\n", "rate too low"),
        ("", "is empty"),
    ],
)
def test_what_is_no_table_is_refused_with_the_reason(
    tmp_path: Path, content: str, words: str
) -> None:
    path = tmp_path / "a.csv"
    path.write_text(content)
    with pytest.raises(SamplesError, match=words):
        analyze_file(path)


@pytest.mark.parametrize("heading", ["", "CH1 (V)\n", "Made by an oscilloscope\n4\n\nCH1\n"])
def test_volts_alone_are_read_with_their_rate(tmp_path: Path, heading: str) -> None:
    path = tmp_path / "volts.csv"
    volts = record(TRUTH, np.random.default_rng(1))
    path.write_text(heading + "".join(f"{v:.7f}\n" for v in volts), encoding="utf-8")
    with pytest.raises(SamplesError, match="its sample rate is not known"):
        analyze_file(path)
    a = analyze_file(path, rate_hz=TRUTH.rate_hz)
    assert (a.samples, a.rate_hz) == (5_000, 10_000.0)
    assert a.ddm.value == pytest.approx(TRUTH.ddm, abs=4.0 * a.ddm.u)


def test_a_rate_for_a_table_with_times_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "times.csv"
    path.write_text("t,v\n" + "".join(f"{n / 8000},0.5\n" for n in range(2000)), encoding="utf-8")
    with pytest.raises(SamplesError, match="states its own sample rate"):
        analyze_file(path, rate_hz=8_000.0)


@pytest.mark.parametrize(
    ("heading", "factor"),
    [("Time (ms),CH1 (mV)", 1e3), ("ms,mV", 1e3), ("Time [ms],CH1 [V]", 1.0), ("ms,CH1", 1.0)],
)
def test_the_unit_over_the_voltage_column_counts(
    tmp_path: Path, heading: str, factor: float
) -> None:
    path = tmp_path / "a.csv"
    rows = lines(lambda t, x: f"{1e3 * t:.4f},{factor * x:.6f}")
    path.write_text("\n".join([heading, *rows]) + "\n", encoding="utf-8")
    (volts,) = open_table(path).chunks(5_000)
    assert volts == pytest.approx(record(TRUTH, np.random.default_rng(1)), abs=2e-6)


def test_a_unit_counts_for_volts_alone_too(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("CH1 (mV)\n" + "500\n" * 2000, encoding="utf-8")
    (volts,) = open_table(path, 8_000.0).chunks(2_000)
    assert set(volts.tolist()) == {0.5}
