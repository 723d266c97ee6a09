"""Blocks of IEEE 488.2: written with the shortest head, read with any, refused when they are not whole."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.scpi.blocks import BlockError, BlockHeader, decode_block, encode_block


@pytest.mark.parametrize(
    ("data", "block"),
    [(b"", b"#10"), (b"hello", b"#15hello"), (b"x" * 1024, b"#41024" + b"x" * 1024)],
)
def test_a_block_carries_its_length(data: bytes, block: bytes) -> None:
    """Five bytes begin `#15`, 1024 bytes `#41024` (IEEE 488.2 8.7.9)."""
    assert encode_block(data) == block
    assert decode_block(block) == data


@settings(derandomize=True, max_examples=100, deadline=None)
@given(st.binary(max_size=2000))
def test_any_bytes_come_back_as_they_went(data: bytes) -> None:
    assert decode_block(encode_block(data)) == data
    assert decode_block(encode_block(data) + b"\n") == data


def test_leading_zeros_in_the_length_are_accepted() -> None:
    """Many instruments always send eight digits of length."""
    assert decode_block(b"#800001024" + b"x" * 1024) == b"x" * 1024


def test_an_indefinite_block_ends_with_the_message() -> None:
    """IEEE 488.2 8.7.10."""
    assert BlockHeader.parse(b"#0") == BlockHeader(size=2, length=None)
    assert decode_block(b"#0ab\n\n") == b"ab\n"


def test_the_head_says_how_many_bytes_of_it_are_missing() -> None:
    """A link reads exactly so many and asks again, so it never reads into the data."""
    stream = b"#41024" + b"x" * 1024
    head = b""
    asked = []
    while count := BlockHeader.missing(head):
        asked.append(count)
        head, stream = head + stream[:count], stream[count:]
    assert asked == [2, 4]
    assert BlockHeader.parse(head) == BlockHeader(size=6, length=1024)
    assert len(stream) == 1024


@pytest.mark.parametrize("prefix", [b"", b"#", b"#4", b"#41", b"#4102"])
def test_half_a_head_needs_more_bytes(prefix: bytes) -> None:
    assert BlockHeader.parse(prefix) is None


@pytest.mark.parametrize("prefix", [b"1.5\n", b"# 5", b"#A12", b"#4 102", b"#3-12"])
def test_what_begins_no_block_is_refused_at_once(prefix: bytes) -> None:
    with pytest.raises(BlockError):
        BlockHeader.missing(prefix)


@pytest.mark.parametrize("block", [b"", b"#", b"#15hell", b"#15hello!", b"#15hello\n\n", b"1.25"])
def test_a_block_that_is_not_exactly_one_is_refused(block: bytes) -> None:
    with pytest.raises(BlockError):
        decode_block(block)


def test_more_than_nine_digits_of_length_do_not_fit() -> None:
    class Huge(bytes):
        def __len__(self) -> int:
            return 1_000_000_000

    with pytest.raises(BlockError, match="do not fit"):
        encode_block(Huge())
