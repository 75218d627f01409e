"""Serve a simulated bench, and prepare the demonstration on one.

Knows nothing of the simulator itself: the command line hands over what is served.
"""

from __future__ import annotations

import contextlib
import errno
import json
import re
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Final, Protocol

import typer

from daq.errors import BenchError, InputError, LinkRefused
from procedures.commands.stations import SHIPPED, shipped_text

if TYPE_CHECKING:
    from daq.station import Station

READY_S: Final = 20.0
_LOOPBACK_PORT: Final = re.compile(r"TCPIP\d*::127\.0\.0\.1::(?P<port>\d+)::SOCKET", re.IGNORECASE)
DEMO_STATION: Final = SHIPPED


class Served(Protocol):
    """Open links of a simulated bench."""

    @property
    def resources(self) -> Mapping[str, str]:
        """Resource asked for -> resource served."""

    @property
    def hands_address(self) -> tuple[str, int] | None:
        """Where hands are reached."""


class Hands(Protocol):
    """Takes typed lines and answers them."""

    def feed(self, data: bytes) -> bytes:
        """Take bytes and return an answer to every line that they complete."""


def serve_until_stopped(served: Served, hands: Hands, *, as_json: bool) -> None:
    """Say where everything is served; do what is typed; return on Ctrl-C or a terminate signal."""
    stopped = threading.Event()
    for ending in (signal.SIGTERM, signal.SIGINT):
        signal.signal(ending, lambda *_: stopped.set())
    host, port = served.hands_address or ("", 0)
    if as_json:
        ready = {"resources": dict(served.resources), "hands": f"{host}:{port}"}
        typer.echo(json.dumps(ready))
        sys.stdout.flush()
    else:
        for resource in served.resources.values():
            typer.echo(f"serving  {resource}")
        typer.echo(f"hands    {host}:{port}")
        typer.echo('Type what hands should do, such as: turn control="monitor width" by=0.02')
        typer.echo("`help` shows all of it, each with an example.")
        typer.echo("Ctrl-C stops.")
    if sys.stdin.isatty():
        threading.Thread(target=_hands_at_the_keyboard, args=(hands,), daemon=True).start()
    stopped.wait()


def cannot_serve(station: Station, error: OSError) -> BenchError | InputError:
    """Return what to say when a link of the bench could not be opened.

    Parameters
    ----------
    station
        Whose instruments and hands were to be served.
    error
        What the system said.
    """
    if error.errno != errno.EADDRINUSE:
        return InputError(f"{station.path}: the bench cannot be served: {error.strerror or error}.")
    known = {station.simulation.hands_port: "the hands"}
    for entry in station.instruments:
        if found := _LOOPBACK_PORT.match(entry.resource):
            known[int(found["port"])] = entry.alias
    taken = [f"{port} ({what})" for port, what in known.items() if _is_taken(port)]
    where = f"port {', '.join(taken)}" if taken else "a port"
    return LinkRefused(
        f"The bench cannot be served: somebody listens already on {where} of this machine.",
        hint="stop the other `trimbench simulate`, or change the ports in the station file.",
    )


def _is_taken(port: int) -> bool:
    try:
        socket.create_server(("127.0.0.1", port)).close()
    except OSError:
        return True
    return False


def _hands_at_the_keyboard(hands: Hands) -> None:
    for line in sys.stdin:
        typer.echo(told_to_a_person(hands.feed(line.encode() + b"\n")))


def told_to_a_person(answer: bytes) -> str:
    """Return what hands answered: help as lines, a refusal as a sentence, all else as it is."""
    text = answer.decode().strip()
    try:
        said = json.loads(text)
    except ValueError:
        return text
    if "lines" in said:
        return "\n".join(map(str, said["lines"]))
    return text if said.get("ok") else f"not done: {said.get('error')}"


def prepare_demo(folder: Path) -> Path:
    """Put the demonstration's station file into `folder`, with ports that are free.

    A station file that is there already is used as it is.

    Raises
    ------
    InputError
        The folder cannot be made or written.
    """
    station = folder / DEMO_STATION
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if not station.exists():
            station.write_text(shipped_text(DEMO_STATION), encoding="utf-8")
        text = station.read_text(encoding="utf-8")
        station.write_text(with_free_ports(text), encoding="utf-8")
    except OSError as error:
        raise InputError(
            f"{folder}: {error.strerror}.", hint="choose another with --folder."
        ) from error
    return station


def with_free_ports(text: str) -> str:
    """Return the demonstration's station file with each of its ports replaced by a free one."""
    with contextlib.ExitStack() as held:

        def free(found: re.Match[str]) -> str:
            # All are held until the last is found, so that none comes twice.
            listener = held.enter_context(socket.create_server(("127.0.0.1", 0)))
            return f"{found['before']}{listener.getsockname()[1]}{found['after']}"

        text = re.sub(r"(?P<before>TCPIP::127\.0\.0\.1::)\d+(?P<after>::SOCKET)", free, text)
        return re.sub(r"(?P<before>hands_port = )\d+(?P<after>)", free, text)


@contextlib.contextmanager
def simulated_bench(station: Path, *options: str, ready_s: float = READY_S) -> Iterator[None]:
    """Run ``trimbench simulate`` in a process of its own while the block lasts.

    Parameters
    ----------
    options
        More options of the command, such as ``--years 5``.
    ready_s
        How long it may take to come up, s.

    Raises
    ------
    BenchError
        It did not come up.
    """
    process = subprocess.Popen(  # noqa: S603 - our own program
        [sys.executable, "-m", "procedures.cli", "simulate", str(station), "--json", *options],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        _wait_until_ready(process, ready_s)
        yield
    finally:
        process.terminate()
        with contextlib.suppress(subprocess.TimeoutExpired):
            process.wait(timeout=5)
        process.kill()
        process.communicate()


def _wait_until_ready(process: subprocess.Popen[str], ready_s: float) -> None:
    watchdog = threading.Timer(ready_s, process.kill)
    watchdog.start()
    line = process.stdout.readline() if process.stdout else ""
    watchdog.cancel()
    if not line:
        said = process.stderr.read().strip() if process.stderr else ""
        raise BenchError(
            f"The simulated bench did not come up: {_message_in(said)}",
            hint="is a port of the station file in use?",
        )


def _message_in(said: str) -> str:
    """Return the message of an error told as JSON, or what was said as it is."""
    try:
        return str(json.loads(said)["error"]["message"])
    except (ValueError, KeyError, TypeError):
        return said or "it said nothing"
