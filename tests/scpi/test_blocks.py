"""Blocks of IEEE 488.2: written with the shortest head, read with any, refused when they are not whole."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.scpi.blocks import BlockError, BlockHeader, encode_block


@pytest.mark.parametrize(
    ("data", "block"),
    [(b"", b"#10"), (b"hello", b"#15hello"), (b"x" * 1024, b"#41024" + b"x" * 1024)],
)
def test_a_block_carries_its_length(data: bytes, block: bytes) -> None:
    """Five bytes begin `#15`, 1024 bytes `#41024` (IEEE 488.2 8.7.9)."""
    assert encode_block(data) == block


@settings(derandomize=True, max_examples=100, deadline=None)
@given(st.binary(max_size=2000))
def test_the_head_of_any_block_says_where_its_data_are(data: bytes) -> None:
    block = encode_block(data)
    header = BlockHeader.parse(block)
    assert header is not None
    assert header.length is not None
    assert block[header.size : header.size + header.length] == data
    assert len(block) == header.size + header.length


def test_leading_zeros_in_the_length_are_accepted() -> None:
    """Many instruments always send eight digits of length."""
    assert BlockHeader.parse(b"#800001024") == BlockHeader(size=10, length=1024)


def test_an_indefinite_block_ends_with_the_message() -> None:
    """IEEE 488.2 8.7.10."""
    assert BlockHeader.parse(b"#0") == BlockHeader(size=2, length=None)


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


def test_more_than_nine_digits_of_length_do_not_fit() -> None:
    class Huge(bytes):
        def __len__(self) -> int:
            return 1_000_000_000

    with pytest.raises(BlockError, match="do not fit"):
        encode_block(Huge())
