"""How long it takes to talk to the instruments of a bench: a question takes a millisecond, or a third of a second.

While the program asks, the amplifier goes on playing. So on a slow bench a run takes longer and heats the amplifier
longer.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.driver_file.oscilloscope import OscilloscopeDriver
from benchctl.documents.driver_file.supply import SupplyDriver
from benchctl.instruments.oscilloscope.timing import UNASKED_S

# Whether it is finished, and its errors; and of each signal scale, samples, and its range where that has changed.
QUESTIONS_A_RECORD = 2.0
QUESTIONS_A_SIGNAL = 2.8
# The guard takes about half of the time of an instrument that it reads.
GUARDED = 2.0
READ_BY_GUARD = frozenset({"supply", "thermometer"})


@dataclass(frozen=True)
class Pace:
    """How long each question takes, by role, s; 0 where it is not known.

    `asked_after_a_step`: how many questions each instrument is asked then, two unless its driver file has fewer:
    whether it was switched off and on, and its errors. `record_rest_s`: the time for each record in which the
    oscilloscope must not be asked whether the record is complete. `reading_questions`: how many questions one reading
    of the supply takes. `switching_questions`: how many questions read back what an output of it is set to and that it
    is on.
    """

    question_s: Mapping[str, float] = field(default_factory=dict)
    asked_after_a_step: Mapping[str, int] = field(default_factory=dict)
    record_rest_s: float = 0.0
    reading_questions: int = 1
    switching_questions: int = 5

    def ask_s(self, role: str, questions: float = 1.0) -> float:
        """The time of so many questions to the instrument in a role."""
        return questions * self.question_s.get(role, 0.0)

    def is_slower_than(self, other: Pace) -> bool:
        """Whether an instrument takes longer than in `other`."""
        return any(self.ask_s(role) > other.ask_s(role) for role in self.question_s)

    def record_s(self, signals: int) -> float:
        """The time to set up a record and to fetch it, beyond its own length."""
        questions = QUESTIONS_A_RECORD + signals * QUESTIONS_A_SIGNAL
        return self.ask_s("oscilloscope", questions) + self.record_rest_s

    def supply_s(self, settings: float, readings: float) -> float:
        """Settings of the supply that are read back, and readings of it, while the guard reads it too."""
        return GUARDED * self.ask_s("supply", settings + readings * self.reading_questions)

    @property
    def between_steps_s(self) -> float:
        """The time to ask every instrument for its errors, and whether it was switched off and on."""
        return sum(
            self.asked_after_a_step.get(role, 2) * each_s * (GUARDED if role in READ_BY_GUARD else 1.0)
            for role, each_s in self.question_s.items()
        )

    @property
    def switch_s(self) -> float:
        """The generator's output on or off, and confirmed."""
        return self.ask_s("generator")

    @property
    def set_s(self) -> float:
        """A level or a frequency of the generator set and read back."""
        return self.ask_s("generator")


def declared_pace(bench: Bench) -> Pace:
    """As the bench file and its driver files say."""
    asked = {role: bool(driver.errors) + bool(driver.power_cycled) for role, driver in bench.drivers.items()}
    question_s = {role: _question_s(bench, role) for role, _ in bench.instruments.items()}
    return Pace(question_s, asked, _record_rest_s(bench), *_of_supply(bench))


def _question_s(bench: Bench, role: str) -> float:
    driver, seen_s = bench.drivers.get(role), dict(bench.instruments.items())[role].question_takes_s
    return seen_s if driver is None else max(driver.pace.ask_every_s or 0.0, driver.link.pause_s, seen_s)


def _of_supply(bench: Bench) -> tuple[int, int]:
    """Questions of one reading, and of an output that is set up and switched on."""
    driver = bench.drivers.get("supply")
    if not isinstance(driver, SupplyDriver):
        return 1, 0
    words = driver.commands
    read_back = (words.get_overvoltage, words.get_overcurrent, words.get_voltage, words.get_current_limit)
    return len(words.measure.asked(output=1)), sum(map(bool, (*read_back, words.get_output)))


def _record_rest_s(bench: Bench) -> float:
    driver = bench.drivers.get("oscilloscope")
    if not isinstance(driver, OscilloscopeDriver):
        return 0.0
    words = driver.commands
    rest_s = sum(command.settle_s for command in (words.set_record, words.single, words.choose_source))
    is_asked = words.get_finished and not words.get_finished.waits
    return rest_s + (0.0 if is_asked else UNASKED_S)


def slower(one: Pace, other: Pace) -> Pace:
    """Of each instrument the longer time."""
    roles = {**one.question_s, **other.question_s}
    question_s = {role: max(one.ask_s(role), other.ask_s(role)) for role in roles}
    return replace(one, question_s=question_s, record_rest_s=max(one.record_rest_s, other.record_rest_s))
