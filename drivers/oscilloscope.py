"""An oscilloscope from a profile: samples besides readings."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

import numpy as np

from daq.errors import AnswerError, BenchError, InputError
from daq.reading import Quality, Waveform
from daq.scpi import decode_text, parse_number
from daq.scpi_messages import parse_block
from drivers.conversation import Conversation
from drivers.greeting import explain_wrong_answer
from drivers.profile import WaveformSection
from drivers.profiled import ProfiledInstrument

if TYPE_CHECKING:
    import numpy.typing as npt

_TYPES = {"real32": "f4", "real64": "f8", "int8": "i1", "uint8": "u1", "int16": "i2"}


class ProfiledOscilloscope(ProfiledInstrument):
    """Fulfils `daq.roles.Oscilloscope` from a profile that has a ``[waveform]`` section."""

    def waveform(self, *, point: str = "", channel: str = "") -> Waveform:
        """See `Oscilloscope`.

        Raises
        ------
        BenchError, InputError
            As `measure` does.
        """
        section = self._profile.waveform
        if section is None:
            raise InputError(f"The profile of {self.alias} does not say how to get samples.")
        self._check_channel(channel, "".join((section.query, *section.setup, *section.restore)))
        timeout_s = section.timeout_s or self._timeout_s

        def job(conversation: Conversation) -> Waveform:
            with self._set_for_samples(conversation, section, channel):
                duration_s = self._duration_s(conversation, section)
                samples_v = self._samples_v(conversation, section, channel, timeout_s)
            clip_v = section.clip_v
            return Waveform(
                samples_v=samples_v,
                rate_hz=samples_v.size / duration_s,
                source=self.alias,
                point=point,
                utc_ns=self._place.clock.utc_ns(),
                mono_ns=self._place.clock.monotonic_ns(),
                clipped=clip_v is not None and bool(np.abs(samples_v).max() >= clip_v),
            )

        return self._worker.call(lambda: self._session.run(job), self._limit_s(2 * timeout_s))

    @contextmanager
    def _set_for_samples(
        self, conversation: Conversation, section: WaveformSection, channel: str
    ) -> Iterator[None]:
        """Send the record's own settings, and the usual ones again afterwards."""
        try:
            for command in section.setup:
                conversation.tell(command.replace("{channel}", channel), self._timeout_s)
            yield
            for command in section.restore:
                conversation.tell(command.replace("{channel}", channel), self._timeout_s)
        except BenchError:
            # Nobody knows now how it is set: the link is opened anew and the set-up sent.
            conversation.hopeless = bool(section.setup)
            raise

    def _duration_s(self, conversation: Conversation, section: WaveformSection) -> float:
        if section.record_s is not None:
            return section.record_s
        answer = conversation.ask(section.record_query, self._timeout_s)
        text = decode_text(answer, conversation.encoding)
        try:
            number = parse_number(text, unit="s")
            if number.quality is not Quality.OK or number.value <= 0:
                raise AnswerError("The length of the record is no length.")  # noqa: TRY301
        except AnswerError as exc:
            raise explain_wrong_answer(
                conversation, self._profile, exc, self._place.label, section.record_query, text
            ) from exc
        return number.value

    def _samples_v(
        self, conversation: Conversation, section: WaveformSection, channel: str, timeout_s: float
    ) -> npt.NDArray[np.float64]:
        command = section.query.replace("{channel}", channel)
        message = conversation.ask(command, timeout_s, block=section.format != "ascii")
        try:
            return decode_samples(message, section, end_marked=conversation.marks_end)
        except AnswerError as exc:
            text = decode_text(message[:200])
            raise explain_wrong_answer(
                conversation, self._profile, exc, self._place.label, command, text
            ) from exc


def decode_samples(
    message: bytes, section: WaveformSection, *, end_marked: bool
) -> npt.NDArray[np.float64]:
    """Return the samples in an answer, volts, shape (n,).

    Parameters
    ----------
    message
        A whole answer.
    section
        Its format.
    end_marked
        The link marked its end, which makes an indefinite block legal.

    Raises
    ------
    AnswerError
        No block, a broken one, no samples, or samples that are no numbers.
    """
    if section.format == "ascii":
        numbers = [parse_number(part, unit="V") for part in decode_text(message).split(",")]
        raw = np.array([number.value for number in numbers])
    else:
        data = parse_block(message, end_marked=end_marked)
        order = ">" if section.byte_order == "big" else "<"
        kind = np.dtype(order + _TYPES[section.format])
        if not data or len(data) % kind.itemsize:
            raise AnswerError(f"{len(data)} bytes are no samples of {kind.itemsize} bytes each.")
        with np.errstate(invalid="ignore"):  # a signalling NaN is refused below, like any other
            raw = np.frombuffer(data, kind).astype(np.float64)
    samples_v = (raw - section.origin) * section.scale_v
    if not np.isfinite(samples_v).all() or np.abs(samples_v).max() > 1e6:
        raise AnswerError(
            "The record holds samples that are no voltages.",
            hint="check format and byte_order in the profile.",
        )
    return samples_v
