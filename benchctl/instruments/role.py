"""What the six roles share: a session, and commands from a driver file."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import TypeVar

from benchctl.documents.driver_file.common import Confirmation, DriverFile
from benchctl.documents.driver_file.language.commands import Command
from benchctl.documents.driver_file.language.query import Query
from benchctl.documents.driver_file.language.questions import Queries
from benchctl.documents.driver_file.language.steps import Way
from benchctl.documents.driver_file.language.templates import Message, Value
from benchctl.errors import SettingChanged, SettingRefused
from benchctl.instruments.safe_part import SafePart
from benchctl.instruments.session import Session
from benchctl.instruments.settings import Setting, Settings

_T = TypeVar("_T")

WHO_CHANGED_IT = (
    "This run did not change it. Look for a second program, a hand at its panel, or a protection of its own that acted."
)


# The median of three is moved by none of them alone.
PACE_QUESTIONS = 3


class Role(ABC):
    """One instrument in one role. Roles do no wiring, no retry and no sleep; they send commands and read answers."""

    def __init__(self, session: Session, driver: DriverFile) -> None:
        self.session = session
        self.driver = driver
        self.settings = Settings()

    @property
    def name(self) -> str:
        """The instrument's name in the bench file."""
        return self.session.name

    @property
    def question_s(self) -> float:
        """How long a question usually takes: as its last answers showed, and no less than the driver file says."""
        return max(self.driver.pace.ask_every_s or 0.0, self.session.pace.question_s)

    def look_at_pace(self) -> float:
        """Ask who the instrument is, to see how long answers take, and return that, s; nothing is changed."""
        messages = self.driver.identify.messages()
        for _ in range(PACE_QUESTIONS if messages else 0):
            with self._prepared(messages) as question:
                self.session.ask(question)
        return self.question_s

    def reset(self) -> float:
        """Send what brings every setting to a known state: nobody's settings are trusted.

        Returns:
            how long the instrument needs quiet before it is told anything else, s.
        """
        messages = self.driver.reset.messages()
        with self.session.undisturbed():
            for message in messages[:-1]:
                self._send(message)
            for message in messages[-1:]:
                self.session.command(message.text)
        return messages[-1].settle_s if messages else 0.0

    def await_reset(self) -> None:
        """Wait until the instrument says that its reset is over, where it says so.

        Raises:
            InstrumentError: it does not answer.
        """
        if self.driver.reset_done:
            self._ask_for(self.driver.reset_done, str)

    def prepare(self) -> None:
        """Put the instrument into the mode that its role needs, and check what its driver file says of its state; its
        output stays as it is.

        Raises:
            SettingRefused: a question of `confirm` is answered otherwise than it must be.
        """
        self._set_mode()
        self._check_states()

    @abstractmethod
    def _set_mode(self) -> None:
        """Send what `prepare` says, and whatever else the role needs."""

    def _confirmations(self) -> tuple[Confirmation, ...]:
        """What the driver file asks after `prepare`."""
        confirm: tuple[Confirmation, ...] = getattr(self.driver, "confirm", ())
        return confirm

    def _places(self) -> tuple[Mapping[str, Value], ...]:
        """The values for which what is asked of the instrument's state is asked: each output, where there are
        several."""
        return ({},)

    def _check_state(self, confirmation: Confirmation, values: Mapping[str, Value], answered: dict[str, str]) -> None:
        """A question that is answered by a list with all settings is asked once."""
        question = confirmation.question.render(**values)
        answer = answered[question] = answered.get(question) or self.session.ask(question)
        if not confirmation.is_right(answer):
            raise SettingRefused(
                f"answers {answer[:60]!r} to {question}, where its driver file wants {confirmation}",
                instrument=self.session.name,
                address=self.session.address,
                advice="Look in the driver file whether 'reset' and 'prepare' set this, and in the instrument's manual "
                "how it answers.",
            )

    def _check_states(self) -> bool:
        """Ask all that the driver file asks of the instrument's state; returns whether that is anything."""
        confirmations, answered = self._confirmations(), dict[str, str]()
        for confirmation in confirmations:
            for values in self._places():
                self._check_state(confirmation, values, answered)
        return bool(confirmations)

    def check_errors(self) -> None:
        """Empty the instrument's error queue; raise the first error that was in it.

        One that cannot say whether it was switched off and on is asked whether its state is what it was prepared to.
        """
        if not self.driver.power_cycled:
            self._check_states()
        self.session.check_errors()

    def give_back(self) -> None:
        """Say what gives the panel back to a person, if the driver file has words for it and the link stands; one that
        fails then harms nothing but convenience."""
        if self.session.is_open:
            for text in self.driver.common.local.render():
                self.session.command_quietly(text)

    def verify(self) -> bool:
        """Ask for all of the instrument's state that can be asked for; returns whether that is anything.

        Raises:
            SettingRefused, SettingChanged: something is not as it was left.
        """
        has_asked = self._check_states()
        for what in self.settings.names():
            self.read_back(what)
            has_asked = True
        return has_asked

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
        self._send_all(words.messages(**values))

    def _send_all(self, messages: Sequence[Message]) -> None:
        with self.session.undisturbed():
            for message in messages:
                self._send(message)

    def _send(self, message: Message) -> None:
        if message.holds_bytes:
            self.session.command_with_block(message.text)
        else:
            self.session.command(message.text)
        if message.settle_s:
            self.session.rest(message.settle_s)

    def _ask_for(self, words: Query, parse: Callable[[str], _T], **values: Value) -> _T:
        """Ask, and return the answer as parsed by `parse`, which raises a ValueError for an unsuitable answer."""
        return self._ask(words.messages(**values), parse, words.timeout_s)

    def _ask(self, messages: tuple[Message, ...], parse: Callable[[str], _T], timeout_s: float | None = None) -> _T:
        """The same for messages of which the last one is answered."""
        with self._prepared(messages) as question:
            return self.session.ask_for(question, parse, timeout_s)

    def _ask_truth(self, words: Query, **values: Value) -> bool:
        """Ask, and return whether the answer means yes."""
        return self._ask_for(words, words.form_for(**values).truth, **values)

    def _ask_number(self, words: Query, **values: Value) -> float:
        """Ask for a number, in its base unit."""
        if words.constant is not None:
            return words.constant
        with self._prepared(words.messages(**values)) as question:
            (value,) = self.session.ask_readings(question, [words.form_for(**values).number], words.timeout_s)
        return value

    def _ask_values(self, words: Queries, **values: Value) -> dict[str, float]:
        """Ask for several numbers, each in its base unit; what one answer holds is asked for once."""
        found = words.constants
        for asked in words.asked(**values):
            takers = [query.form_for(**values).number for query in asked.values.values()]
            timeouts = [query.timeout_s for query in asked.values.values() if query.timeout_s is not None]
            with self._prepared(asked.messages) as question:
                numbers = self.session.ask_readings(question, takers, max(timeouts, default=None))
            found |= dict(zip(asked.values, numbers, strict=True))
        return found

    @contextmanager
    def _prepared(self, messages: tuple[Message, ...]) -> Iterator[str]:
        """Send the messages before the question, and give the question, which is the last."""
        *before, question = messages
        with self.session.undisturbed():
            for message in before:
                self._send(message)
            yield question.text

    def _stepped(self, setting: str, value: float, way: Way = "nearest") -> float:
        """The value that the instrument can be set to: its driver file may name the steps of a setting."""
        steps = getattr(self.driver, "steps", {}).get(setting)
        return value if steps is None else float(steps.rounded(value, way))

    def _half_step(self, setting: str, value: float) -> float:
        """How far the instrument's own value of a setting may be from what was sent, by its steps."""
        steps = getattr(self.driver, "steps", {}).get(setting)
        return 0.0 if steps is None else float(steps.half_step(value))

    def _safe_part(self, what: str, commands: Command, question: Query, switches: int = 1, **values: Value) -> SafePart:
        return SafePart(
            self.session.name,
            self.session.address,
            what,
            commands.render(**values),
            question.render(**values),
            switches,
            form=question.form_for(**values),
            settle_s=commands.settle_s,
        )

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
            is_on = self._ask_truth(words, **values)
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
