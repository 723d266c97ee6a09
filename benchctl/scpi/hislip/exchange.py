"""The synchronous side of one HiSLIP client: program messages in, responses out, and which were read (IVI-6.1 3.1).

Overlap mode is never offered, so at most one response is on its way, and the client says with its next message
whether it has read it.
"""

from __future__ import annotations

from collections.abc import Callable

from benchctl.scpi.device.conversation import Conversation
from benchctl.scpi.hislip.messages import FIRST_MESSAGE_ID, Message, MessageType, split_reply

# The default of clients: 1 MiB (VISA attribute HISLIP_MAX_MESSAGE_KB, 1024).
USUAL_MESSAGE = 1 << 20

RMT_DELIVERED = 1
"""Control bit of a client's message: the response message terminator of the last response has been read."""

_ID_MASK = 0xFFFFFFFF


class Exchange:
    """Messages and responses between one client and its instrument.

    Args:
        conversation: the client's, interruptible.
        send: takes whole messages for the synchronous channel.
        announce: called with the MessageID of the input that caused a response to be dropped.

    Attributes:
        largest: longest message in bytes, header included, that the client takes.
        is_clearing: between AsyncDeviceClear and DeviceClearComplete; everything else is ignored then.
    """

    def __init__(
        self, conversation: Conversation, send: Callable[[bytes], None], announce: Callable[[int], None]
    ) -> None:
        self.conversation = conversation
        self.largest = USUAL_MESSAGE
        self.is_clearing = False
        self._send = send
        self._announce = announce
        self._forget()

    def take_data(self, message: Message) -> None:
        """Data, or DataEnd with the end of a program message."""
        if not self.is_clearing:
            self._begin(message)
            self.conversation.receive(message.payload, end=message.kind == MessageType.DATA_END)
            self._reply()

    def resume(self) -> None:
        """Go on if the operation that a message waits for has ended."""
        if self.conversation.is_waiting:
            self.conversation.resume()
            self._reply()

    def begin_clear(self) -> None:
        """Drop at once all that the client sent or waits for; the settings stay (6.12)."""
        self.is_clearing = True
        self.conversation.clear()
        self._forget()

    def take_poll(self, message: Message) -> bool:
        """What an AsyncStatusQuery says and asks: whether a response is available to the client (6.14.1).

        A client that names another message than its last has sent one that is still under way, so nothing is
        available to it. Some clients, pyvisa-py among them, name the message that they will send next.
        """
        if message.control & RMT_DELIVERED:
            self._rmt_expected = False
        is_up_to_date = message.parameter in (self._last_id, (self._last_id + 2) & _ID_MASK)
        return self._rmt_expected and is_up_to_date

    def _forget(self) -> None:
        self._last_id = (FIRST_MESSAGE_ID - 2) & _ID_MASK  # what a status query names before any message (6.14)
        self._rmt_expected = False
        self._interruptions = self.conversation.interruptions

    def _begin(self, message: Message) -> None:
        """A client that sends more before it has read its response interrupts it; only the error queue is told.

        By 3.1.1 a client also interrupts when it says that it has read a response that was never sent. Clients do this
        after a device clear and nothing is lost, so it is ignored.
        """
        self._last_id = message.parameter
        if self._rmt_expected and not message.control & RMT_DELIVERED:
            self.conversation.interrupt()
        self._rmt_expected = False
        self._interruptions = self.conversation.interruptions

    def _reply(self) -> None:
        if self.conversation.interruptions != self._interruptions:
            # A response was dropped because more input waited already; the client is told so (3.1.1).
            self._interruptions = self.conversation.interruptions
            self._announce(self._last_id)
        while response := self.conversation.collect():
            self._send(split_reply(response, self._last_id, self.largest))
            self._rmt_expected = True
