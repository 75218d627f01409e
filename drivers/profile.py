"""A profile: how to talk to one model of instrument, in one TOML file."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Final, Literal, Self

from pydantic import Field, field_validator, model_validator

from daq.errors import ProfileError
from daq.roles import InstrumentClass
from daq.toml_file import load_toml
from drivers.conversation import MessageFormat
from drivers.links.settings import LinkSettings, Parity
from drivers.profile_quantity import Command, Pattern, QuantitySection, Seconds, Section

_IDENTITY_GROUPS: Final = frozenset({"maker", "model", "serial", "firmware"})


class ModelSection(Section):
    """``[instrument]``: what it is."""

    instrument_class: InstrumentClass = Field(alias="class")
    description: str = ""
    channels: tuple[str, ...] = ()
    settling_s: float = Field(default=0.0, ge=0, le=600)
    calibration_interval_months: int | None = Field(default=None, gt=0)


class LinkSection(Section):
    """``[link]``: how messages look, and how a serial line is set."""

    write_terminator: str = Field(min_length=1, max_length=4)
    read_terminator: str = Field(min_length=1, max_length=4)
    encoding: Literal["ascii", "latin-1", "utf-8", "cp1252"] = "latin-1"
    timeout_s: Seconds = 2.0
    quiet_s: Seconds = 0.05
    streaming: bool = False
    baud_rate: int = Field(default=9600, gt=0)
    data_bits: Literal[5, 6, 7, 8] = 8
    parity: Parity = "none"
    stop_bits: Literal[1, 2] = 1
    dtr: bool | None = None
    rts: bool | None = None
    low_latency: bool = False
    settle_s: float = Field(default=0.0, ge=0, le=60)
    lock: bool = False
    lock_timeout_s: float = Field(default=0.0, ge=0, le=60)
    visa_library: str = "@py"

    def message_format(self) -> MessageFormat:
        """Return how messages look."""
        return MessageFormat(
            self.write_terminator.encode("latin-1"),
            self.read_terminator.encode("latin-1"),
            self.encoding,
            self.quiet_s,
        )

    def link_settings(self) -> LinkSettings:
        """Return how to open the link."""
        return LinkSettings(
            baud_rate=self.baud_rate,
            data_bits=self.data_bits,
            parity=self.parity,
            stop_bits=self.stop_bits,
            dtr=self.dtr,
            rts=self.rts,
            low_latency=self.low_latency,
            settle_s=self.settle_s,
            lock=self.lock,
            lock_timeout_s=self.lock_timeout_s,
            visa_library=self.visa_library,
        )


class IdentificationSection(Section):
    """``[identification]``: the question, and the answer's pattern with its named groups."""

    query: Command = ""
    answer: Pattern

    @field_validator("answer")
    @classmethod
    def _names_known_groups(cls, text: str) -> str:
        unknown = set(re.compile(text).groupindex) - _IDENTITY_GROUPS
        if unknown:
            raise ValueError(f"Groups are maker, model, serial and firmware, not {unknown}.")
        return text


class SetupSection(Section):
    """``[setup]``: commands sent after each opening; with {channel}, once for each channel."""

    commands: tuple[Command, ...] = ()


class ErrorsSection(Section):
    """``[errors]``: how the instrument tells of its own errors.

    The queue is read after the set-up and when an answer does not fit; with `check` also after
    each reading, which costs a query but names an error with the command that made it.
    """

    queue_query: Command = ""
    clear: Command = ""
    event_status_query: Command = ""
    reply: Pattern = ""
    check: Literal["on trouble", "each reading"] = "on trouble"

    @model_validator(mode="after")
    def _has_a_queue_to_check(self) -> Self:
        if self.check == "each reading" and not self.queue_query:
            raise ValueError("To check the queue at each reading, queue_query has to be given.")
        return self


class WaveformSection(Section):
    """``[waveform]``: how to get samples. Volts are ``(sample - origin) * scale_v``.

    `setup` is sent before each record and `restore` after it, so that a record may last half a
    second while single readings stay quick.
    """

    setup: tuple[Command, ...] = ()
    restore: tuple[Command, ...] = ()
    query: Command
    format: Literal["real32", "real64", "int8", "uint8", "int16", "ascii"]
    byte_order: Literal["big", "little"] = "big"
    record_s: Seconds | None = None
    record_query: Command = ""
    origin: float = 0.0
    scale_v: float = Field(default=1.0, gt=0)
    clip_v: float | None = Field(default=None, gt=0)
    timeout_s: Seconds | None = None

    @model_validator(mode="after")
    def _rate_is_known(self) -> Self:
        if (self.record_s is None) == (not self.record_query):
            raise ValueError("Give either record_s or record_query, the length of the record.")
        return self


class Profile(Section):
    """Everything that is known of one model of instrument."""

    instrument: ModelSection
    link: LinkSection
    identification: IdentificationSection
    setup: SetupSection = SetupSection()
    errors: ErrorsSection = ErrorsSection()
    quantity: dict[str, QuantitySection] = Field(default_factory=dict)
    waveform: WaveformSection | None = None

    @field_validator("quantity", mode="before")
    @classmethod
    def _sections_know_their_names(cls, sections: object) -> object:
        # A section checks itself, so that its faults are told at its own line.
        if not isinstance(sections, dict):
            return sections
        return {
            name: {**section, "name": name} if isinstance(section, dict) else section
            for name, section in sections.items()
        }

    @model_validator(mode="after")
    def _can_be_asked(self) -> Self:
        silent = [name for name, section in self.quantity.items() if not section.query]
        if self.link.streaming and len(silent) < len(self.quantity):
            raise ValueError("An instrument that talks on its own (streaming) has no queries.")
        if not self.link.streaming and (silent or not self.identification.query):
            raise ValueError(f"A query is missing: {', '.join(silent) or 'identification'}.")
        return self

    @model_validator(mode="after")
    def _has_the_channels_that_it_asks_for(self) -> Self:
        asking = [name for name, section in self.quantity.items() if section.names_a_channel]
        if asking and not self.instrument.channels:
            raise ValueError(
                f"{asking[0]} asks for a {{channel}}, and [instrument] has no `channels`."
            )
        return self


def load_profile(path: Path) -> Profile:
    """Read a profile.

    Raises
    ------
    ProfileError
        The file is missing, malformed or contradicts itself; file, line and key are named.
    """
    return load_toml(path, Profile, ProfileError)
