"""One program an instrument: the second is refused, and told who holds it."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from daq.clock import SystemClock
from daq.errors import LinkRefused
from drivers.links.hold import ResourceHold, lock_folder, who_has_open
from drivers.links.open_link import open_link
from drivers.links.settings import LinkSettings

HOLDING = """\
import sys
from drivers.links.hold import ResourceHold
hold = ResourceHold("127.0.0.1:5025", "scope")
print("held", flush=True)
sys.stdin.read()
"""


def opened(resource, base="/"):
    return open_link(
        resource, settings=LinkSettings(), clock=SystemClock(), base=Path(base), timeout_s=1.0
    )


@pytest.fixture
def own_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    return lock_folder()


def test_another_process_is_named_and_when_it_is_killed_the_way_is_free(own_folder):
    with subprocess.Popen(
        [sys.executable, "-c", HOLDING], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == b"held\n"
        with pytest.raises(LinkRefused, match=rf"Another run holds.*process {holder.pid} \("):
            ResourceHold("127.0.0.1:5025", "scope")
        holder.kill()
        holder.wait()
    ResourceHold("127.0.0.1:5025", "scope").release()


def test_two_links_to_one_socket_are_refused_and_a_closed_one_is_not_in_the_way(serve, own_folder):
    server = serve(lambda connection: connection.recv(1))
    first = opened(server.resource)
    with pytest.raises(LinkRefused, match=rf"process {os.getpid()} "):
        opened(server.resource)
    first.close()
    first.close()
    opened(server.resource).close()


def test_a_port_that_refused_is_not_held(serve, own_folder):
    server = serve(lambda _: None)
    resource = server.resource
    server.close()
    for _ in range(2):
        with pytest.raises(LinkRefused, match="Nobody listens"):
            opened(resource)


def test_a_link_by_id_and_its_device_are_the_same_line(line, own_folder, tmp_path):
    (tmp_path / "by-id").symlink_to(line.path)
    first = opened(line.resource)
    with pytest.raises(LinkRefused, match="Another run holds"):
        opened("ASRL./by-id::INSTR", tmp_path)
    first.close()


def test_other_instruments_are_not_held(own_folder):
    first, second = ResourceHold("a:1", "a"), ResourceHold("a:11", "b")
    first.release()
    second.release()


def test_a_folder_of_somebody_else_or_none_is_refused(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    (tmp_path / f"trimbench-{os.getuid()}").symlink_to(tmp_path)
    with pytest.raises(LinkRefused, match="belongs to somebody else"):
        lock_folder()
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path / "missing"))
    with pytest.raises(LinkRefused, match="cannot be used"):
        lock_folder()


def test_a_foreign_program_on_a_serial_port_is_named(line):
    with subprocess.Popen(
        [sys.executable, "-c", "import sys; f = open(sys.argv[1]); print(1, flush=True); input()",
         line.path],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE,
    ) as other:  # fmt: skip
        assert other.stdout is not None
        other.stdout.readline()
        assert who_has_open(line.path).startswith(f"process {other.pid} (")
        other.communicate(b"\n")
    assert who_has_open(line.path) == ""
