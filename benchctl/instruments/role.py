"""What the five roles share: a session, and commands from a driver file."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import TypeVar

from benchctl.documents.driver_file.templates import Command, Query, Value
from benchctl.errors import SettingChanged, SettingRefused
from benchctl.instruments.safe_part import SafePart
from benchctl.instruments.session import Session
from benchctl.instruments.settings import Setting, Settings
from benchctl.scpi.numbers import parse_boolean

_T = TypeVar("_T")

WHO_CHANGED_IT = (
    "This run did not change it. Look for a second program, a hand at its panel, or a protection of its own that acted."
)


class Role(ABC):
    """One instrument in one role. Roles do no wiring, no retry and no sleep; they send commands and read answers."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self.settings = Settings()

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

    def read_back(self, what: str) -> None:
        """Check that a setting is still as it was confirmed.

        Raises:
            SettingChanged: it has changed.
            InstrumentError: the instrument does not answer.
        """
        with self.session.undisturbed():
            setting = self.settings.get(what)
            if setting is not None and (found := self._found_otherwise(setting)):
                raise SettingChanged(
                    f"{what} {setting.was} and {found} now",
                    instrument=self.session.name,
                    address=self.session.address,
                    advice=WHO_CHANGED_IT,
                )

    # Where the words are several messages, the first may choose an output for the others: guard and runner share the
    # instrument, and neither may choose for the other.

    def _say(self, words: Command, **values: Value) -> None:
        with self.session.undisturbed():
            for message in words.render(**values):
                self.session.command(message)

    def _ask_for(self, words: Query, parse: Callable[[str], _T], **values: Value) -> _T:
        """Ask, and return the answer as parsed by `parse`, which raises a ValueError for an unsuitable answer."""
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
        """Send the messages before the question, and return the question, which is the last."""
        *before, question = words.render(**values)
        with self.session.undisturbed():
            for message in before:
                self.session.command(message)
            yield question

    def _safe_part(self, what: str, commands: Sequence[str], question: Sequence[str], switches: int = 1) -> SafePart:
        return SafePart(self.session.name, self.session.address, what, tuple(commands), tuple(question), switches)

    @contextmanager
    def _changing(self, *names: str) -> Iterator[None]:
        """While settings change, no other thread reads them; they are unknown until they are confirmed."""
        with self.session.undisturbed():
            self.settings.forget(*names)
            yield

    def _number(  # noqa: PLR0917 - what is set, to what, and how it is asked for
        self, what: str, wanted: float, unit: str, tolerance: float, words: Query, values: Mapping[str, Value]
    ) -> Setting:
        """A number that was set; the instrument's own value may differ by `tolerance`."""

        def look() -> str:
            got = self._ask_number(words, **values)
            return "" if abs(got - wanted) <= tolerance else f"reads back as {got:g} {unit}"

        return Setting(what, f"was set to {wanted:g} {unit}", look)

    def _switch(self, what: str, words: Query, *, on: bool, **values: Value) -> Setting:
        """Something that was switched on or off."""

        def look() -> str:
            is_on = self._ask_for(words, parse_boolean, **values)
            return "" if is_on == on else f"says that it is {_on_or_off(is_on)}"

        return Setting(what, f"was switched {_on_or_off(on)}", look)

    def _confirm(self, setting: Setting) -> None:
        """Compare a setting with the instrument's answer, and keep it.

        Raises:
            SettingRefused: it does not agree.
        """
        if found := self._found_otherwise(setting):
            raise SettingRefused(
                f"{setting.what} {setting.was} and {found}",
                instrument=self.session.name,
                address=self.session.address,
            )
        self.settings.keep(setting)

    def _found_otherwise(self, setting: Setting) -> str:
        """The instrument's value of a setting, in words, if it is not as it was set.

        An answer that was cut short is also a number, so after a difference the question is asked once more, over a
        verified link. That also finds out whether the instrument was switched off and on.
        """
        if found := setting.look():
            self.session.distrust(setting.what, f"{setting.was} and {found}")
            found = setting.look()
        return found


def _on_or_off(is_on: bool) -> str:
    return "on" if is_on else "off"
