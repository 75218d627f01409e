"""The drawing of an adjustment; matplotlib names each text in a comment of its SVG."""

from xml.etree import ElementTree as ET

import pytest

from daq.measurement import Measurement
from procedures.record.model import AdjustmentLine, Series
from procedures.record.plots import adjustment_svg


def line(
    quantity: str, values: tuple[float | None, ...], target: float, band: float
) -> AdjustmentLine:
    after = Measurement(quantity, "p", "receiver", target, band / 3, band / 9, 10, True, 0)
    return AdjustmentLine(
        utc_ns=0,
        key="k",
        point="p",
        control="c",
        target=target,
        band=band,
        before=None,
        after=after,
        readings=len(values),
        elapsed_s=1.0,
        best=target,
        series=Series(tuple(n / 10 for n in range(len(values))), values, (0.15,)),
    )


WIDTH = line("ddm", (0.10, 0.14, None, 0.158, 0.1551), 0.155, 0.001)


def test_it_is_svg_and_the_same_each_time() -> None:
    svg = adjustment_svg(WIDTH)
    assert ET.fromstring(svg).tag == "{http://www.w3.org/2000/svg}svg"
    assert svg == adjustment_svg(WIDTH)
    assert "<dc:date>" not in svg


def test_ddm_is_in_thousandths_with_microamperes_beside_it() -> None:
    svg = adjustment_svg(WIDTH)
    assert "<!-- DDM, thousandths -->" in svg
    assert "<!-- uA -->" in svg
    assert "<!-- 140 -->" in svg


def test_volts_stand_alone() -> None:
    svg = adjustment_svg(line("vpp", (1.49, 1.5), 1.5, 0.03))
    assert "<!-- peak to peak, V -->" in svg
    assert "uA" not in svg


def test_a_wide_swing_is_drawn_close_up_too() -> None:
    near = line("ddm", (0.1552, 0.1551), 0.155, 0.001)
    assert adjustment_svg(near).count("<!-- seconds -->") == 1
    assert adjustment_svg(WIDTH).count("<!-- seconds -->") == 2


@pytest.mark.parametrize("values", [(), (0.155,), (None, None), (0.3,), (0.3, 0.3)])
def test_hardly_any_readings_still_draw(values: tuple[float | None, ...]) -> None:
    assert adjustment_svg(line("ddm", values, 0.155, 0.001)).startswith("<?xml")
