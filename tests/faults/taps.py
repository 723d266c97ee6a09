"""Taps on the links of a bench: records what was sent over each wire in which order, and puts faults on it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from benchctl.errors import ConnectionLost, NotConnected
from benchctl.instruments.links.link import Interrupt, Link
from benchctl.instruments.links.settings import USUAL, LinkSettings
from benchctl.instruments.links.transports.every_link import open_link

Answer = Callable[[], bytes]


@dataclass
class Taps:
    """One for a bench; `opener` goes to `open_bench`. `sent` is every message in the order of all wires together."""

    role_at: Mapping[str, str] = field(default_factory=dict)  # address -> role
    sent: list[tuple[str, str]] = field(default_factory=list)
    on_send: list[Callable[[str, str], None]] = field(default_factory=list)
    forged: dict[tuple[str, str], Answer] = field(default_factory=dict)
    dead: set[str] = field(default_factory=set)

    def opener(self, address: str, settings: LinkSettings = USUAL) -> Link:
        """The link at an address, with a tap on it."""
        role = self.role_at[address]
        if role in self.dead:
            raise NotConnected(f"nothing answers at {address}")
        return _TappedLink(self, role, open_link(address, settings))

    def kill(self, role: str) -> None:
        """From now on the instrument is gone, as after a pulled plug, and its link is reset."""
        self.dead.add(role)

    def forge(self, role: str, question: str, answer: str | Answer) -> None:
        """From now on messages that contain every unit of `question` get this answer, and do not reach the instrument.

        If a message asks for more than that, the instrument answers, and only its answer to the last unit is forged.
        """
        self.forged[role, question] = answer if callable(answer) else lambda: answer.encode() + b"\n"

    def to(self, role: str) -> list[str]:
        """What was sent to one instrument."""
        return [text for to, text in self.sent if to == role]

    def commands(self) -> list[tuple[str, str]]:
        """The messages that change something: everything except questions."""
        return [(role, text) for role, text in self.sent if "?" not in text]


class _TappedLink:
    """A link that reports what is sent to its tap, and prefers forged answers to real ones."""

    def __init__(self, taps: Taps, role: str, link: Link) -> None:
        self._taps = taps
        self._role = role
        self._link = link
        self.marks_ends = link.marks_ends
        self._queued = b""
        self._forged_part: tuple[int, Answer] | None = None  # of the answer that is on its way

    def send(self, data: bytes) -> None:
        self._must_live()
        text = data.decode("latin-1").strip()
        self._taps.sent.append((self._role, text))
        for listener in list(self._taps.on_send):
            listener(self._role, text)
        forged = [
            (question, answer)
            for (role, question), answer in self._taps.forged.items()
            if role == self._role and all(unit in text for unit in question.split(";"))
        ]
        if not forged:
            self._link.send(data)
            return
        question, answer = forged[-1]
        asked = [unit for unit in text.split(";") if "?" in unit]
        if len(asked) <= max(1, question.count("?")):
            self._queued += answer()
        else:
            last = question.rpartition(";")[2]
            self._forged_part = next(number for number, unit in enumerate(asked) if last in unit), answer
            self._link.send(data)

    def receive(self, deadline: float, interrupt: Interrupt) -> bytes:
        self._must_live()
        if self._queued:
            answer, self._queued = self._queued, b""
            return answer
        received = self._link.receive(deadline, interrupt)
        if self._forged_part is None:
            return received
        (number, answer), self._forged_part = self._forged_part, None
        parts = received.rstrip(b"\n").split(b";")
        parts[number] = answer().rstrip(b"\n")
        return b";".join(parts) + b"\n"

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
