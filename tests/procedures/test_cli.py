"""Bad input at the real command line: a code, a sentence, no traceback, nothing half-written."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from daq.clock import SystemClock
from daq.log.reader import LogReader
from daq.log.writer import LogWriter
from tests.drivers.tiny_server import Handler, TinyServer, answering
from tests.support.commands import CommandLine, Said, listing
from tests.support.plants import STATION
from tests.support.served import Served, served_bench

ROOT = Path(__file__).parents[2]
TEXT = STATION.read_text(encoding="utf-8")
SCOPE = "TCPIP::127.0.0.1::5025::SOCKET"
IDENTITY = b"FERNMARK,OS-4,123,1.0\n"


@pytest.fixture
def trimbench(capsys: pytest.CaptureFixture[str]) -> CommandLine:
    return CommandLine(capsys)


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with served_bench(tmp_path_factory.mktemp("served")) as bench:
        yield bench


def shell(*argv: object, cwd: Path = ROOT, env: dict[str, str] | None = None) -> Said:
    """Run the program as a process of its own, its standard input closed."""
    done = subprocess.run(
        [sys.executable, "-m", "procedures.cli", *map(str, argv)],
        cwd=cwd,
        env={**os.environ, "PYTHONPATH": str(ROOT), **(env or {})},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=50,
        check=False,
    )
    return Said(done.returncode, done.stdout, done.stderr)


def written(folder: Path, *changes: tuple[str, str]) -> Path:
    """Write the demonstration's station file with pieces of its text changed."""
    text = TEXT
    for before, after in changes:
        assert before in text
        text = text.replace(before, after, 1)
    path = folder / "station.toml"
    path.write_text(text, encoding="utf-8")
    return path


# Station files -----------------------------------------------------------------------------

STATION_FAULTS: dict[str, tuple[tuple[str, str], list[str]]] = {
    "not TOML": (('name = "Tarnholt', "name = Tarnholt"), ["station.toml:4", "not TOML"]),
    "unknown key": (
        ('runway = "16"', 'runwya = "16"'),
        ["station.toml:6: station.runwya", "did you mean 'runway'?"],
    ),
    "unit of the wrong kind": (
        ('frequency = "109.35 MHz"', 'frequency = "109.35 m"'),
        ["station.frequency", "109.35 m"],
    ),
    "a word for a number": (('percent = 17', 'percent = "some"'), ["conventions.alarm_percent"]),
    "outside the band": (('"109.35 MHz"', '"118.35 MHz"'), ["station.frequency"]),
    "unknown point": (
        ('point = "course width"', 'point = "course widht"'),
        ["phasing.monitor", "'course widht'"],
    ),
    "unknown quantity": (('quantity = "vpp"', 'quantity = "vppp"'), ["quantity"]),
    "unknown profile": (
        ('profile = "fernmark-os4"', 'profile = "fernmark-os5"'),
        ["fernmark-os5", "did you mean 'fernmark-os4'?"],
    ),
}  # fmt: skip


@pytest.mark.parametrize("fault", STATION_FAULTS)
def test_a_station_file_that_is_wrong_is_told_with_its_place(
    fault: str, tmp_path: Path, trimbench: CommandLine
) -> None:
    change, words = STATION_FAULTS[fault]
    path = written(tmp_path, change)
    said = trimbench("run", "monitor-baseline", "--station", path)
    assert said.code == 2
    said.is_a_short_message()
    for word in words:
        assert word in said.err
    error = trimbench("run", "monitor-baseline", "--station", path, "--json").error
    assert error["kind"] in ("StationFileError", "ProfileError")


@pytest.mark.parametrize(
    "command",
    [
        ("run", "monitor-baseline"), ("resume", "1"), ("watch", "ddm"), ("instruments",),
        ("runs",), ("record", "1"), ("verify",),
    ],
)  # fmt: skip
def test_every_command_says_that_the_station_file_is_not_there(
    command: tuple[str, ...], tmp_path: Path, trimbench: CommandLine
) -> None:
    written(tmp_path)
    said = trimbench(*command, "--station", tmp_path / "statoin.toml")
    assert said.code == 2
    said.is_a_short_message()
    assert "There is no such file. Try: did you mean 'station.toml'?" in said.err
    assert list(listing(tmp_path)) == ["station.toml"]


def test_a_folder_without_a_station_file_and_one_with_two(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, trimbench: CommandLine
) -> None:
    monkeypatch.chdir(tmp_path)
    none = trimbench("runs")
    written(tmp_path)
    one = trimbench("runs")
    (tmp_path / "other.toml").write_text(TEXT, encoding="utf-8")
    two = trimbench("runs")
    assert {none.code, one.code, two.code} == {2}
    assert "There is no station file in" in none.err
    assert "there is no log there" in one.err
    assert "several station files" in two.err
    assert "other.toml, station.toml" in two.err
    assert "--station FILE, or set TRIMBENCH_STATION" in two.err


def test_the_station_may_be_named_in_the_environment(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, trimbench: CommandLine
) -> None:
    monkeypatch.setenv("TRIMBENCH_STATION", str(written(tmp_path)))
    assert "station" in trimbench("runs").err


def test_as_a_process_too_a_missing_file_is_one_sentence(tmp_path: Path) -> None:
    said = shell("run", "monitor-baseline", "--station", tmp_path / "none.toml")
    assert said.code == 2
    said.is_a_short_message()
    assert said.out == ""
    error = shell("run", "monitor-baseline", "--station", tmp_path / "none.toml", "--json").error
    assert error["kind"] == "StationFileError"
    assert error["file"].endswith("none.toml")


# Procedures and values ----------------------------------------------------------------------


def test_there_is_no_such_procedure(tmp_path: Path, trimbench: CommandLine) -> None:
    said = trimbench("run", "monitor", "--station", written(tmp_path))
    assert said.code == 2
    said.is_a_short_message()
    assert "There is no procedure 'monitor'. Try: one of: " in said.err
    assert "monitor-baseline" in said.err
    assert list(listing(tmp_path)) == ["station.toml"]


@pytest.mark.parametrize(
    ("argv", "words"),
    [
        (("watch", "rf_levle"), ["'rf_levle' is no quantity", "did you mean 'rf_level'?"]),
        (("watch", "ddm", "--target", "1.5 MHz"), ["1.5 MHz"]),
        (("watch", "vpp", "--target", "some"), ["some"]),
        (("watch", "vpp", "--point", "course with"), ["there is no point 'course with'"]),
        (("watch", "ddm", "--seconds", "-1"), ["--seconds"]),
        (("resume", "first"), ["RUN"]),
        (("resume", "1"), ["there is no log, so there is no run 1"]),
        (("record", "1"), ["there is no log there"]),
        (("run",), ["Missing argument 'procedure'"]),
        (("verify", "--digest", "xyz"), ["'xyz' is no digest"]),
    ],
)
def test_what_cannot_be_used_is_said_and_leaves_nothing(
    argv: tuple[str, ...], words: list[str], tmp_path: Path, trimbench: CommandLine
) -> None:
    said = trimbench(*argv, "--station", written(tmp_path))
    assert said.code == 2
    said.is_a_short_message()
    for word in words:
        assert word in said.err
    assert list(listing(tmp_path)) == ["station.toml"]


# Instruments ---------------------------------------------------------------------------------


@pytest.fixture
def serve() -> Iterator[Callable[[Handler], TinyServer]]:
    """Start a misbehaving server; all are closed at the end."""
    servers: list[TinyServer] = []

    def start(handler: Handler) -> TinyServer:
        servers.append(TinyServer(handler))
        return servers[-1]

    yield start
    for server in servers:
        server.close()


def impatient(folder: Path, resource: str) -> Path:
    """A station whose oscilloscope is at `resource` and is waited for 0.1 s only."""
    shipped = ROOT / "drivers" / "profiles" / "fernmark-os4.toml"
    profile = shipped.read_text(encoding="utf-8").replace("timeout_s = 2.0", "timeout_s = 0.1")
    (folder / "scope.profile.toml").write_text(profile, encoding="utf-8")
    return written(
        folder, (SCOPE, resource), ('profile = "fernmark-os4"', 'profile = "scope.profile.toml"')
    )


def closed_port() -> str:
    server = TinyServer(answering({}))
    resource = server.resource
    server.close()
    return resource


def test_a_closed_port_is_nobody_there(tmp_path: Path, trimbench: CommandLine) -> None:
    path = written(tmp_path, (SCOPE, closed_port()))
    said = trimbench("run", "monitor-baseline", "--station", path, "--operator", "sim")
    assert said.code == 3
    said.is_a_short_message()
    assert "Nobody listens on port" in said.err
    assert "check the port" in said.err
    error = trimbench("watch", "vpp", "--station", path, "--seconds", 1, "--json").error
    assert error["kind"] == "LinkRefused"
    with LogReader(tmp_path / "tarnholt-16.tblog") as reader:
        assert reader.run_numbers() == []


def test_a_missing_serial_port_is_told_by_its_name(tmp_path: Path, trimbench: CommandLine) -> None:
    path = written(tmp_path)
    said = trimbench("watch", "ddm", "--point", "course width", "--station", path, "--seconds", 1)
    assert said.code == 3
    said.is_a_short_message()
    assert "receiver.tty" in said.err


FAULTY: dict[str, tuple[dict[bytes, bytes], bytes, list[str]]] = {
    "garbage": ({}, b"\x00\xffgarbage\n", ["*IDN?", "garbage"]),
    "another instrument": ({}, b"SOMEBODY,ELSE,1,2\n", ["SOMEBODY,ELSE"]),
    "nothing": ({}, b"", ["*IDN?", "Received nothing"]),
    "an error": (
        {
            b"*IDN?": IDENTITY, b"SYSTem:ERRor:NEXT?": b'-113,"Undefined header"\n',
            b"*ESR?": b"32\n", b"*OPC?": b"1\n",
        },
        b"",
        ["-113", "Undefined header"],
    ),
}  # fmt: skip


@pytest.mark.parametrize("fault", FAULTY)
def test_an_instrument_that_misbehaves_is_named_with_what_it_said(
    fault: str,
    tmp_path: Path,
    serve: Callable[[Handler], TinyServer],
    trimbench: CommandLine,
) -> None:
    answers, otherwise, words = FAULTY[fault]
    path = impatient(tmp_path, serve(answering(answers, otherwise=otherwise)).resource)
    said = trimbench("watch", "vpp", "--station", path, "--seconds", 0.2)
    assert said.code == 3
    said.is_a_short_message()
    for word in ["scope", *words]:
        assert word in said.err
    again = trimbench("watch", "vpp", "--station", path, "--seconds", 0.2, "--json")
    assert again.code == 3
    assert "scope" in again.error["instrument"]


def test_9_91e37_is_no_value_and_not_a_number(
    tmp_path: Path, serve: Callable[[Handler], TinyServer], trimbench: CommandLine
) -> None:
    """SCPI-1999, 7.2.1.5: 9.91E37 stands for not-a-number."""
    answers = {
        b"*IDN?": IDENTITY, b"SYSTem:ERRor:NEXT?": b'0,"No error"\n', b"*ESR?": b"0\n",
        b"*OPC?": b"1\n", b"MEASure:VOLTage:PTPeak? (@1)": b"9.91E37\n",
    }  # fmt: skip
    path = impatient(tmp_path, serve(answering(answers)).resource)
    said = trimbench("watch", "vpp", "--station", path, "--seconds", 0.1, "--json")
    assert said.code == 0
    assert said.json["n"] == 0
    assert said.json["not_usable"] > 0
    assert said.json["mean"] is None
    with LogReader(tmp_path / "tarnholt-16.tblog") as reader:
        values = [e.body["value"] for e in reader.entries(run=1) if "value" in e.body]
    assert values
    assert set(values) == {None}


def test_another_serial_number_than_the_station_files_is_refused(
    served: Served, tmp_path: Path, trimbench: CommandLine
) -> None:
    text = served.station.read_text(encoding="utf-8")
    path = served.station.with_name("pinned.toml")
    path.write_text(
        text.replace('alias = "receiver"', 'alias = "receiver"\nserial = "1"').replace(
            "tarnholt-16.tblog", "pinned.tblog"
        ),
        encoding="utf-8",
    )
    said = trimbench("watch", "ddm", "--point", "course width", "--station", path, "--seconds", 1)
    assert said.code == 3
    assert "expects serial 1, but HALVORSUND NR-2 serial 20417 answers" in said.err


# The log ---------------------------------------------------------------------------------------


def test_a_second_run_on_the_same_log_is_told_who_holds_it(
    tmp_path: Path, trimbench: CommandLine
) -> None:
    path = written(tmp_path)
    with LogWriter(tmp_path / "tarnholt-16.tblog", SystemClock()):
        said = trimbench("run", "monitor-baseline", "--station", path)
        as_json = trimbench("watch", "ddm", "--station", path, "--json")
        process = shell("resume", "1", "--station", path)
    assert {said.code, as_json.code, process.code} == {4}
    said.is_a_short_message()
    process.is_a_short_message()
    assert f"another run holds this log (process {os.getpid()})" in said.err
    assert as_json.error["kind"] == "LogBusy"


@pytest.mark.parametrize("command", [("run", "monitor-baseline"), ("runs",), ("verify",)])
def test_a_file_that_is_no_log_is_left_as_it_is(
    command: tuple[str, ...], tmp_path: Path, trimbench: CommandLine
) -> None:
    path = written(tmp_path)
    log = tmp_path / "tarnholt-16.tblog"
    log.write_bytes(b"Notes of last Tuesday.\n" * 100)
    before = log.read_bytes()
    said = trimbench(*command, "--station", path)
    assert said.code == 4
    said.is_a_short_message()
    assert "not a readable log" in said.err
    assert log.read_bytes() == before


def test_a_folder_that_cannot_be_written_is_said(tmp_path: Path, trimbench: CommandLine) -> None:
    """A file stands where the log's folder should be, which not even root can write into."""
    (tmp_path / "logs").write_text("", encoding="utf-8")
    path = written(tmp_path, ('log = "tarnholt-16.tblog"', 'log = "logs/x.tblog"'))
    said = trimbench("run", "monitor-baseline", "--station", path)
    assert said.code == 4
    said.is_a_short_message()
    assert "check that the folder exists and may be written to" in said.err


def test_a_full_disk_is_said_and_what_was_shown_is_kept(
    served: Served, tmp_path: Path, trimbench: CommandLine
) -> None:
    folder = tmp_path / "small"
    folder.mkdir()
    small = ["mount", "-t", "tmpfs", "-o", "size=192k", "none", str(folder)]
    if subprocess.run(small, check=False, capture_output=True).returncode:
        pytest.skip("a small disk cannot be mounted here: a full one is tested without one only")
    try:
        path = served.station.with_name("full.toml")
        text = served.station.read_text(encoding="utf-8")
        path.write_text(text.replace("tarnholt-16.tblog", f"{folder}/x.tblog"), encoding="utf-8")
        said = trimbench("watch", "vpp", "--station", path, "--seconds", 20, "--json")
        assert said.code == 4
        assert said.error["kind"] == "LogFull"
        with LogReader(folder / "x.tblog") as reader:
            assert reader.verify().rows > 5
    finally:
        subprocess.run(["umount", str(folder)], check=True)


# Standard input ----------------------------------------------------------------------------------


def test_a_closed_standard_input_stops_the_run_in_good_order(served: Served) -> None:
    """Nobody can answer: the run is stopped, has an end in the log, and a record."""
    path = served.station.with_name("closed.toml")
    text = served.station.read_text(encoding="utf-8")
    path.write_text(text.replace("tarnholt-16.tblog", "closed.tblog"), encoding="utf-8")
    said = shell("run", "monitor-baseline", "--station", path)
    assert said.code == 6
    assert "Traceback" not in said.err
    assert "The input has ended" in said.out
    with LogReader(path.with_name("closed.tblog")) as reader:
        ended = reader.run(1).ended
    assert ended is not None
    assert ended["result"] == "aborted"
    assert path.with_name("closed-run-0001.pdf").read_bytes().startswith(b"%PDF")


def test_without_a_simulated_bench_the_simulated_technician_says_so(
    served: Served, trimbench: CommandLine
) -> None:
    path = served.station.with_name("no-hands.toml")
    hands = str(served.links.hands_address[1]) if served.links.hands_address else ""
    port = closed_port().split("::")[2]
    text = served.station.read_text(encoding="utf-8").replace("tarnholt-16.tblog", "nh.tblog")
    path.write_text(text.replace(f"hands_port = {hands}", f"hands_port = {port}"), encoding="utf-8")
    said = trimbench("run", "monitor-baseline", "--station", path, "--operator", "sim")
    assert said.code == 3
    said.is_a_short_message()
    assert "needs a simulated bench" in said.err
    assert "trimbench simulate" in said.err
