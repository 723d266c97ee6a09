"""The instrument's side of links that carry words of its own instead of SCPI: exact text in, text out.

There is no error queue, no status and nothing compound: one message is one of the words that the instrument knows, or
it is unknown and is ignored, or answered with one text for every mistake, as the form has it.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from benchctl.scpi.device.device import Identity

Answer = str | bytes | None
Act = Callable[..., Answer]


class Refused(Exception):
    """Raised by what acts on a word, for a value that the instrument does not take."""


class TextWords:
    """What an instrument knows to say: patterns of whole messages, and what each does.

    The pattern is a regular expression. What its groups hold is given to `act`, which returns the answer without its
    end, or None where there is none.
    """

    def __init__(self) -> None:
        self._words: list[tuple[re.Pattern[str], Act]] = []

    def add(self, pattern: str, act: Act) -> None:
        """Know one more word. The first that fits a message is taken."""
        self._words.append((re.compile(pattern), act))

    def act_on(self, message: str) -> Answer:
        """Do what a message says.

        Raises:
            Refused: no word fits, or a value is not taken.
        """
        for pattern, act in self._words:
            if found := pattern.fullmatch(message):
                return act(*found.groups())
        raise Refused(message)


@dataclass(frozen=True)
class TextReply:
    """A message that is done, as each is at once."""

    response: bytes | None
    is_finished: bool = True

    def resume(self) -> bool:
        """Nothing waits."""
        return True


class TextDevice:
    """One instrument with words of its own.

    Args:
        identity: who it is; whether it can be asked is up to the words.
        words: all that it knows.
        refresh: called before each message, so that an instrument whose state moves by itself catches up.
        reset: what losing its power does.
        refusal: what is answered to an unknown word or a value that is not taken; None: nothing.
    """

    def __init__(
        self,
        identity: Identity,
        words: TextWords,
        *,
        refresh: Callable[[], None] = lambda: None,
        reset: Callable[[], None] = lambda: None,
        refusal: str | None = None,
    ) -> None:
        self.identity = identity
        self._words = words
        self._refresh = refresh
        self._reset = reset
        self._refusal = refusal

    def begin(self, message: bytes) -> TextReply:
        """Act on one message; one of no characters means nothing to it."""
        self._refresh()
        if not message:
            return TextReply(None)
        try:
            answer = self._words.act_on(message.decode("latin-1"))
        except Refused:
            answer = self._refusal
        if answer is None:
            return TextReply(None)
        return TextReply((answer.encode("latin-1") if isinstance(answer, str) else answer) + b"\n")

    def restart(self) -> None:
        """Lose the power, and everything that was set."""
        self._reset()

    def report(self, code: int, info: str = "") -> None:
        """It keeps no errors."""

    def forget_completion(self) -> None:
        """It has no operations that end later."""

    def status_byte(self, *, has_message: bool | None = None) -> int:
        """Only the bit that says that an answer waits (IEEE 488.2 11.2)."""
        return 0x10 if has_message else 0
