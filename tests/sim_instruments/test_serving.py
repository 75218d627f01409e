"""From a VISA resource to a server, and to the resource that a client opens."""

from __future__ import annotations

import re
import threading

import pytest

from sim_instruments.scpi import ScpiInstrument, ScpiSession
from sim_instruments.serving import serve_at


def make_session() -> ScpiSession:
    return ScpiSession(ScpiInstrument("A,B,C,D", {}, lambda: None))


@pytest.mark.parametrize(
    ("resource", "reached_at"),
    [
        ("TCPIP::127.0.0.1::0::SOCKET", r"TCPIP::127\.0\.0\.1::[1-9]\d*::SOCKET"),
        ("tcpip0::127.0.0.1::0::socket", r"TCPIP::127\.0\.0\.1::[1-9]\d*::SOCKET"),
        ("TCPIP::127.0.0.1,0::inst0::INSTR", r"TCPIP::127\.0\.0\.1,[1-9]\d*::inst0::INSTR"),
        ("TCPIP0::127.0.0.1,0::INSTR", r"TCPIP::127\.0\.0\.1,[1-9]\d*::inst0::INSTR"),
        ("TCPIP::127.0.0.1::hislip0,0::INSTR", r"TCPIP::127\.0\.0\.1::hislip0,[1-9]\d*::INSTR"),
        ("ASRL./a.tty::INSTR", r"ASRL/.+/a\.tty::INSTR"),
    ],
)
def test_each_form(resource, reached_at, tmp_path):
    """Ports are chosen, paths absolute; closing leaves no thread."""
    before = threading.active_count()
    link = serve_at(resource, make_session, tmp_path)
    assert re.fullmatch(reached_at, link.resource)
    link.server.close()
    assert threading.active_count() <= before


@pytest.mark.parametrize(
    "resource",
    ["GPIB0::7::INSTR", "TCPIP::127.0.0.1::inst1::INSTR", "USB::1::2::3::INSTR", "", "ASRL"],
)
def test_other_forms_are_refused(resource, tmp_path):
    """With all that can be served."""
    with pytest.raises(ValueError, match="what can be served: TCPIP::host::port::SOCKET, TCPIP"):
        serve_at(resource, make_session, tmp_path)
