"""Whatever comes from a wire, a file or a hand: a value, or the documented exception.

Each parser is fed in the tests of every day with a few hundred inputs, and in the study with many
thousands.
"""

from __future__ import annotations

import contextlib
import math
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from daq.clock import ManualClock
from daq.errors import AnswerError, InputError, ProfileError, UnitError
from daq.reading import Quality
from daq.scpi import decode_text, parse_error, parse_identity, parse_number
from daq.scpi_messages import MessageReader, NeedData, parse_block
from daq.toml_file import check_toml
from daq.units import Kind
from drivers.keyed import typed_value
from drivers.links.transcript_link import TranscriptLink
from drivers.oscilloscope import decode_samples
from drivers.profile import Profile, WaveformSection
from drivers.question import Question
from drivers.recorded_readings import readings_in_csv
from drivers.registry import find_profile, shipped_profiles
from drivers.units import suffix_of

PROFILES = Path(__file__).parents[3] / "drivers" / "profiles"
TEXTS = [path.read_text(encoding="utf-8") for path in sorted(PROFILES.glob("*.toml"))]

numbers = st.from_regex(r"[ +-]{0,2}[0-9]{0,4}\.?[0-9]{0,4}(E[+-]?[0-9]{1,4})?[A-Za-z%]{0,4}")
answers = st.one_of(
    st.text(max_size=60),
    numbers,
    st.tuples(st.sampled_from(["DDM ", "D=", "VOLT ", ""]), numbers).map("".join),
    st.sampled_from(["9.91E37", "-9.9E37", "INF", "NAN", "1e999", "1" * 5000, "٣", "1_0"]),
)
wire = st.one_of(
    st.binary(max_size=80),
    st.tuples(
        st.sampled_from([b"#", b"#1", b"#0", b"#9", b"#A", b"#(", b"CURV #2"]),
        st.binary(max_size=40),
    ).map(b"".join),
)


@st.composite
def damaged_profiles(draw: st.DrawFn) -> str:
    """A shipped profile with a stretch of it cut, doubled or overwritten."""
    text = draw(st.sampled_from(TEXTS))
    start = draw(st.integers(0, len(text)))
    stop = min(len(text), start + draw(st.integers(0, 40)))
    put = draw(st.one_of(st.text(max_size=12), st.just(text[start:stop] * 2)))
    return text[:start] + put + text[stop:]


def number(text: str) -> None:
    found = parse_number(text, unit="V")
    assert math.isfinite(found.value) == (found.quality is Quality.OK)


def error_entry(text: str) -> None:
    assert isinstance(parse_error(text).kind, str)


def identity(text: str) -> None:
    assert parse_identity(text).raw == text.strip()


def block(data: bytes) -> None:
    assert len(parse_block(data, end_marked=True)) <= len(data)


def message(data: bytes) -> None:
    reader = MessageReader(b"\r\n", blocks=True, limit_bytes=10_000)
    for start in range(0, len(data), 7):
        reader.receive(data[start : start + 7])
        while not isinstance(reader.next_message(), NeedData):
            pass


def samples(data: bytes) -> None:
    section = WaveformSection(query="CURV?", format="real32", record_s=0.1)
    found = decode_samples(data, section, end_marked=True)
    assert np.isfinite(found).all()


def samples_as_text(text: str) -> None:
    section = WaveformSection(query="CURV?", format="ascii", record_s=0.1)
    assert np.isfinite(decode_samples(text.encode(), section, end_marked=False)).all()


QUESTIONS = [
    Question(section, "1", 1.0)
    for name in shipped_profiles()
    for section in find_profile(name, Path()).quantity.values()
]


def question(text: str) -> None:
    heard = 0
    for one in QUESTIONS:
        try:
            found = one.hear(decode_text(text.encode("utf-8", "replace")))
        except AnswerError:
            continue
        heard += 1
        reading = one.reading(found, source="x", point="", clock=ManualClock(), began_ns=0)
        assert reading.usable <= math.isfinite(reading.u)
        assert suffix_of(one.section.unit) is not None
    if not heard:
        raise AnswerError("none of them")


def profile(text: str) -> None:
    check_toml(text, Profile, ProfileError, name="fuzzed.toml")
    tomllib.loads(text)


def typed(text: str) -> None:
    for kind in Kind:
        try:
            assert math.isfinite(typed_value(text, kind))
        except UnitError:
            continue


@dataclass(frozen=True)
class Parser:
    """What is fed, with what, and the one exception that it may raise."""

    name: str
    feed: Callable[[Any], None]
    inputs: st.SearchStrategy[Any]
    raises: type[Exception]


PARSERS = [
    Parser("number", number, answers, AnswerError),
    Parser("entry of the error queue", error_entry, answers, AnswerError),
    Parser("identity", identity, answers, AnswerError),
    Parser("block", block, wire, AnswerError),
    Parser("message", message, wire, AnswerError),
    Parser("samples", samples, wire, AnswerError),
    Parser("samples as text", samples_as_text, answers, AnswerError),
    Parser("question", question, answers, AnswerError),
    Parser("profile", profile, damaged_profiles(), ProfileError),
    Parser("typed value", typed, answers, UnitError),
]
each_parser = pytest.mark.parametrize("parser", PARSERS, ids=lambda parser: parser.name)


def fuzz(parser: Parser, examples: int) -> None:
    @settings(max_examples=examples, deadline=None, suppress_health_check=list(HealthCheck))
    @given(parser.inputs)
    def fed(data: Any) -> None:
        with contextlib.suppress(parser.raises):
            parser.feed(data)

    fed()


@each_parser
def test_only_the_documented_exception(parser):
    fuzz(parser, 60)


@pytest.mark.study
@pytest.mark.timeout(900)
@each_parser
def test_only_the_documented_exception_at_length(parser):
    fuzz(parser, 5000)


def _fuzz_files(folder: Path, examples: int) -> None:
    lines = st.lists(
        st.one_of(
            answers.map(lambda text: f"-> {text}"),
            answers.map(lambda text: f"<- {text!r}"),
            st.text(max_size=30),
            st.sampled_from(["quantity,value", "ddm,0.1", "ddm,", "vpp,x", '"']),
        ),
        max_size=8,
    )

    @settings(max_examples=examples, deadline=None, suppress_health_check=list(HealthCheck))
    @given(lines)
    def fed(text: list[str]) -> None:
        path = folder / "fuzzed"
        path.write_bytes("\n".join(text).encode("utf-8", "surrogatepass"))
        for read in (
            lambda: TranscriptLink(path, b"\n", ManualClock()),
            lambda: readings_in_csv(path, "receiver"),
        ):
            with contextlib.suppress(InputError):
                read()

    fed()


def test_only_the_documented_exception_of_files(tmp_path):
    _fuzz_files(tmp_path, 60)


@pytest.mark.study
@pytest.mark.timeout(900)
def test_only_the_documented_exception_of_files_at_length(tmp_path):
    _fuzz_files(tmp_path, 3000)
