"""A client of a HiSLIP port without sockets, for the tests of what each message of IVI-6.1 does."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from benchctl.scpi.device.conversation import Conversation
from benchctl.scpi.device.device import Device
from benchctl.scpi.hislip.endpoint import LONGEST_NAME, HislipChannel, HislipEndpoint
from benchctl.scpi.hislip.messages import FIRST_MESSAGE_ID, ErrorCode, FatalErrorCode, FrameReader, Message, MessageType


@dataclass
class Client:
    """A client that counts its MessageIDs and says what it has read, as IVI-6.1 asks."""

    endpoint: HislipEndpoint
    name: bytes = b"hislip0"
    message_id: int = FIRST_MESSAGE_ID
    rmt: int = 0
    number: int = 0
    sync: HislipChannel = field(init=False)
    asyn: HislipChannel = field(init=False)

    def __post_init__(self) -> None:
        self.sync = self.endpoint.open()
        self.asyn = self.endpoint.open()
        self.tell(self.sync, Message(MessageType.INITIALIZE, 0, 0x01007878, self.name))
        (welcome,) = self.heard(self.sync)
        self.number = welcome.parameter & 0xFFFF
        self.tell(self.asyn, Message(MessageType.ASYNC_INITIALIZE, 0, self.number))
        self.heard(self.asyn)

    def tell(self, channel: HislipChannel, message: Message) -> None:
        channel.receive(message.encode())

    def heard(self, channel: HislipChannel) -> list[Message]:
        """What has arrived on a channel since."""
        reader = FrameReader(1 << 24)
        reader.feed(channel.collect())
        messages = []
        while (message := reader.next_message()) is not None:
            messages.append(message)
        assert len(reader) == 0
        return messages

    def write(self, program: bytes, kind: MessageType = MessageType.DATA_END) -> int:
        """Send a program message or a piece of one; the MessageID it had."""
        sent = self.message_id
        self.tell(self.sync, Message(kind, self.rmt, sent, program))
        self.rmt, self.message_id = 0, sent + 2
        return sent

    def read(self) -> bytes:
        """The response, of which every message must answer the last one sent."""
        messages = self.heard(self.sync)
        assert [message.kind for message in messages[:-1]] == [MessageType.DATA] * (len(messages) - 1)
        assert messages[-1].kind == MessageType.DATA_END
        assert {message.parameter for message in messages} == {self.message_id - 2}
        self.rmt = 1
        return b"".join(message.payload for message in messages)

    def ask(self, program: bytes) -> bytes:
        self.write(program)
        return self.read()

    def request(self, kind: MessageType, control: int = 0, parameter: int = 0, payload: bytes = b"") -> Message:
        """A transaction of the asynchronous channel."""
        self.tell(self.asyn, Message(kind, control, parameter, payload))
        (answer,) = self.heard(self.asyn)
        return answer

    def poll(self, message_id: int | None = None) -> int:
        """The status byte."""
        last = self.message_id - 2 if message_id is None else message_id
        answer = self.request(MessageType.ASYNC_STATUS_QUERY, self.rmt, last)
        self.rmt = 0
        assert answer.kind == MessageType.ASYNC_STATUS_RESPONSE
        return answer.control


def endpoint_of(*devices: Device) -> HislipEndpoint:
    """A port with these instruments: hislip0, hislip1, ..."""

    def converse(device: Device) -> Callable[[], Conversation]:
        return lambda: Conversation(device, interruptible=True)

    return HislipEndpoint({f"hislip{n}": converse(device) for n, device in enumerate(devices)})


def clear(client: Client) -> None:
    """A whole device clear."""
    assert client.request(MessageType.ASYNC_DEVICE_CLEAR).kind == MessageType.ASYNC_DEVICE_CLEAR_ACKNOWLEDGE
    client.tell(client.sync, Message(MessageType.DEVICE_CLEAR_COMPLETE))
    assert client.heard(client.sync)[-1].kind == MessageType.DEVICE_CLEAR_ACKNOWLEDGE


def assert_error(messages: list[Message], code: ErrorCode) -> None:
    """One Error, with words."""
    (message,) = messages
    assert (message.kind, message.control) == (MessageType.ERROR, code)
    assert message.payload


def assert_fatal(channel: HislipChannel, code: FatalErrorCode) -> None:
    """The channel says why, in words as well, and ends."""
    reader = FrameReader(LONGEST_NAME)
    reader.feed(channel.collect())
    message = reader.next_message()
    assert message is not None
    assert (message.kind, message.control) == (MessageType.FATAL_ERROR, code)
    assert message.payload
    assert channel.is_over
