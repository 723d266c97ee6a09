"""HiSLIP messages: as published, cut anywhere, bounded, and never mistaken for something else."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.scpi.hislip.messages import (
    FrameReader,
    Message,
    MessageType,
    OversizeError,
    PoorlyFormedHeaderError,
    split_reply,
)

# IVI-6.1 2.2 applied by hand: "HS", type, control, parameter, length of payload, all big-endian.
VECTORS = [
    (Message(MessageType.DATA_END, 0, 0xFFFFFF00, b"*IDN?\n"), "48530700ffffff000000000000000006" + "2a49444e3f0a"),
    (Message(MessageType.INITIALIZE, 0, 0x01005858, b"hislip0"), "48530000010058580000000000000007" + "6869736c697030"),
    (Message(MessageType.ASYNC_STATUS_QUERY, 1, 0xFFFFFF02), "48531501ffffff020000000000000000"),
]

# IVI-6.1 table 4, as two public implementations list it.
NUMBERS = {
    "INITIALIZE": 0, "INITIALIZE_RESPONSE": 1, "FATAL_ERROR": 2, "ERROR": 3, "ASYNC_LOCK": 4, "ASYNC_LOCK_RESPONSE": 5,
    "DATA": 6, "DATA_END": 7, "DEVICE_CLEAR_COMPLETE": 8, "DEVICE_CLEAR_ACKNOWLEDGE": 9,
    "ASYNC_REMOTE_LOCAL_CONTROL": 10, "ASYNC_REMOTE_LOCAL_RESPONSE": 11, "TRIGGER": 12, "INTERRUPTED": 13,
    "ASYNC_INTERRUPTED": 14, "ASYNC_MAXIMUM_MESSAGE_SIZE": 15, "ASYNC_MAXIMUM_MESSAGE_SIZE_RESPONSE": 16,
    "ASYNC_INITIALIZE": 17, "ASYNC_INITIALIZE_RESPONSE": 18, "ASYNC_DEVICE_CLEAR": 19, "ASYNC_SERVICE_REQUEST": 20,
    "ASYNC_STATUS_QUERY": 21, "ASYNC_STATUS_RESPONSE": 22, "ASYNC_DEVICE_CLEAR_ACKNOWLEDGE": 23, "ASYNC_LOCK_INFO": 24,
    "ASYNC_LOCK_INFO_RESPONSE": 25,
}  # fmt: skip

MESSAGES = st.builds(
    Message, st.integers(0, 255), st.integers(0, 255), st.integers(0, 2**32 - 1), st.binary(max_size=40)
)


def whole(data: bytes) -> list[bytes]:
    return [data]


def byte_by_byte(data: bytes) -> list[bytes]:
    return [data[at : at + 1] for at in range(len(data))]


def read(reader: FrameReader, pieces: list[bytes]) -> list[Message]:
    messages = []
    for piece in pieces:
        reader.feed(piece)
        while (message := reader.next_message()) is not None:
            messages.append(message)
    return messages


def test_messages_have_the_numbers_of_the_standard() -> None:
    assert {kind.name: kind.value for kind in MessageType} == NUMBERS


@pytest.mark.parametrize(("message", "encoded"), VECTORS)
def test_a_message_goes_over_the_wire_as_published(message: Message, encoded: str) -> None:
    assert message.encode().hex() == encoded


@pytest.mark.parametrize("cut", [whole, byte_by_byte])
@pytest.mark.parametrize(("message", "encoded"), VECTORS)
def test_a_message_is_read_however_it_was_cut(
    message: Message, encoded: str, cut: Callable[[bytes], list[bytes]]
) -> None:
    reader = FrameReader(100)
    assert read(reader, cut(bytes.fromhex(encoded))) == [message]
    assert len(reader) == 0


@settings(derandomize=True, max_examples=100)
@given(st.lists(MESSAGES, max_size=5), st.integers(1, 60))
def test_any_messages_survive_any_cutting(messages: list[Message], size: int) -> None:
    data = b"".join(message.encode() for message in messages)
    pieces = [data[at : at + size] for at in range(0, len(data), size)]
    assert read(FrameReader(40), pieces) == messages


def test_the_beginning_of_the_next_message_waits() -> None:
    first, second = Message(MessageType.DATA, 0, 2, b"a"), Message(MessageType.DATA_END, 0, 4, b"b")
    reader = FrameReader(10)
    assert read(reader, [first.encode() + second.encode()[:5]]) == [first]
    assert read(reader, [second.encode()[5:]]) == [second]


@pytest.mark.parametrize("cut", [whole, byte_by_byte])
def test_too_long_a_payload_is_said_once_and_passed_over(cut: Callable[[bytes], list[bytes]]) -> None:
    reader, refused, messages = FrameReader(10), 0, []
    last = Message(MessageType.DATA_END, 0, 4, b"0123456789")
    for piece in cut(Message(MessageType.DATA, 0, 2, bytes(11)).encode() + last.encode()):
        reader.feed(piece)
        while True:
            try:
                message = reader.next_message()
            except OversizeError:
                refused += 1
                continue
            if message is None:
                break
            messages.append(message)
    assert refused == 1
    assert messages == [last]


def test_a_payload_that_is_only_announced_takes_no_memory() -> None:
    reader = FrameReader(10)
    reader.feed(Message(MessageType.DATA).encode()[:8] + b"\xff" * 8)
    with pytest.raises(OversizeError):
        reader.next_message()
    for _ in range(1000):
        reader.feed(bytes(1000))
        assert reader.next_message() is None
        assert len(reader) == 0


@pytest.mark.parametrize("beginning", [b"*", b"HT", b"H*IDN?", b"GET / HTTP/1.1\r\n\r\n", bytes(16)])
def test_what_does_not_begin_as_a_message_is_noticed_at_its_first_wrong_byte(beginning: bytes) -> None:
    reader = FrameReader(10)
    reader.feed(beginning)
    with pytest.raises(PoorlyFormedHeaderError):
        reader.next_message()


@pytest.mark.parametrize("length", [1, 240, 241, 480, 481, 1000])
def test_a_response_is_split_to_what_the_client_takes(length: int) -> None:
    """No message above the agreed size, all of one MessageID, the last one with the end."""
    response = bytes(index % 251 for index in range(length))
    messages = read(FrameReader(240), [split_reply(response, 0xFFFFFF04, 256)])
    assert b"".join(message.payload for message in messages) == response
    assert {message.parameter for message in messages} == {0xFFFFFF04}
    assert [message.kind for message in messages[:-1]] == [MessageType.DATA] * (len(messages) - 1)
    assert messages[-1].kind == MessageType.DATA_END
    assert len(messages) == -(-length // 240)
