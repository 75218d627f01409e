"""The resource string chooses the way; what cannot be is said at open."""

from __future__ import annotations

from pathlib import Path

import pytest

from daq.errors import LinkRefused, LinkUnsupported
from drivers.links.open_link import open_link
from drivers.links.serial_link import SerialLink
from drivers.links.settings import LinkSettings
from drivers.links.socket_link import SocketLink
from tests.drivers.tiny_server import answering


def open_at(resource, clock, base=Path()):
    return open_link(resource, settings=LinkSettings(), clock=clock, base=base, timeout_s=1.0)


@pytest.mark.parametrize("form", ["TCPIP::127.0.0.1::{}::SOCKET", "tcpip0::localhost::{}::socket"])
def test_a_socket_resource_opens_our_own_socket(serve, clock, form):
    server = serve(answering({}))
    link = open_at(form.format(server.port), clock)
    assert isinstance(link, SocketLink)
    assert not link.marks_end
    link.close()


def test_a_serial_resource_opens_a_port_beside_the_station_file(line, clock, tmp_path):
    (tmp_path / "receiver.tty").symlink_to(line.path)
    link = open_at("ASRL./receiver.tty::INSTR", clock, tmp_path)
    assert isinstance(link, SerialLink)
    link.close()


@pytest.mark.parametrize(
    "resource", ["", "COM3", "192.0.2.1", "TCPIP::h::99999::SOCKET", "http://x"]
)
def test_what_is_no_resource_is_said_with_what_would_be_one(clock, resource):
    with pytest.raises(LinkUnsupported):
        open_at(resource, clock)


def test_a_usb_instrument_that_is_not_there_is_one_of_our_errors(clock):
    with pytest.raises((LinkRefused, LinkUnsupported)):
        open_at("USB0::0x1234::0x5678::SN1::INSTR", clock)
