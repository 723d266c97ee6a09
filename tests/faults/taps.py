"""Taps on the links of a bench: what went over each wire in which order, and faults put on it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from benchctl.errors import ConnectionLost, NotConnected
from benchctl.instruments.link import Interrupt, Link, open_link

Answer = Callable[[], bytes]


@dataclass
class Taps:
    """One for a bench; `opener` goes to `open_bench`. `sent` is every message in the order of all wires together."""

    role_at: Mapping[str, str] = field(default_factory=dict)  # address -> role
    sent: list[tuple[str, str]] = field(default_factory=list)
    on_send: list[Callable[[str, str], None]] = field(default_factory=list)
    forged: dict[tuple[str, str], Answer] = field(default_factory=dict)
    dead: set[str] = field(default_factory=set)

    def opener(self, address: str) -> Link:
        """The link at an address, with a tap on it."""
        role = self.role_at[address]
        if role in self.dead:
            raise NotConnected(f"nothing answers at {address}")
        return _TappedLink(self, role, open_link(address))

    def kill(self, role: str) -> None:
        """From now on the instrument is gone, as if its plug were pulled and its link reset."""
        self.dead.add(role)

    def forge(self, role: str, question: str, answer: str | Answer) -> None:
        """From now on messages that contain `question` get this answer, and do not reach the instrument."""
        self.forged[role, question] = answer if callable(answer) else lambda: answer.encode() + b"\n"

    def to(self, role: str) -> list[str]:
        """What was sent to one instrument."""
        return [text for to, text in self.sent if to == role]

    def commands(self) -> list[tuple[str, str]]:
        """What was sent and changes something: everything but questions."""
        return [(role, text) for role, text in self.sent if "?" not in text]


class _TappedLink:
    """A link that tells its tap what is sent, and takes forged answers before real ones."""

    def __init__(self, taps: Taps, role: str, link: Link) -> None:
        self._taps = taps
        self._role = role
        self._link = link
        self._queued = b""

    def send(self, data: bytes) -> None:
        self._must_live()
        text = data.decode("ascii").strip()
        self._taps.sent.append((self._role, text))
        for listener in list(self._taps.on_send):
            listener(self._role, text)
        forged = [answer for (role, part), answer in self._taps.forged.items() if role == self._role and part in text]
        if forged:
            self._queued += forged[-1]()
        else:
            self._link.send(data)

    def receive(self, deadline: float, interrupt: Interrupt) -> bytes:
        self._must_live()
        if self._queued:
            answer, self._queued = self._queued, b""
            return answer
        return self._link.receive(deadline, interrupt)

    def drain(self) -> None:
        self._must_live()
        self._queued = b""
        self._link.drain()

    def has_waiting(self) -> bool:
        return bool(self._queued) or self._link.has_waiting()

    def close(self) -> None:
        self._link.close()

    def _must_live(self) -> None:
        if self._role in self._taps.dead:
            raise ConnectionLost("the instrument closed the connection")
