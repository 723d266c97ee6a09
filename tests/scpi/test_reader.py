"""The reader gives the same messages however the stream was broken, and never holds more than its bound."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.scpi.reader import MessageReader, OverlongMessageError

BOUND = 64
TOO_LONG = b"<too long>"

# What comes over the wire, and the messages it holds.
TABLE: list[tuple[str, bytes, list[bytes]]] = [
    ("nothing", b"", []),
    ("one message", b"*IDN?\n", [b"*IDN?"]),
    ("an empty message", b"\n", [b""]),
    ("a carriage return before the line feed is white space", b"*IDN?\r\n", [b"*IDN?"]),
    ("two messages in one piece", b"VOLT 1\nVOLT?\n", [b"VOLT 1", b"VOLT?"]),
    ("a message without its end is not one yet", b"VOLT 1\nVOL", [b"VOLT 1"]),
    ("a semicolon in quotes", b'DISP:TEXT "a;b";*OPC?\n', [b'DISP:TEXT "a;b";*OPC?']),
    ("a doubled quote in quotes", b'DISP:TEXT "a""b"\nX\n', [b'DISP:TEXT "a""b"', b"X"]),
    ("a hash in quotes starts no block", b'DISP:TEXT "x #15"\nX\n', [b'DISP:TEXT "x #15"', b"X"]),
    ("a lost quote does not swallow the next message", b'DISP:TEXT "a\nOUTP OFF\n', [b'DISP:TEXT "a', b"OUTP OFF"]),
    ("a block with line feeds", b"DATA #15a\nb\nc\nX\n", [b"DATA #15a\nb\nc", b"X"]),
    ("a block with quotes", b"DATA #14'\"'\"\nX\n", [b"DATA #14'\"'\"", b"X"]),
    ("a block whose last byte is a carriage return", b"DATA #13ab\r\nX\n", [b"DATA #13ab\r", b"X"]),
    ("a carriage return behind a block is white space", b"#12ab\r\n", [b"#12ab"]),
    ("an empty block", b"DATA #10\nX\n", [b"DATA #10", b"X"]),
    ("leading zeros in a block's length", b"#800000003\n\n\n\nX\n", [b"#800000003\n\n\n", b"X"]),
    ("two blocks", b"DATA #11\n,#11\n\n", [b"DATA #11\n,#11\n"]),
    ("an indefinite block ends with its message", b"DATA #0ab'c\nX\n", [b"DATA #0ab'c", b"X"]),
    ("a hash within a word starts no block", b"acme,SN#15\nX\n", [b"acme,SN#15", b"X"]),
    ("a hash before a base is a number", b"*ESE #H1F\nX\n", [b"*ESE #H1F", b"X"]),
    ("a block length that is not a number", b"DATA #5abc\nX\n", [b"DATA #5abc", b"X"]),
    ("a block head that a line feed cuts", b"DATA #5\nX\n", [b"DATA #5", b"X"]),
    ("any bytes at all", bytes(range(11, 34)) + b"\xff\x80\n", [bytes(range(11, 34)) + b"\xff\x80"]),
    ("exactly the bound", b"x" * BOUND + b"\nX\n", [b"x" * BOUND, b"X"]),
    ("one more than the bound", b"x" * (BOUND + 1) + b"\nX\n", [TOO_LONG, b"X"]),
    ("much more than the bound", b"x" * 10 * BOUND + b"\nX\n", [TOO_LONG, b"X"]),
    ("a block with line feeds in a message too long", b"#15a\nb\nc" + b"x" * BOUND + b"\nX\n", [TOO_LONG, b"X"]),
    ("a block that says more than the bound", b"DATA #9999999999\nX\n", [TOO_LONG, b"X"]),
]


def drain(reader: MessageReader) -> list[bytes]:
    found: list[bytes] = []
    while True:
        try:
            message = reader.next_message()
        except OverlongMessageError:
            found.append(TOO_LONG)
            continue
        if message is None:
            return found
        found.append(message)


def read(pieces: list[bytes], *, bound: int = BOUND) -> list[bytes]:
    reader = MessageReader(bound)
    found: list[bytes] = []
    for piece in pieces:
        reader.feed(piece)
        found += drain(reader)
        assert len(reader) <= bound, "no more than the bound stays behind"
    return found


def in_single_bytes(stream: bytes) -> list[bytes]:
    return [stream[n : n + 1] for n in range(len(stream))]


def rows(table: list[tuple[str, bytes, list[bytes]]]) -> pytest.MarkDecorator:
    return pytest.mark.parametrize(("stream", "messages"), [row[1:] for row in table], ids=[row[0] for row in table])


@rows(TABLE)
def test_whole(stream: bytes, messages: list[bytes]) -> None:
    """Each row of the table in one piece."""
    assert read([stream]) == messages


@rows(TABLE)
def test_byte_by_byte(stream: bytes, messages: list[bytes]) -> None:
    """Each row of the table in the smallest pieces."""
    assert read(in_single_bytes(stream)) == messages


@rows([row for row in TABLE if row[1].endswith(b"\n")])
def test_with_trailing_data(stream: bytes, messages: list[bytes]) -> None:
    """What follows a whole message is left for the next, whatever it is."""
    for trailing in (b"*CLS\n", b"\n", b'"\n', b"#\n"):
        assert read([stream + trailing + b"VOL"]) == [*messages, trailing[:-1]]
        assert read([stream, trailing + b"VOL"]) == [*messages, trailing[:-1]]


FRAGMENTS = st.sampled_from(
    [b"\n", b"\r", b'"', b"'", b"#", b"#0", b"#13", b"#15", b"#9", b",", b";", b" ", b"A", b"5", b"\xff", b"x" * 30]
)


@settings(derandomize=True, max_examples=400, deadline=None)
@given(st.lists(FRAGMENTS, max_size=40).map(b"".join), st.data())
def test_no_fragmentation_changes_what_is_read(stream: bytes, data: st.DataObject) -> None:
    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=8)))
    pieces = [stream[a:b] for a, b in zip([0, *cuts], [*cuts, len(stream)], strict=True)]
    expected = read([stream])
    assert read(pieces) == expected
    assert read(in_single_bytes(stream)) == expected


def test_ten_megabytes_in_a_block_are_not_searched_again_with_each_piece() -> None:
    """A piece costs what it weighs: a block is passed over by its length."""
    reader = MessageReader(bound=20_000_000)
    payload = b"\n" * 10_000_000
    reader.feed(b"#810000000")
    for start in range(0, len(payload), 1 << 20):
        assert reader.next_message() is None
        reader.feed(payload[start : start + (1 << 20)])
    reader.feed(b"\n")
    message = reader.next_message()
    assert message is not None
    assert message[10:] == payload


class TestEndOfMessage:
    """Links such as HiSLIP mark the end of a message themselves."""

    def read(self, *messages: bytes) -> list[bytes]:
        reader = MessageReader(BOUND, newline_in_strings=True)
        for message in messages:
            reader.feed(message)
            reader.end()
        return drain(reader)

    def test_no_line_feed_is_needed(self) -> None:
        assert self.read(b"*IDN?", b"VOLT?") == [b"*IDN?", b"VOLT?"]

    def test_line_feed_and_end_together_end_one_message(self) -> None:
        assert self.read(b"*IDN?\n", b"VOLT?\r\n") == [b"*IDN?", b"VOLT?"]

    def test_a_line_feed_before_the_end_ends_a_message_as_well(self) -> None:
        assert self.read(b"VOLT 1\nVOLT?") == [b"VOLT 1", b"VOLT?"]

    def test_a_string_may_hold_a_line_feed(self) -> None:
        assert self.read(b'TEXT "a\nb"', b"X") == [b'TEXT "a\nb"', b"X"]

    def test_the_end_ends_a_string_and_a_block_that_are_not_whole(self) -> None:
        assert self.read(b'TEXT "a', b"DATA #19abc", b"DATA #3", b"X") == [b'TEXT "a', b"DATA #19abc", b"DATA #3", b"X"]

    def test_an_indefinite_block_ends_with_its_message(self) -> None:
        assert self.read(b"DATA #0a'b\n", b"X") == [b"DATA #0a'b", b"X"]

    def test_the_end_ends_a_message_that_was_too_long(self) -> None:
        assert self.read(b"x" * 200, b"X") == [TOO_LONG, b"X"]


def test_clear_forgets_ends_that_the_link_marked() -> None:
    reader = MessageReader(BOUND)
    reader.feed(b"VOLT 1")
    reader.end()
    reader.clear()
    reader.feed(b"VOLT")
    assert drain(reader) == []
    reader.feed(b" 2345\n")
    assert drain(reader) == [b"VOLT 2345"]


def test_clear_forgets_half_a_message_and_the_state_it_left() -> None:
    reader = MessageReader(BOUND)
    for half in (b"VOL", b"DATA #15ab", b'TEXT "a', b"DATA #0a", b"x" * 200):
        reader.feed(half)
        drain(reader)
        reader.clear()
        reader.feed(b"*IDN?\n")
        assert drain(reader) == [b"*IDN?"]
