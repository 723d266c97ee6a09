"""Whole messages, and addresses that open nothing."""

from __future__ import annotations

import pytest

from benchctl.errors import NotConnected
from benchctl.instruments.links.transports.every_link import open_link
from benchctl.instruments.links.transports.messages import with_line_feed


@pytest.mark.parametrize(
    ("message", "completed"),
    [
        (b"14.4\n", b"14.4\n"),
        (b"14.4", b"14.4\n"),
        (b"#13abc", b"#13abc\n"),
        (b"#13abc\n", b"#13abc\n"),
        (b"#13ab\n", b"#13ab\n\n"),  # the line feed is the last of the three bytes
        (b"#13ab\n\n", b"#13ab\n\n"),
        (b"#0abc\n", b"#0abc\n"),
        (b"#hash", b"#hash\n"),
        (b"#", b"#\n"),
    ],
)
def test_the_end_of_a_message_stands_for_a_line_feed(message: bytes, completed: bytes) -> None:
    assert with_line_feed(message) == completed


@pytest.mark.parametrize("address", ["TCPIP::127.0.0.1::hislip0,port::INSTR", "supply"])
def test_an_address_that_is_none_says_so(address: str) -> None:
    with pytest.raises(NotConnected):
        open_link(address)
