"""Messages of DNS: written and read as another library does, and nothing in a hostile one is believed."""

from __future__ import annotations

import socket
import struct

import pytest
from zeroconf import DNSAddress, DNSIncoming, DNSOutgoing, DNSPointer, DNSService, DNSText

from benchctl.instruments.discovery.dns_messages import (
    PTR,
    SRV,
    TXT,
    A,
    MessageError,
    Place,
    Record,
    labels_of,
    question,
    records,
)

RAW = "_scpi-raw._tcp.local"
NAME = f"Supply of the lower deck.{RAW}"
HEADER = struct.pack("!6H", 0, 0x8400, 0, 1, 0, 0)
FLAGS_ANSWER = 0x8400
INTERNET = 1


def answer_by_another_library() -> bytes:
    out = DNSOutgoing(FLAGS_ANSWER)
    out.add_answer_at_time(DNSPointer(f"{RAW}.", PTR, INTERNET, 120, f"{NAME}."), 0)
    out.add_answer_at_time(DNSService(f"{NAME}.", SRV, INTERNET, 120, 0, 0, 5025, "deck.local."), 0)
    out.add_answer_at_time(DNSText(f"{NAME}.", TXT, INTERNET, 120, b"\x09txtvers=1\x0cModel=PS 2=3\x04flag"), 0)
    out.add_answer_at_time(DNSAddress("deck.local.", A, INTERNET, 120, socket.inet_aton("192.0.2.7")), 0)
    return out.packets()[0]


def test_an_answer_of_another_library_is_read_with_its_compressed_names() -> None:
    assert records(answer_by_another_library()) == [
        Record(RAW, PTR, NAME),
        Record(NAME, SRV, Place("deck.local", 5025)),
        Record(NAME, TXT, {"txtvers": "1", "Model": "PS 2=3", "flag": ""}),
        Record("deck.local", A, "192.0.2.7"),
    ]


def test_another_library_reads_the_question() -> None:
    asked = DNSIncoming(question([(RAW, PTR), (f"Deck\\. 3.{RAW}", SRV)]))
    assert [(each.name, each.type) for each in asked.questions] == [(f"{RAW}.", PTR), (f"Deck. 3.{RAW}.", SRV)]
    assert asked.valid
    assert asked.is_query()


def test_a_dot_in_a_name_is_not_taken_for_the_end_of_a_part() -> None:
    message = HEADER + b"\x02ab\x00" + struct.pack("!HHIH", PTR, INTERNET, 1, 6) + b"\x04x. y\x00"
    assert records(message)[0].data == "x\\. y"
    assert labels_of("x\\. y.local") == ["x. y", "local"]


def test_a_question_of_somebody_else_is_no_answer() -> None:
    assert records(question([(RAW, PTR)])) == []


@pytest.mark.parametrize(
    "message",
    [
        b"",
        b"\x00" * 11,
        HEADER,
        HEADER + b"\xc0\x0c",  # a name that points at itself
        HEADER + b"\x3fshort",
        HEADER + b"\x00" + struct.pack("!HHIH", A, INTERNET, 1, 4),
        HEADER + b"\x00" + struct.pack("!HHIH", A, INTERNET, 1, 2) + b"ab",
    ],
)
def test_what_is_no_message_is_refused_and_ends(message: bytes) -> None:
    with pytest.raises(MessageError):
        records(message)


def test_every_cut_of_an_answer_is_refused_or_read_as_far_as_it_is_whole() -> None:
    whole = answer_by_another_library()
    for length in range(12, len(whole)):
        with pytest.raises(MessageError):
            records(whole[:length])
