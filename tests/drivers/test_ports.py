"""Serial ports are listed under names that stay with the adapter."""

from __future__ import annotations

from daq.ports import SerialPort
from drivers.ports import _links, serial_ports


def test_listing_ports_never_fails(tmp_path):
    assert all(port.device for port in serial_ports(tmp_path / "none"))


def test_the_name_by_id_is_the_one_for_the_station_file(tmp_path, line):
    (tmp_path / "usb-Fernmark_A1").symlink_to(line.path)
    stable = _links(tmp_path)[line.path]
    port = SerialPort(line.path, stable, "USB serial", "process 7 (terminal)")
    assert port.resource == f"ASRL{tmp_path}/usb-Fernmark_A1::INSTR"
    assert str(port) == f"{port.resource}, USB serial, held by process 7 (terminal)"
    assert SerialPort("/dev/ttyS0").resource == "ASRL/dev/ttyS0::INSTR"
