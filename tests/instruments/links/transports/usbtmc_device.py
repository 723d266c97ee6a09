"""The device's side of USBTMC's bulk endpoints (USBTMC 1.00, chapter 3), with a simulated instrument behind it."""

from __future__ import annotations

import errno
import struct
from array import array
from typing import Any

import usb

from benchctl.scpi.device.conversation import Conversation

HEADER_BYTES = 12
_OUT, _REQUEST_IN = 1, 2
_END_OF_MESSAGE = 1


class UsbDevice:
    """Takes messages in transfers and gives answers in transfers as long as they are asked for.

    Args:
        conversation: with the instrument.
        packet_bytes: the longest packet of the endpoints.
    """

    def __init__(self, conversation: Conversation, packet_bytes: int) -> None:
        self._conversation = conversation
        self.wMaxPacketSize = packet_bytes
        self.bEndpointAddress = 0x81
        self._answer = b""
        self._going_out = b""
        self.tags: list[int] = []

    def write(self, data: bytes) -> int:
        """One bulk-OUT transfer."""
        kind, tag, inverse, size, attributes = struct.unpack_from("<BBBxLB", data)
        assert inverse == ~tag & 0xFF  # table 1
        self.tags.append(tag)
        if kind == _OUT:
            assert len(data) == HEADER_BYTES + size + -size % 4  # 3.2: filled up to whole words
            end = bool(attributes & _END_OF_MESSAGE)
            self._conversation.receive(data[HEADER_BYTES : HEADER_BYTES + size], end=end)
        else:
            assert kind == _REQUEST_IN
            self._begin_answer(tag, size)
        return len(data)

    def clear(self) -> None:
        """INITIATE_CLEAR (4.2.1.6): forget input and output."""
        self._conversation.clear()
        self._answer = self._going_out = b""

    def _begin_answer(self, tag: int, size: int) -> None:
        self._answer += self._conversation.collect()
        piece, self._answer = self._answer[:size], self._answer[size:]
        if piece:
            end = 0 if self._answer else _END_OF_MESSAGE
            header = struct.pack("<BBBxLBxxx", _REQUEST_IN, tag, ~tag & 0xFF, len(piece), end)
            self._going_out = header + piece + bytes(-len(piece) % 4)

    def read(self, size: int, timeout: Any = None) -> array[int]:
        """Packets of a bulk-IN transfer up to a short one, as many as are asked for."""
        if not self._going_out:
            raise usb.core.USBError("Operation timed out", errno=errno.ETIMEDOUT)
        data, self._going_out = self._going_out[:size], self._going_out[size:]
        return array("B", data)
