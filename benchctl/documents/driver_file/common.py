"""What every driver file may say, whatever its role."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field, WithJsonSchema

from benchctl import translators
from benchctl.documents.driver_file.language.commands import Command, Offer, offering, read_templates
from benchctl.documents.driver_file.language.query import Query
from benchctl.documents.driver_file.language.questions import asking
from benchctl.documents.driver_file.language.templates import Template
from benchctl.documents.driver_file.language.values import WHOLE, Kind
from benchctl.documents.model.fields import (
    DriverName,
    Line,
    NotNegativeSeconds,
    Seconds,
    Whole,
    YesNo,
    bounded,
    counted,
    worded,
)
from benchctl.documents.model.model_base import Document, Part, PathProblem, PathProblems
from benchctl.documents.text.words import describe
from benchctl.errors import quote
from benchctl.scpi.answer_form import AnswerForm, is_same_answer
from benchctl.scpi.errors import FormatError

Plain = Annotated[Command, *offering()]
Optional = Annotated[Command, *offering(may_lack=True)]
Question = Annotated[Query, *asking()]
OptionalQuestion = Annotated[Query, *asking(may_lack=True)]
# A generator or a supply with a single output has no output to choose.
OUTPUT: dict[str, Kind] = {"output": WHOLE}

ROLE: Any = Field(description="what the family of instruments is used as")
TITLE: Any = Field(description="name of the family", examples=["Scanner that wants its channel chosen first"])

# What an instrument that speaks SCPI is told and asked, unless its driver file says otherwise (IEEE 488.2 10.3, 10.12,
# 10.14, 10.18, 10.32; SCPI-99 volume 2, 21.8). A reset takes time that no standard bounds; some take 5 s.
SCPI_RESET: tuple[str, ...] = ("*RST", "*CLS")
SCPI_DONE = "*OPC?"
RESET_TIMEOUT_S = 15.0
SCPI_IDENTIFY = "*IDN?"
SCPI_ERRORS = "SYST:ERR?"
SCPI_POWER_CYCLED = "*ESR?"
POWER_ON_BIT = 7


@dataclass(frozen=True)
class Confirmation:
    """A question about the instrument's state, and the answers that are right.

    `after`: what counts is the field behind this word; of a list that answers everything at once.
    """

    question: Template
    answers: tuple[str, ...]
    after: str = ""

    def is_right(self, answer: str) -> bool:
        """Whether the answer is one of the right ones: letters in any case, a number in any form."""
        form = AnswerForm(after=self.after)
        try:
            text = form.picked(answer) if self.after else answer
            if any(is_same_answer(text, each) for each in self.answers):
                return True
            number = form.number(answer)  # with a unit behind it
        except FormatError:
            return False
        return any(is_same_answer(f"{number:.12g}", each) for each in self.answers)

    def __str__(self) -> str:
        """What is right, as in: OFST 0."""
        return f"{self.after} {' or '.join(self.answers)}".strip()


def confirming(optional: Mapping[str, Kind] | None = None) -> tuple[BeforeValidator, WithJsonSchema]:
    """The type of `confirm`: question -> the answer, or list of answers, that is right; or word -> the same, of the
    fields behind these words."""
    offered = Offer(optional=optional or {})
    answer = {"type": ["string", "number"]}
    answers = [answer, {"type": "array", "items": answer, "minItems": 1}]
    behind_words = {"type": "object", "additionalProperties": {"anyOf": answers}, "minProperties": 1}
    schema = {"type": "object", "additionalProperties": {"anyOf": [*answers, behind_words]}}
    return BeforeValidator(lambda value: _read_confirmations(value, offered)), WithJsonSchema(schema)


def _read_confirmations(value: Any, offered: Offer) -> tuple[Confirmation, ...]:
    if isinstance(value, tuple):
        return value
    if not isinstance(value, Mapping):
        raise ValueError(f"{describe(value)} is written where questions with their answers belong")
    confirmations: list[Confirmation] = []
    problems: list[PathProblem] = []
    for question, answers in value.items():
        try:
            confirmations += _confirmations(question, answers, offered)
        except ValueError as error:
            problems.append(PathProblem((question,), str(error), is_key=True))
    if problems:
        raise PathProblems(problems)
    return tuple(confirmations)


def _confirmations(question: Any, answers: Any, offered: Offer) -> list[Confirmation]:
    (template,) = read_templates(question, offered)
    if not template.is_query:
        raise ValueError("this is no question; it has no '?'")
    if not isinstance(answers, Mapping):
        return [Confirmation(template, _right_answers(answers))]
    return [Confirmation(template, _right_answers(right), after=str(word)) for word, right in answers.items()]


def _right_answers(answers: Any) -> tuple[str, ...]:
    texts = tuple(answers) if isinstance(answers, list | tuple) else (answers,)
    if not texts or not all(isinstance(text, str) for text in texts):
        raise ValueError("the right answer is a text, or a list of texts")
    return tuple(str.__str__(text) for text in texts)


class Match(Part):
    """How an instrument that answers is known to be of this family."""

    identity: tuple[Line, ...] = Field(
        default=(),
        description="texts that *IDN? may answer; `*` stands for any letters",
        examples=[["*,Scanner 8,*"]],
    )
    answers: dict[Line, Line] = Field(
        default_factory=dict,
        description="harmless questions with the answers that only this family gives; `*` stands for any letters",
        examples=[{"SYST:CTYP? 1": "*SCAN*"}],
    )


class Pace(Part):
    """How fast the instrument can be asked."""

    ask_every_s: NotNegativeSeconds | None = Field(
        default=None, description="shortest time between two questions; as measured, if left out"
    )
    new_reading_every_s: NotNegativeSeconds = Field(
        default=0.0, description="how often the instrument has a new reading, such as the time of a scan"
    )


class Answers(Part):
    """How the answers to all questions of the file are taken; a question may say otherwise."""

    header: YesNo = Field(default=False, description="whether each answer begins with a word that does not count")
    separator: Literal[",", ";", " ", "/", "|"] | None = Field(
        default=None, description="what stands between two fields; a comma or a semicolon, if left out"
    )
    no_reading: tuple[Line, ...] | Line = Field(
        default=(), description="answers that stand for no reading, besides the usual ones", examples=["-9999"]
    )


End = Literal["LF", "CR", "CRLF", "none"]


class Ends(Part):
    """The end of a message, each way."""

    send: End = Field(default="LF", description="what a message to the instrument ends with")
    receive: End = Field(default="LF", description="what an answer ends with; `none`: nothing more follows for `pause`")


class Acknowledged(Part):
    """What the instrument answers besides what it is asked."""

    commands: Line | None = Field(default=None, description="answer to each command", examples=["OK"])
    questions: Line | None = Field(
        default=None, description="what follows the answer to each question", examples=["OK"]
    )


def _is_installed(name: str) -> str:
    if name not in translators.names():
        raise ValueError(translators.missing(name))
    return name


TranslatorName = Annotated[
    str,
    worded(r"[A-Za-z0-9][A-Za-z0-9_.-]*", "the name of a translator", longest=60),
    AfterValidator(_is_installed),
    WithJsonSchema({"type": "string", "examples": ["checked_frames"]}),
]


class LinkWords(Part):
    """How the link to the instrument behaves."""

    ends: End | Ends = Field(default="LF", description="what ends a message, or `{send: CR, receive: LF}`")
    timeout_s: Annotated[Seconds, bounded("s", above=0, at_most=600)] = Field(
        default=2.0, description="how long an answer may take"
    )
    pause_s: Annotated[NotNegativeSeconds, bounded("s", at_most=10)] = Field(
        default=0.0, description="quiet between two messages"
    )
    clients: Literal["several", "one"] = Field(default="several", description="how many links it takes at a time")
    reopen_after_s: Annotated[NotNegativeSeconds, bounded("s", at_most=60)] = Field(
        default=0.0, description="how long after the end of a link it takes the next one"
    )
    keep_alive_s: NotNegativeSeconds | None = Field(
        default=None, description="a harmless question is asked after so long without a message"
    )
    acknowledge: Line | Acknowledged | None = Field(
        default=None, description="answer to each command; any other is an error", examples=["OK"]
    )
    echo: YesNo = Field(default=False, description="whether the instrument sends back what it receives")
    baud: Annotated[Whole, counted(at_least=50, at_most=4_000_000, example=9600)] = Field(
        default=9600, description="serial: bits a second"
    )
    bits: Annotated[Whole, counted(at_least=5, at_most=8, example=8)] = Field(
        default=8, description="serial: data bits"
    )
    parity: Literal["none", "even", "odd"] = Field(default="none", description="serial: parity")
    stop_bits: Annotated[Whole, counted(at_least=1, at_most=2, example=1)] = Field(
        default=1, description="serial: stop bits"
    )
    handshake: Literal["none", "hardware", "software"] = Field(default="none", description="serial: flow control")
    translator: TranslatorName | None = Field(
        default=None,
        description="what turns each line into the instrument's own frames: a Python class of an installed package",
    )


class CommonCommands(Part):
    """Commands that an instrument in any role may have."""

    reset: Optional = Field(
        default=Command(),
        description="brings every setting to a known state, before anything is energised; "
        "`*RST`, `*CLS`, and the answer to `*OPC?`, if left out",
        examples=[{"send": "*RST", "settle": "5 s"}],
    )
    prepare: Optional = Field(
        default=Command(), description="sent after reset, before anything else", examples=["*CLS"]
    )
    identify: OptionalQuestion = Field(
        default=Query(), description="answers what the instrument is; `*IDN?`, if left out", examples=["*IDN?"]
    )
    errors: OptionalQuestion = Field(
        default=Query(),
        description="answers the next error of the instrument's queue, or a yes or no; `SYST:ERR?`, if left out",
        examples=["SYST:ERR?"],
    )
    power_cycled: OptionalQuestion = Field(
        default=Query(),
        description="answers whether it was switched off and on since it was asked last; bit 7 of `*ESR?`, if left out",
        examples=[{"ask": "*ESR?", "bits": 7}],
    )
    local: Optional = Field(
        default=Command(), description="gives the panel back to a person, sent on leaving", examples=["SYST:LOC"]
    )


class DriverFile(Document):
    """The keys that the driver file of every role has."""

    title: Line = TITLE
    based_on: DriverName | None = Field(
        default=None,
        description="another driver file, shipped or beside this one; this file then says only what differs",
        examples=["supply/scpi99"],
    )
    match: Match | None = Field(default=None, description="how an instrument of this family is recognised")
    scpi: YesNo = Field(
        default=True,
        description="no: the instrument knows none of `*IDN?`, `*RST`, `*ESR?`, `SYST:ERR?` unless a command says so",
    )
    pace: Pace = Field(default_factory=Pace, description="how fast the instrument can be asked")
    answers: Answers = Field(
        default_factory=Answers, description="how the answers to all questions of the file are taken"
    )
    link: LinkWords = Field(
        default_factory=LinkWords,
        description="how the link to the instrument behaves; the bench file may say otherwise",
    )

    @property
    def common(self) -> CommonCommands:
        """The commands that any role may have."""
        commands = getattr(self, "commands")  # noqa: B009 - each role's class has its own
        assert isinstance(commands, CommonCommands)
        return commands

    @property
    def reset(self) -> Command:
        """What brings every setting to a known state; empty where nothing does."""
        if "reset" in self.common.model_fields_set:
            return self.common.reset
        return _SCPI_RESET if self.scpi else Command()

    @property
    def reset_done(self) -> Query:
        """What is answered once the reset is over; empty where the driver file gives a reset of its own."""
        if "reset" in self.common.model_fields_set or not self.scpi:
            return Query()
        return Query((Template(SCPI_DONE, {}),), waits=True, timeout_s=RESET_TIMEOUT_S)

    @property
    def identify(self) -> Query:
        """What asks who the instrument is; empty where it cannot say."""
        return self._asked("identify", SCPI_IDENTIFY, AnswerForm())

    @property
    def errors(self) -> Query:
        """What asks for the instrument's errors; empty where it keeps none."""
        return self._asked("errors", SCPI_ERRORS, AnswerForm())

    @property
    def power_cycled(self) -> Query:
        """What asks whether the instrument was switched off and on; empty where it cannot say."""
        return self._asked("power_cycled", SCPI_POWER_CYCLED, AnswerForm(bits=(POWER_ON_BIT,)))

    def _asked(self, name: str, usual: str, form: AnswerForm) -> Query:
        if name in self.common.model_fields_set:
            given = getattr(self.common, name)
            assert isinstance(given, Query)
            return given
        return Query((Template(usual, {}),), form=form) if self.scpi else Query()


_SCPI_RESET = Command(tuple(Template(text, {}) for text in SCPI_RESET))


def switching_problems(document: DriverFile, *switches_on: str) -> Iterator[PathProblem]:
    """Reset and prepare come before anything is energised, so they must hold no line that switches something on."""
    commands = document.common
    lines = {text for name in switches_on for text in _texts_of(getattr(commands, name))}
    for name in ("reset", "prepare"):
        for text in _texts_of(getattr(commands, name)):
            if text in lines:
                yield PathProblem(("commands", name), f"{quote(text)} switches something on, and is sent before a run")


def _texts_of(command: Command) -> list[str]:
    return [template.text for template in command.templates]
