"""The generic profiles read what such instruments answer."""

from __future__ import annotations

import time

import pytest

from daq.clock import SystemClock
from daq.roles import InstrumentClass
from drivers.registry import open_instrument
from tests.drivers.tiny_server import answering

SCPI = {
    b"*IDN?": b"MAKER,MODEL,SN1,1.0\n",
    b"*ESR?": b"0\n",
    b"SYSTem:ERRor:NEXT?": b'+0,"No error"\n',
    b"MEASure:VOLTage:PTPeak? (@2)": b"VOLT 1.5E+00 V\n",
    b"MEASure:VOLTage:DC?": b"+2.50000000E+00\n",
    b"MEASure:POWer:AC?": b"-3.5\n",
    b"MEASure:FREQuency? (@1)": b"+1.09350012E+08\n",
    b"CALCulate1:MARKer1:MAXimum;X?": b"1.0935E+08\n",
    b"CALCulate1:MARKer1:MAXimum;Y?": b"-20.5 DBM\n",
}
LINES = {
    b"ID?": b"MAKER,MODEL,SN1,1.0\r\n",
    b"DEV?": b"-150.0 uA\r\n",
    b"DDM?": b"+15.50 %,OK\r\n",
    b"SDM?": b"40.0%,OK\r\n",
}


@pytest.mark.parametrize(
    ("profile", "kind", "quantity", "channel", "value"),
    [
        ("scpi-oscilloscope", "oscilloscope", "vpp", "2", 1.5),
        ("scpi-multimeter", "multimeter", "voltage", "", 2.5),
        ("scpi-power-meter", "power meter", "rf_level", "", -3.5),
        ("scpi-counter", "frequency counter", "frequency", "1", 109_350_012.0),
        ("scpi-spectrum-analyzer", "spectrum analyzer", "frequency", "", 109.35e6),
        ("scpi-spectrum-analyzer", "spectrum analyzer", "rf_level", "", -20.5),
        ("ua-receiver", "navigation receiver", "ddm", "", -0.155),
        ("percent-receiver", "navigation receiver", "ddm", "", 0.155),
        ("percent-receiver", "navigation receiver", "sdm", "", 0.4),
    ],
)
def test_a_generic_profile_reads_its_instrument(
    serve, tmp_path, profile, kind, quantity, channel, value
):
    scpi = profile.startswith("scpi")
    server = serve(answering(SCPI if scpi else LINES, b"\n" if scpi else b"\r"))
    instrument = open_instrument(
        "mine",
        InstrumentClass(kind),
        profile,
        server.resource,
        clock=SystemClock(),
        base=tmp_path,
    )
    reading = instrument.measure(quantity, channel=channel)
    instrument.close()
    assert instrument.identity.serial == "SN1"
    assert reading.usable
    assert reading.value == pytest.approx(value)
    assert reading.u > 0


def test_the_streaming_profile_hears_each_quantity(serve, tmp_path):
    def talk(connection):
        for _ in range(500):
            connection.sendall(b"LOC,-0.1020,0.4000,-47.3\r\n")
            time.sleep(0.004)

    instrument = open_instrument(
        "mine",
        InstrumentClass.NAVIGATION_RECEIVER,
        "streaming-receiver",
        serve(talk).resource,
        clock=SystemClock(),
        base=tmp_path,
    )
    values = {name: instrument.measure(name).value for name in instrument.quantities}
    instrument.close()
    assert values == {"ddm": -0.102, "sdm": 0.4, "rf_level": -47.3}
