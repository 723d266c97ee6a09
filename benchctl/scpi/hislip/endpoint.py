"""One HiSLIP port: joins a client's two connections to each other and to their instrument (IVI-6.1 6.1, 6.2).

A client opens two connections. The first asks for an instrument by its name on this port and is given a number; the
second names that number. Bytes in, bytes out; no sockets.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from benchctl.scpi.device.conversation import Conversation
from benchctl.scpi.hislip.messages import (
    PROTOCOL_VERSION,
    ErrorCode,
    FatalErrorCode,
    FrameReader,
    Message,
    MessageType,
    OversizeError,
    PoorlyFormedHeaderError,
)
from benchctl.scpi.hislip.session import LARGEST_PAYLOAD, SYNCHRONIZED, HislipSession, error_message

# The names of instruments are the longest payloads outside of Data (256 characters, from memory of IVI-6.1).
LONGEST_NAME = 256
# A workshop has a handful of clients; each costs buffers of a few megabytes at most.
MOST_CLIENTS = 32
# Two characters that name the maker of the server; small letters are assigned to nobody (common practice: capitals).
VENDOR = int.from_bytes(b"bc", "big")


class HislipChannel:
    """One connection; its first message says which of the two it is.

    Attributes:
        is_asynchronous: whether it is a client's second connection.
        is_over: whether it is to be closed once its output is sent.
    """

    def __init__(self, endpoint: HislipEndpoint) -> None:
        self.is_asynchronous = False
        self.is_over = False
        self.client: _Client | None = None
        self._endpoint = endpoint
        self._reader = FrameReader(LONGEST_NAME)
        self._output = bytearray()
        self._break: ConnectionError | None = None

    @property
    def is_waiting(self) -> bool:
        """Whether something waits for time to pass: call `resume` now and then."""
        session = self._session
        return session is not None and self.is_asynchronous and session.is_waiting

    @property
    def wants_input(self) -> bool:
        """False while no more should be read from the link, because enough waits already."""
        return len(self._reader) <= LARGEST_PAYLOAD

    @property
    def has_output(self) -> bool:
        """Whether there is something to send, or the link to be broken."""
        return bool(self._output) or self._break is not None

    def receive(self, data: bytes) -> None:
        """Take bytes from the client and act on the messages that they complete."""
        self._reader.feed(data)
        self.advance()

    def advance(self) -> None:
        """Act on the messages that wait, as far as the instrument has room."""
        try:
            while self._is_ready and (message := self._next_message()) is not None:
                self._handle(message)
        except PoorlyFormedHeaderError as error:
            self.fail(FatalErrorCode.POORLY_FORMED_HEADER, str(error))

    def resume(self) -> None:
        """Go on with what waited, if it may."""
        if self.client is not None and self.client.session is not None:
            self.client.session.resume()
            self.client.channels[0].advance()

    def collect(self) -> bytes:
        """Everything there is to send.

        Raises:
            ConnectionError: the link breaks here; everything queued before has been sent.
        """
        if self._break is not None and not self._output:
            raise self._break
        output = bytes(self._output)
        self._output.clear()
        return output

    def close(self) -> None:
        """The link is gone: end the client and its other channel."""
        self.end()

    def open_for_data(self) -> None:
        """From now on take payloads as long as pieces of program messages."""
        self._reader.bound = LARGEST_PAYLOAD

    def send(self, message: Message) -> None:
        """Queue a message."""
        self._output += message.encode()

    def send_encoded(self, messages: bytes) -> None:
        """Queue whole messages."""
        self._output += messages

    def fail(self, code: FatalErrorCode, text: str) -> None:
        """Send the reason, and end the connection and its partner."""
        if not self.is_over:
            self.send(Message(MessageType.FATAL_ERROR, code, 0, text.encode("ascii", "replace")))
        self.end()

    def end(self) -> None:
        """End the connection and its partner."""
        self.is_over = True
        client, self.client = self.client, None
        if client is not None:
            self._endpoint.remove(client)

    def break_off(self, error: ConnectionError) -> None:
        """Break the link once what was queued before has been sent."""
        self._break = error

    @property
    def _session(self) -> HislipSession | None:
        return self.client.session if self.client is not None else None

    @property
    def _is_ready(self) -> bool:
        """Whether the next message may be handled now."""
        if self.is_over or self._break is not None:
            return False
        session = self._session
        return session is None or self.is_asynchronous or session.takes_messages

    def _next_message(self) -> Message | None:
        while True:
            try:
                return self._reader.next_message()
            except OversizeError as error:
                self.send(error_message(ErrorCode.MESSAGE_TOO_LARGE, str(error)))

    def _handle(self, message: Message) -> None:
        client = self.client
        if client is None:
            self._endpoint.introduce(self, message)
        elif client.session is None:
            self.fail(FatalErrorCode.CHANNELS_NOT_ESTABLISHED, "the asynchronous channel has not been opened")
        elif self.is_asynchronous:
            client.session.handle_asynchronous(message)
            client.channels[0].advance()  # a clear handles what was held back, so that the end of the clear is seen
        else:
            client.session.handle_synchronous(message)


class _Client:
    """A client that has at least its first connection."""

    def __init__(self, number: int, name: str, first: HislipChannel) -> None:
        self.number = number
        self.name = name
        self.channels = [first]
        self.session: HislipSession | None = None


class HislipEndpoint:
    """The instruments behind one port, by their names there (`hislip0` in an address), and their clients.

    Args:
        instruments: by name, a function that makes a client's conversation with it, interruptible.
    """

    def __init__(self, instruments: Mapping[str, Callable[[], Conversation]]) -> None:
        self._instruments = {name.lower(): converse for name, converse in instruments.items()}
        self._clients: dict[int, _Client] = {}
        self._last_number = 0

    def open(self) -> HislipChannel:
        """Somebody has connected."""
        return HislipChannel(self)

    def introduce(self, channel: HislipChannel, message: Message) -> None:
        """The first message of a connection must say what it is for."""
        if message.kind == MessageType.INITIALIZE:
            self._initialize(channel, message)
        elif message.kind == MessageType.ASYNC_INITIALIZE:
            self._join(channel, message)
        else:
            channel.fail(FatalErrorCode.INVALID_INITIALIZATION, "a connection begins with Initialize")

    def remove(self, client: _Client) -> None:
        """A client is gone: its other connection ends."""
        if self._clients.pop(client.number, None) is None:
            return
        for channel in client.channels:
            channel.end()

    def _initialize(self, channel: HislipChannel, message: Message) -> None:
        name = message.payload.decode("ascii", "replace").lower() or next(iter(self._instruments))
        if name not in self._instruments:
            channel.fail(FatalErrorCode.INVALID_INITIALIZATION, f"nothing is called {name} here")
        elif len(self._clients) >= MOST_CLIENTS:
            channel.fail(FatalErrorCode.TOO_MANY_CLIENTS, f"{MOST_CLIENTS} clients are connected already")
        else:
            client = _Client(self._free_number(), name, channel)
            self._clients[client.number] = channel.client = client
            self._answer_first(channel, client.number)

    def _join(self, channel: HislipChannel, message: Message) -> None:
        client = self._clients.get(message.parameter)
        if client is None or client.session is not None:
            channel.fail(FatalErrorCode.INVALID_INITIALIZATION, f"no client {message.parameter} waits for this")
            return
        channel.client, channel.is_asynchronous = client, True
        first = client.channels[0]
        client.channels.append(channel)
        client.session = HislipSession(self._instruments[client.name](), first, channel)
        first.open_for_data()
        channel.send(Message(MessageType.ASYNC_INITIALIZE_RESPONSE, 0, VENDOR))

    def _answer_first(self, channel: HislipChannel, number: int) -> None:
        parameter = PROTOCOL_VERSION << 16 | number
        channel.send(Message(MessageType.INITIALIZE_RESPONSE, SYNCHRONIZED, parameter))

    def _free_number(self) -> int:
        """A session number of sixteen bits that was not in use a moment ago."""
        number = self._last_number
        while number in self._clients or number == self._last_number:
            number = (number + 1) & 0xFFFF
        self._last_number = number
        return number
