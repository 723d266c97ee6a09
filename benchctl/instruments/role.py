"""What the five roles share: a session, and words from a driver file."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import TypeVar

from benchctl.documents.templates import Command, Query, Value
from benchctl.errors import SettingRefused
from benchctl.instruments.safe_part import SafePart
from benchctl.instruments.session import Session

_T = TypeVar("_T")


class Role(ABC):
    """One instrument in one role. Roles hold no wire, no retry and no sleep; they say words and read answers."""

    def __init__(self, session: Session) -> None:
        self.session = session

    @property
    def name(self) -> str:
        """The instrument's name in the bench file."""
        return self.session.name

    @abstractmethod
    def prepare(self) -> None:
        """Put the instrument into the mode that its role needs; its output stays as it is."""

    def check_errors(self) -> None:
        """Empty the instrument's error queue; raise the first error that was in it."""
        self.session.check_errors()

    # Where the words are several messages, the first may choose an output for the others: guard and runner share the
    # instrument, and neither may choose for the other.

    def _say(self, words: Command, **values: Value) -> None:
        with self.session.undisturbed():
            for message in words.render(**values):
                self.session.command(message)

    def _ask_for(self, words: Query, parse: Callable[[str], _T], **values: Value) -> _T:
        """Ask, and return what `parse` makes of the answer; it raises a ValueError for what is no such answer."""
        with self._prepared(words, values) as question:
            return self.session.ask_for(question, parse)

    def _ask_number(self, words: Query, **values: Value) -> float:
        with self._prepared(words, values) as question:
            return self.session.ask_number(question)

    def _ask_numbers(self, words: Query, count: int, **values: Value) -> list[float]:
        with self._prepared(words, values) as question:
            return self.session.ask_numbers(question, count)

    @contextmanager
    def _prepared(self, words: Query, values: Mapping[str, Value]) -> Iterator[str]:
        """The question that ends the words, once what comes before it is sent."""
        *before, question = words.render(**values)
        with self.session.undisturbed():
            for message in before:
                self.session.command(message)
            yield question

    def _safe_part(self, what: str, commands: Sequence[str], question: Sequence[str], switches: int = 1) -> SafePart:
        return SafePart(self.session.name, self.session.address, what, tuple(commands), tuple(question), switches)

    def _confirm(self, what: str, wanted: float, tolerance: float, words: Query, **values: Value) -> None:
        """Hold a setting against what the instrument says it is.

        An answer that was cut short on its way is a number too, so what does not agree is asked for once more.

        Raises:
            SettingRefused: it does not agree then either.
        """
        got = self._ask_number(words, **values)
        if abs(got - wanted) > tolerance:
            self.session.distrust(what, f"was set to {wanted:g} and reads back as {got:g}")
            got = self._ask_number(words, **values)
        if abs(got - wanted) > tolerance:
            raise SettingRefused(
                f"{what} was set to {wanted:g} and reads back as {got:g}",
                instrument=self.session.name,
                address=self.session.address,
            )
