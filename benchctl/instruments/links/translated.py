"""A link through a translator: lines on this side, the instrument's own frames on the other."""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchctl import translators
from benchctl.errors import GarbledAnswer, InstrumentError, NotConnected

if TYPE_CHECKING:
    from benchctl.instruments.links.link import Interrupt, Link

# Bytes of an answer that is not whole yet.
LONGEST_ANSWER = 1 << 20


def translated_link(link: Link, name: str) -> Link:
    """The link, with each message through the translator of this name.

    Raises:
        NotConnected: there is no such translator, or the link marks the ends of messages itself.
    """
    if link.marks_ends:
        link.close()
        raise NotConnected("a translator works on raw sockets and serial ports only")
    try:
        return TranslatedLink(link, name, translators.load(name)())
    except translators.TranslatorError as error:
        link.close()
        raise NotConnected(str(error)) from error


class TranslatedLink:
    """A link that gives whole lines."""

    marks_ends = True

    def __init__(self, link: Link, name: str, translator: translators.Translator) -> None:
        self._link = link
        self._name = name
        self._translator = translator
        self._received = b""

    def send(self, data: bytes) -> None:
        """Send one line, translated.

        Raises:
            InstrumentError: the translator does not know it.
        """
        line = data.decode("latin-1").rstrip("\r\n")
        try:
            frame = bytes(self._translator.encode(line))
        except Exception as error:  # whatever another package's code does
            raise InstrumentError(f"the translator '{self._name}' does not send {line!r}: {error}") from error
        self._link.send(frame)

    def receive(self, deadline: float, interrupt: Interrupt) -> bytes:
        """The next answer, with a line feed at its end.

        Raises:
            GarbledAnswer: what came is no answer.
            LinkError: none comes in time, or the link fails.
        """
        while (line := self._next_line()) is None:
            if len(self._received) > LONGEST_ANSWER:
                raise GarbledAnswer("sends an answer without an end")
            self._received += self._link.receive(deadline, interrupt)
        return line.encode("latin-1", "replace") + b"\n"

    def _next_line(self) -> str | None:
        if not self._received:
            return None
        received, self._received = self._received, b""
        try:
            line, self._received = self._translator.decode(received)
        except Exception as error:  # whatever another package's code does
            what = f"answers {received[:40]!r}, which the translator '{self._name}' refuses"
            raise GarbledAnswer(f"{what}: {error}") from error
        return line

    def drain(self) -> None:
        """Throw away what has arrived."""
        self._received = b""
        self._link.drain()

    def has_waiting(self) -> bool:
        """Whether unread bytes have arrived."""
        return bool(self._received) or self._link.has_waiting()

    def close(self) -> None:
        """Close for good."""
        self._link.close()
