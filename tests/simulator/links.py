"""Real connections to simulated instruments, for rules and scripts that send commands and questions."""

from __future__ import annotations

import socket
from typing import Any

import pyvisa

from benchctl.simulator.network.ports import HislipPlace

PATIENCE_S = 10.0


class RawLink:
    """A plain TCP connection; every line that comes answers the last question."""

    def __init__(self, address: tuple[str, int]) -> None:
        self._socket = socket.create_connection(address, timeout=PATIENCE_S)
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)  # else each question waits for the last ACK
        self._lines = self._socket.makefile("rb")

    def tell(self, message: str) -> None:
        """Send a message that has no response."""
        self._socket.sendall(message.encode("latin-1") + b"\n")

    def ask(self, message: str) -> str:
        """Send a message, and give its response."""
        self.tell(message)
        return self._lines.readline().decode("latin-1").removesuffix("\n")

    def close(self) -> None:
        """Hang up."""
        self._lines.close()
        self._socket.close()


class HislipLink:
    """HiSLIP as pyvisa-py speaks it."""

    def __init__(self, place: HislipPlace) -> None:
        resource: Any = pyvisa.ResourceManager("@py").open_resource(
            f"TCPIP::{place.host}::{place.name},{place.port}::INSTR", timeout=int(PATIENCE_S * 1000)
        )
        self._resource = resource

    def tell(self, message: str) -> None:
        """Send a message that has no response."""
        self._resource.write_raw(message.encode("latin-1"))

    def ask(self, message: str) -> str:
        """Send a message, and give its response."""
        self.tell(message)
        return bytes(self._resource.read_raw()).decode("latin-1").removesuffix("\n")

    def close(self) -> None:
        """Hang up."""
        self._resource.close()
