"""Any chunking gives the same messages; a block is read whole; only documented errors."""

from __future__ import annotations

import contextlib
import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.errors import AnswerError
from daq.scpi_messages import NEED_DATA, BlockHead, MessageReader, block_head, parse_block

ALL_BYTES = bytes(range(256))


def block(data: bytes) -> bytes:
    """Make a definite-length block (IEEE 488.2 8.7.9)."""
    count = str(len(data)).encode()
    return b"#%d%s%s" % (len(count), count, data)


def messages(reader: MessageReader, chunks: list[bytes]) -> list[bytes]:
    found = []
    for chunk in chunks:
        reader.receive(chunk)
        while isinstance(message := reader.next_message(), bytes):
            found.append(message)
    return found


def cut(data: bytes, places: list[int]) -> list[bytes]:
    edges = sorted({place % (len(data) + 1) for place in places} | {0, len(data)})
    return [data[a:b] for a, b in itertools.pairwise(edges)]


@given(
    parts=st.lists(
        st.one_of(
            st.binary(max_size=80).map(block),
            st.from_regex(rb"[A-Z0-9 ,.+-]{0,12}", fullmatch=True),
            st.just(b'-113,"Undefined #3999 header"'),
        ),
        min_size=1,
        max_size=5,
    ),
    places=st.lists(st.integers(0, 10_000), max_size=12),
    terminator=st.sampled_from([b"\n", b"\r\n", b"\r"]),
)
def test_any_chunking_gives_the_same_messages(parts, places, terminator):
    stream = b"".join(part + terminator for part in parts)
    whole = messages(MessageReader(terminator, blocks=True), cut(stream, places))
    assert whole == parts


@given(st.lists(st.binary(max_size=30), max_size=10), st.booleans(), st.booleans())
def test_random_bytes_give_messages_or_the_documented_error(chunks, marks_end, blocks):
    reader = MessageReader(b"\n", marks_end=marks_end, blocks=blocks)
    for chunk in chunks:
        reader.receive(chunk, end=True)
        with contextlib.suppress(AnswerError):
            while isinstance(message := reader.next_message(), bytes):
                with contextlib.suppress(AnswerError):
                    parse_block(message, end_marked=marks_end)


def test_a_block_holds_every_byte_value_and_is_not_ended_by_any():
    data = ALL_BYTES * 4
    reader = MessageReader(b"\n", blocks=True)
    [message] = messages(reader, [bytes([byte]) for byte in block(data) + b"\n"])
    assert parse_block(message, end_marked=False) == data
    assert reader.pending == b""


def test_an_incomplete_block_asks_for_more_and_its_bytes_stay_visible():
    reader = MessageReader(b"\n", blocks=True)
    reader.receive(block(ALL_BYTES)[:100])
    assert reader.next_message() is NEED_DATA
    assert reader.pending == block(ALL_BYTES)[:100]


def test_an_indefinite_block_is_refused_where_the_link_marks_no_end():
    reader = MessageReader(b"\n", blocks=True)
    reader.receive(b"#0" + ALL_BYTES + b"\n")
    with pytest.raises(AnswerError, match="does not mark the end"):
        reader.next_message()


def test_an_indefinite_block_is_read_where_the_link_marks_the_end():
    reader = MessageReader(b"\n", marks_end=True, blocks=True)
    reader.receive(b"#0" + ALL_BYTES[:128], end=False)
    assert reader.next_message() is NEED_DATA
    reader.receive(ALL_BYTES[128:] + b"\n", end=True)
    message = reader.next_message()
    assert isinstance(message, bytes)
    assert parse_block(message, end_marked=True) == ALL_BYTES


def test_without_blocks_a_hash_is_a_character_like_any_other():
    assert messages(MessageReader(b"\n"), [b"CH #15 ok\nnext\n"]) == [b"CH #15 ok", b"next"]


def test_a_flood_without_an_end_is_stopped():
    reader = MessageReader(b"\n", limit_bytes=1000)
    reader.receive(b"x" * 1001)
    with pytest.raises(AnswerError, match="without the end"):
        reader.next_message()
    assert reader.reset() == b"x" * 1001
    assert reader.pending == b""


def test_a_reader_needs_a_terminator():
    with pytest.raises(ValueError, match="at least one byte"):
        MessageReader(b"")


@pytest.mark.parametrize(
    ("data", "head"),
    [
        (b"#10", BlockHead(3, 0)),  # an empty block
        (b"#15abcde", BlockHead(3, 5)),
        (b"#3100xyz", BlockHead(5, 100)),
        (b"#A1073741824x", BlockHead(12, 1_073_741_824)),
        (b"#(1073741824)x", BlockHead(13, 1_073_741_824)),
        (b"#0abc", BlockHead(2, None)),
        (b"#", NEED_DATA),
        (b"#31", NEED_DATA),
        (b"#(12", NEED_DATA),
        (b"#HFF", None),  # a hexadecimal number
        (b"#2x9", None),
    ],
)
def test_heads_of_blocks(data, head):
    """Forms ``#A`` and ``#(`` as reported from the field; the others from IEEE 488.2 8.7.9."""
    assert block_head(data) == head


@pytest.mark.parametrize(
    ("message", "match"),
    [
        (b"#15abcd", "4 arrived"),
        (b"#13abcd", "1 bytes are left over"),
        (b"1.5E+00", "block was expected"),
        (b"#0abc", "no end"),
    ],
)
def test_broken_blocks_are_errors(message, match):
    with pytest.raises(AnswerError, match=match):
        parse_block(message, end_marked=False)


@pytest.mark.parametrize("ending", [b"", b"\n", b"\r\n"])
def test_a_block_may_follow_a_header_and_precede_a_line_end(ending):
    assert parse_block(b"CURV " + block(b"a\nb") + ending, end_marked=False) == b"a\nb"
