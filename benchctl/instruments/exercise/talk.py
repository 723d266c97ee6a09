"""Saying the words of a driver file one by one, so that each error is that of one word."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar

from benchctl.documents.driver_file.common import Confirmation
from benchctl.documents.driver_file.driver import Driver
from benchctl.documents.driver_file.language.commands import Command
from benchctl.documents.driver_file.language.query import Query
from benchctl.documents.driver_file.language.questions import Queries
from benchctl.documents.driver_file.language.templates import Message, Template, Value
from benchctl.errors import (
    ConnectionLost,
    GarbledAnswer,
    InstrumentError,
    MeasurementError,
    NoAnswer,
    NotAcknowledged,
    NotConnected,
    quote,
)
from benchctl.instruments.exercise.findings import Findings, Verdict
from benchctl.instruments.exercise.overheard import Overheard
from benchctl.instruments.session import Session
from benchctl.scpi.answer_form import AnswerForm
from benchctl.scpi.errors import FormatError, is_command_error, parse_error

_T = TypeVar("_T")
ERRORS = "errors"
CONFIRM, LINK, ANSWERS = "confirm", "link", "answers"
# Further keys of a driver file, and names of a scale, that a finding may point to.
KEYS = (LINK, ANSWERS, "samples", "memory", "first_relay", CONFIRM)
SCALE_NAMES = ("volts_per_code", "zero_code", "reference_code", "volts_at_zero", "interval", "start")
# An instrument may take a setting and find only later that it does not go with the others.
_SUSPECTS = {"single": ("set_record",), "burst_start": ("burst_on",), "connect": ("set_resistance",)}
# A queue that holds more makes errors as fast as they are read.
_QUEUE_READS = 50


@dataclass
class Talk:
    """One instrument, the words of its driver, and what is found of them.

    Attributes:
        session: the way to the instrument.
        driver: its driver file.
        overheard: keeps the bytes that come back over the session's links.
        findings: gets everything that is said.
        sleep: waits on the clock of the bench.
        answers: the last answer to each word, and to each value of several that one word asks for.
    """

    session: Session
    driver: Driver
    overheard: Overheard
    findings: Findings
    sleep: Callable[[float], object]
    answers: dict[str, str] = field(default_factory=dict)

    def has(self, word: str) -> bool:
        """Whether the driver file has this word."""
        return bool(self.words(word))

    def words(self, word: str) -> Any:
        """What the driver file writes for it; some have a usual form where it writes nothing."""
        usual = getattr(self.driver, word, None)
        return usual if isinstance(usual, Command) else getattr(self.driver.commands, word, None)

    def note(self, word: str, verdict: Verdict, text: str = "", **more: Any) -> None:
        """See `Findings.note`."""
        self.findings.note(word, verdict, text, **more)

    # -- saying ------------------------------------------------------------------------------------------------

    def say(self, word: str, **values: Value) -> bool:
        """Send a command message by message; whether the instrument took each without an error."""
        words: Command = self.words(word)
        return all(self._send(word, template, message) for template, message in _pairs(words, values))

    def _send(self, word: str, template: Template, message: Message) -> bool:
        try:
            self._overhear(word, lambda: self.session.command(message.text))
        except (NoAnswer, NotAcknowledged, GarbledAnswer) as error:  # where `link` says that commands are answered
            text = f"{quote(message.text)}: {_without_place(error)}"
            self.note(word, Verdict.WRONG, text, line=_line(template), suspects=[LINK])
            return False
        if message.settle_s:
            self.sleep(message.settle_s)
        return self._is_without_errors(word, template)

    def _overhear(self, word: str, say: Callable[[], _T]) -> _T:
        """Say something; what passes over the link belongs to this word."""
        self.overheard.take()
        try:
            return say()
        finally:
            self.findings.heard(word, self.overheard.take())

    def ask(self, word: str, **values: Value) -> str | None:
        """Ask a question; its answer as text, or None where none came, which is then noted."""
        return self._ask(word, self.words(word), values)

    def _ask(self, word: str, query: Query, values: dict[str, Value]) -> str | None:
        pairs = _pairs(query, values)
        if not pairs or not all(self._send(word, *each) for each in pairs[:-1]):
            return None
        template, message = pairs[-1]
        answer = self._answer(word, template, message.text)
        self.answers[word] = answer or ""
        return answer if answer is not None and self._is_without_errors(word, template) else None

    def _answer(self, word: str, template: Template, question: str) -> str | None:
        try:
            return self._overhear(word, lambda: self.session.ask(question))
        except NoAnswer:
            text = _with_report(f"no answer to {quote(question)}", self.errors())
            self.note(word, Verdict.UNSUPPORTED, text, line=_line(template))
        except GarbledAnswer as error:
            self.note(word, Verdict.WRONG, _without_place(error), line=_line(template))
        return None

    def attempt(self, word: str, work: Callable[[], _T], suspects: Sequence[str] = ()) -> _T | None:
        """Let the role do what it does in a run; None where that fails, which is then noted of this word."""
        try:
            done = self._overhear(word, work)
        except (NotConnected, ConnectionLost):
            raise
        except NoAnswer as error:
            sent = self.findings.by_word[word].said[-1].sent.decode("ascii", "backslashreplace").strip()
            text = _with_report(f"no answer to {quote(sent)}", self.errors())
            self.note(word, Verdict.UNSUPPORTED, text, advice=error.advice, suspects=suspects)
        except InstrumentError as error:
            text = _with_report(_without_place(error), self.errors())
            self.note(word, Verdict.WRONG, text, advice=error.advice, suspects=suspects)
        except MeasurementError as error:
            self.note(word, Verdict.WRONG, error.message, advice=error.advice, suspects=suspects)
        else:
            return done if self._is_without_errors(word, None) else None
        return None

    def confirm(self, confirmation: Confirmation, **values: Value) -> None:
        """Ask a question of `confirm`, which tells whether `prepare` has had its effect."""
        template = confirmation.question
        answer = self._ask(CONFIRM, Query((template,)), values)
        if answer is None:
            return
        if confirmation.is_right(answer):
            self.note(CONFIRM, Verdict.WORKS)
            return
        right = " or ".join(confirmation.answers)
        text = f"answers {quote(answer)} to {quote(template.text)}, where the file wants {right}"
        self.note(CONFIRM, Verdict.WRONG, text, line=_line(template), suspects=["prepare"])

    def number(self, word: str, **values: Value) -> float | None:
        """Ask for a number, taken as the driver file says; None where there is none, which is then noted."""
        return self._number(word, self.words(word), values)

    def number_in(self, word: str, form: AnswerForm, **values: Value) -> float | None:
        """Ask for a number that is taken out of the answer in this form."""
        return self._number(word, replace(self.words(word), form=form, field_of=""), values)

    def _number(self, word: str, query: Query, values: dict[str, Value]) -> float | None:
        if query.constant is not None:
            return query.constant
        answer = self._ask(word, query, values)
        if answer is None:
            return None
        try:
            return query.form_for(**values).number(answer)
        except FormatError as error:
            self.note(word, Verdict.WRONG, str(error), line=_line_of(query), suspects=[ANSWERS])
            return None

    def numbers(self, word: str, **values: Value) -> dict[str, float] | None:
        """Ask for several numbers at once; None where one of them is not to be had, which is then noted."""
        queries: Queries = self.words(word)
        found: dict[str, float] = dict(queries.constants)
        for name, query in queries.queries.items():
            if query.constant is None and query:
                number = self._number(word, query, values)
                if number is None:
                    return None
                found[name] = number
                self.answers[name] = self.answers[word]
        return found

    # -- errors ------------------------------------------------------------------------------------------------

    def _is_without_errors(self, word: str, template: Template | None) -> bool:
        errors = self.errors()
        if not errors:
            return True
        code = errors[0].partition(",")[0]
        is_unknown = code.lstrip("-").isdigit() and is_command_error(int(code))
        verdict = Verdict.UNSUPPORTED if is_unknown else Verdict.ERROR
        said = f"{quote(template.text)}: " if template is not None else ""
        suspects = _SUSPECTS.get(word, ()) if verdict is Verdict.ERROR else ()
        line = _line(template) if template else None
        self.note(word, verdict, f"{said}it reports {errors[0]}", line=line, suspects=suspects)
        return False

    def errors(self) -> list[str]:
        """What stands in the error queue, which is empty then; nothing of an instrument that keeps none."""
        query = self.driver.errors
        if not query or self.findings.has_failed(ERRORS):
            return []
        question = query.render()[-1]
        errors: list[str] = []
        for _ in range(_QUEUE_READS):
            try:
                found = self.session.ask_for(question, lambda answer: _error_in(answer, query))
            except (NoAnswer, GarbledAnswer) as error:
                self.note(ERRORS, Verdict.UNSUPPORTED, _without_place(error), line=_line_of(query))
                break
            if not found:
                break
            errors.append(found)
        return errors


def _error_in(answer: str, query: Query) -> str:
    """The error in an answer to the question for errors, in words; '' where there is none.

    Raises:
        ValueError: it is no answer to such a question.
    """
    try:
        code, text = parse_error(answer)
    except FormatError:
        return "an error" if query.form.truth(answer) else ""
    return "" if code == 0 else f'{code}, "{text}"'


def _without_place(error: InstrumentError) -> str:
    """The message without the instrument's name and address, which stand above all findings."""
    return error.message.removeprefix(f"{error.instrument} at {error.address}: ")


def _with_report(text: str, reported: Sequence[str]) -> str:
    return f"{text}; it reports {reported[0]}" if reported else text


def _pairs(words: Command, values: dict[str, Value]) -> list[tuple[Template, Message]]:
    return list(zip(words.templates, words.messages(**values), strict=True))


def _line(template: Template) -> int | None:
    return None if template.position is None else template.position.line


def _line_of(words: Command) -> int | None:
    return _line(words.templates[-1]) if words.templates else None


def lines_of(driver: Driver) -> dict[str, int | None]:
    """The line of each word in its driver file, None for one that the file leaves out; and those of the further keys
    and names that may be at fault, where the file has them."""
    commands = driver.commands
    words = {word: _line_of_any(getattr(commands, word)) for word in type(commands).model_fields}
    lines = driver.source.text.splitlines()
    keys = {key: _line_with(lines, re.compile(rf"{key}:")) for key in KEYS}
    names = {name: _line_with(lines, re.compile(rf".*\b{name}:")) for name in SCALE_NAMES}
    found = {name: line for name, line in (keys | names).items() if line is not None}
    return {LINK: None, **found, **words}


def _line_with(lines: Sequence[str], pattern: re.Pattern[str]) -> int | None:
    return next((number for number, line in enumerate(lines, start=1) if pattern.match(line)), None)


def _line_of_any(words: Command | Queries | None) -> int | None:
    if isinstance(words, Queries):
        return next((line for query in words.queries.values() if (line := _line_of(query)) is not None), None)
    return _line(words.templates[0]) if words is not None and words.templates else None
