"""What every instrument that fulfils `daq.roles` does; a driver's test class inherits it.

A driver's class overrides the fixture `instrument`, which opens one (the suite closes it), and
names a quantity in `quantity` with the `channel` that it needs.
"""

from __future__ import annotations

import math
import threading
from concurrent.futures import ThreadPoolExecutor
from typing import ClassVar

import numpy as np
import pytest

from daq.errors import BenchError, InputError
from daq.reading import QUANTITIES, Quality
from daq.roles import Instrument, InstrumentClass, Oscilloscope


class InstrumentConformance:
    """Rules of every instrument."""

    quantity: ClassVar[str]
    channel: ClassVar[str] = ""

    @pytest.fixture
    def instrument(self) -> Instrument:
        raise NotImplementedError

    def test_it_says_who_and_what_it_is(self, instrument: Instrument) -> None:
        assert instrument.alias
        assert isinstance(instrument.instrument_class, InstrumentClass)
        assert instrument.identity.model
        assert instrument.identity.raw

    def test_it_measures_only_quantities_that_the_program_knows(
        self, instrument: Instrument
    ) -> None:
        assert self.quantity in instrument.quantities
        assert instrument.quantities <= set(QUANTITIES)

    def test_a_reading_has_value_unit_uncertainty_time_and_source(
        self, instrument: Instrument
    ) -> None:
        reading = instrument.measure(self.quantity, point="course width", channel=self.channel)
        assert reading.quantity == self.quantity
        assert reading.quality is Quality.OK
        assert math.isfinite(reading.value)
        assert reading.u > 0
        assert (reading.source, reading.point) == (instrument.alias, "course width")
        assert reading.took_ns > 0
        assert reading.raw

    def test_time_goes_forwards_from_reading_to_reading(self, instrument: Instrument) -> None:
        first, second = (instrument.measure(self.quantity, channel=self.channel) for _ in range(2))
        assert second.mono_ns - second.took_ns >= first.mono_ns

    def test_a_quantity_that_it_does_not_measure_is_an_input_error(
        self, instrument: Instrument
    ) -> None:
        with pytest.raises(InputError, match="does not measure"):
            instrument.measure("no such quantity")

    def test_a_channel_that_it_does_not_have_is_an_input_error(
        self, instrument: Instrument
    ) -> None:
        with pytest.raises(InputError, match="channel"):
            instrument.measure(self.quantity, channel="99")

    def test_several_threads_may_ask(self, instrument: Instrument) -> None:
        with ThreadPoolExecutor(3) as pool:
            asked = [
                pool.submit(instrument.measure, self.quantity, channel=self.channel)
                for _ in range(3)
            ]
        assert {answer.result().quantity for answer in asked} == {self.quantity}

    def test_closed_twice_is_harmless_and_leaves_no_thread(self, instrument: Instrument) -> None:
        instrument.close()
        instrument.close()
        names = [thread.name for thread in threading.enumerate()]
        assert not [name for name in names if name.startswith(f"{instrument.alias} (")]
        with pytest.raises(BenchError, match="closed"):
            instrument.measure(self.quantity, channel=self.channel)


class OscilloscopeConformance(InstrumentConformance):
    """Rules of an instrument that also gives samples."""

    @pytest.fixture
    def instrument(self) -> Oscilloscope:
        raise NotImplementedError

    def test_a_record_has_samples_rate_and_source(self, instrument: Oscilloscope) -> None:
        record = instrument.waveform(point="course width", channel=self.channel)
        assert record.samples_v.ndim == 1
        assert record.samples_v.dtype == np.float64
        assert np.isfinite(record.samples_v).all()
        assert record.rate_hz > 0
        assert (record.source, record.point) == (instrument.alias, "course width")

    def test_a_reading_follows_a_record_and_a_record_a_reading(
        self, instrument: Oscilloscope
    ) -> None:
        """Nothing of a block is left for the next answer."""
        for _ in range(2):
            instrument.waveform(channel=self.channel)
            assert instrument.measure(self.quantity, channel=self.channel).usable
