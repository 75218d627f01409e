"""Try a profile against an instrument, or against a transcript of one, and show every line."""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Final

from daq.clock import Clock
from daq.errors import AnswerError, BenchError, IdentityError, InputError, LinkTimeout
from daq.link import Link
from daq.reading import Reading
from daq.trial import BaudTrial, Trial, TrialStep
from drivers.baud_probe import probe_baud_rates
from drivers.links.open_link import open_link
from drivers.links.settings import LinkSettings
from drivers.links.transcript_link import TranscriptLink
from drivers.oscilloscope import ProfiledOscilloscope
from drivers.profile import Profile
from drivers.profile_quantity import CHANNEL, QuantitySection
from drivers.profiled import Place, ProfiledInstrument
from drivers.question import Question
from drivers.registry import find_profile
from drivers.transcript import Transcript

_SERIAL: Final = re.compile(r"ASRL", re.IGNORECASE)
_NAME: Final = "instrument"


def try_profile(profile: str, *, resource: str, transcript: Path | None, clock: Clock) -> Trial:
    """Identify, read every quantity on every channel, take a record.

    Parameters
    ----------
    profile
        Name of a shipped profile, or a file.
    resource
        The instrument's address; empty to use `transcript`.
    transcript
        A file of lines sent and received; see `drivers.links.transcript_link`.
    clock
        For deadlines.

    Raises
    ------
    ProfileError, InputError
        The profile or the transcript cannot be read; neither, or both, were given.
    """
    found = find_profile(profile, Path())
    if bool(resource) == (transcript is not None):
        raise InputError(
            "Give either the instrument's address or a transcript of it.",
            hint="--resource TCPIP::host::port::SOCKET, or --transcript FILE.",
        )
    if transcript is None:
        return _tried(found, Place(_NAME, resource, clock, Path()))
    wire = found.link.message_format()
    link = TranscriptLink(transcript, wire.read_terminator, clock)

    def opener(
        resource: str, *, settings: LinkSettings, clock: Clock, base: Path, timeout_s: float
    ) -> Link:
        del resource, settings, clock, base, timeout_s  # a transcript needs none of it
        return link

    place = Place(_NAME, link.resource, clock, Path(), opener=opener)
    return _tried(found, place)


def _tried(profile: Profile, place: Place) -> Trial:
    transcript = Transcript(place.clock, size=2000)
    kind = ProfiledOscilloscope if profile.waveform is not None else ProfiledInstrument
    try:
        instrument = kind(profile, place, transcript)
    except BenchError as error:
        lines = tuple(map(str, transcript.lines()))
        step = TrialStep("identification", lines, error=str(error))
        return Trial((step,), _at_other_rates(profile, place, error))
    try:
        return Trial((_identified(instrument), *_steps(instrument, profile, transcript)))
    finally:
        instrument.close()


def _identified(instrument: ProfiledInstrument) -> TrialStep:
    identity = instrument.identity
    said = f"{identity}, firmware {identity.firmware or 'not told'}"
    return TrialStep("identification", tuple(map(str, instrument.transcript())), said)


def _steps(
    instrument: ProfiledInstrument, profile: Profile, transcript: Transcript
) -> list[TrialStep]:
    steps: list[TrialStep] = []
    for quantity, section in profile.quantity.items():
        for channel in profile.instrument.channels if section.names_a_channel else ("",):
            what = f"{quantity}, channel {channel}" if channel else quantity
            steps.append(_step(what, transcript, partial(_read, instrument, section, channel)))
    if isinstance(instrument, ProfiledOscilloscope) and profile.waveform is not None:
        channels = profile.instrument.channels or ("",)
        channel = channels[0] if CHANNEL in profile.waveform.query else ""
        steps.append(_step("waveform", transcript, partial(_recorded, instrument, channel)))
    return steps


def _step(
    what: str, transcript: Transcript, take: Callable[[], tuple[str, Reading | None]]
) -> TrialStep:
    transcript.forget()
    try:
        says, reading = take()
    except BenchError as error:
        return TrialStep(what, tuple(map(str, transcript.lines())), error=str(error))
    return TrialStep(what, tuple(map(str, transcript.lines())), says, reading)


def _read(
    instrument: ProfiledInstrument, section: QuantitySection, channel: str
) -> tuple[str, Reading]:
    reading = instrument.measure(section.name, channel=channel)
    if section.values and reading.usable:
        word = Question(section, channel, 0.0).hear(reading.raw).figures.strip()
        return f"{word!r}, which stands for {reading.value:g}", reading
    return f"{reading.value:g} {reading.unit}, {reading.quality}", reading


def _recorded(scope: ProfiledOscilloscope, channel: str) -> tuple[str, None]:
    record = scope.waveform(channel=channel)
    low, high = float(record.samples_v.min()), float(record.samples_v.max())
    n, rate_hz = record.samples_v.size, record.rate_hz
    return (
        f"{n} samples at {rate_hz:g} Hz, {n / rate_hz:g} s, from {low:.4g} V to {high:.4g} V",
        None,
    )


def _at_other_rates(profile: Profile, place: Place, error: BenchError) -> tuple[BaudTrial, ...]:
    talks = isinstance(error, LinkTimeout | AnswerError | IdentityError)
    if not talks or not _SERIAL.match(place.resource) or place.opener is not open_link:
        return ()
    try:
        return probe_baud_rates(profile, place.resource, clock=place.clock, base=place.base)
    except BenchError:
        return ()  # the first error says more
