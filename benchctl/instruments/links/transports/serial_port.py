"""A serial port (`ASRL/dev/ttyUSB0::INSTR`, `ASRL3::INSTR`) through pyvisa-py and pyserial.

Bytes are read from the port itself, as from a socket: reading through VISA takes them one by one, ends at its own
terminator, and cannot be interrupted.
"""

from __future__ import annotations

import time
from contextlib import suppress
from typing import Any

from pyvisa import constants

from benchctl.errors import ConnectionLost, NoAnswer, NotConnected
from benchctl.instruments.links.link import Interrupt
from benchctl.instruments.links.settings import LinkSettings
from benchctl.instruments.links.transports.sockets import CHUNK_BYTES, DRAIN_S, LOOK_UP_S, QUIET_S, ROOM_S
from benchctl.instruments.links.transports.visa import opened, translated

_PARITY = {"none": constants.Parity.none, "even": constants.Parity.even, "odd": constants.Parity.odd}
_STOP_BITS = {1: constants.StopBits.one, 2: constants.StopBits.two}
_NO_PYSERIAL = "No module named 'serial'"


class SerialLink:
    """One serial port, set as the driver file says."""

    marks_ends = False

    def __init__(self, address: str, settings: LinkSettings) -> None:
        try:
            self._resource = opened(address, "the serial port cannot be opened")
        except NotConnected as error:
            raise NotConnected(error.message, advice=_advice(error.message)) from error
        self._port: Any = self._resource.visalib.sessions[self._resource.session].interface
        try:
            self._set(settings)
        except Exception as error:  # the system's own, which differ from one system to the next
            self._resource.close()
            raise NotConnected(
                f"the serial port cannot be set to {_in_words(settings)} ({error})",
                advice="Correct 'link' in the driver file or the bench file.",
            ) from error

    def _set(self, settings: LinkSettings) -> None:
        self._resource.baud_rate = settings.baud
        self._resource.data_bits = settings.bits
        self._resource.parity = _PARITY[settings.parity]
        self._resource.stop_bits = _STOP_BITS[settings.stop_bits]
        self._port.rtscts = settings.handshake == "hardware"
        self._port.xonxoff = settings.handshake == "software"
        self._port.write_timeout = ROOM_S
        self._port.timeout = LOOK_UP_S
        self._port.reset_input_buffer()

    def send(self, data: bytes) -> None:
        with translated("sending"):
            self._port.write(data)

    def receive(self, deadline: float, interrupt: Interrupt) -> bytes:
        with translated("reading"):
            while not (data := self._read(deadline - time.monotonic())):
                if time.monotonic() >= deadline:
                    raise NoAnswer("no answer in time")
                interrupt()
            return data

    def drain(self) -> None:
        with translated("clearing"):
            end = time.monotonic() + DRAIN_S
            while self._read(QUIET_S):
                if time.monotonic() >= end:
                    raise ConnectionLost("the instrument does not stop talking")

    def has_waiting(self) -> bool:
        with translated("looking"):
            return bool(self._port.in_waiting)

    def close(self) -> None:
        with translated("closing"):
            with suppress(OSError):  # bytes that nobody takes must not hold up the end
                self._port.reset_output_buffer()
            self._resource.close()

    def _read(self, patience_s: float) -> bytes:
        """What has arrived, or what comes within the patience, of which one look takes a twentieth of a second."""
        self._port.timeout = min(LOOK_UP_S, max(patience_s, 0.0))
        first = bytes(self._port.read(1))
        if not first:
            return b""
        return first + bytes(self._port.read(min(self._port.in_waiting, CHUNK_BYTES)))


def _in_words(settings: LinkSettings) -> str:
    stops = "1 stop bit" if settings.stop_bits == 1 else f"{settings.stop_bits} stop bits"
    return (
        f"{settings.baud} baud, {settings.bits} bits, parity {settings.parity}, {stops}, handshake {settings.handshake}"
    )


def _advice(message: str) -> str:
    if "pyserial" in message.lower() or _NO_PYSERIAL in message:
        return "Install what serial ports need: pip install 'benchctl[serial]'"
    return (
        "Check the cable and the name of the port, and that no other program has it open. On Linux your user must be "
        "allowed to open it, often by being in the group 'dialout'."
    )
