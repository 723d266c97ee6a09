"""How one instrument's link behaves, in plain values: a driver file says it, and the guardian is given it too."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

End = Literal["LF", "CR", "CRLF", "none"]
_BYTES: Mapping[str, bytes] = {"LF": b"\n", "CR": b"\r", "CRLF": b"\r\n", "none": b""}


@dataclass(frozen=True)
class Ends:
    """What ends a message each way. `receive: none`: an answer ends when nothing follows it for a pause."""

    send: End = "LF"
    receive: End = "LF"

    @property
    def sent(self) -> bytes:
        """Behind each message to the instrument."""
        return _BYTES[self.send]

    @property
    def received(self) -> bytes:
        """Behind each message from it."""
        return _BYTES[self.receive]


@dataclass(frozen=True)
class Acknowledge:
    """The line with which the instrument takes note of each command, and the one behind its answer to each question;
    empty: none."""

    commands: str = ""
    questions: str = ""


@dataclass(frozen=True)
class LinkSettings:
    """How the link to one instrument behaves.

    Attributes:
        ends: what ends messages.
        timeout_s: how long an answer may take.
        pause_s: quiet between two messages.
        clients: how many links the instrument takes at a time.
        reopen_after_s: how long after the end of a link it takes the next one.
        keep_alive_s: after so long without a message it is asked a harmless question; 0: never.
        acknowledge: what it says to commands, and behind answers.
        echo: whether it sends back what it gets.
        baud, bits, parity, stop_bits, handshake: of a serial port.
        translator: the name of what turns lines into the instrument's own frames; '': lines are sent as they are.
    """

    ends: Ends = field(default_factory=Ends)
    timeout_s: float = 2.0
    pause_s: float = 0.0
    clients: Literal["several", "one"] = "several"
    reopen_after_s: float = 0.0
    keep_alive_s: float = 0.0
    acknowledge: Acknowledge = field(default_factory=Acknowledge)
    echo: bool = False
    baud: int = 9600
    bits: int = 8
    parity: Literal["none", "even", "odd"] = "none"
    stop_bits: int = 1
    handshake: Literal["none", "hardware", "software"] = "none"
    translator: str = ""

    @classmethod
    def from_data(cls, data: Mapping[str, Any]) -> LinkSettings:
        """What `dataclasses.asdict` made of one, after its way through JSON."""
        plain = {**data, "ends": Ends(**data["ends"]), "acknowledge": Acknowledge(**data["acknowledge"])}
        return cls(**plain)


USUAL = LinkSettings()
