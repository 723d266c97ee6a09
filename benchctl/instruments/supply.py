"""The dc supply: one output feeds the amplifier, another may feed its remote turn-on lead."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace
from functools import partial

from benchctl.documents.driver_file.language import questions
from benchctl.documents.driver_file.language.query import Query
from benchctl.documents.driver_file.language.templates import Value
from benchctl.documents.driver_file.supply import SupplyDriver
from benchctl.errors import GarbledAnswer, InstrumentError
from benchctl.instruments.role import Role
from benchctl.instruments.safe_part import Asked, OffReading, SafePart
from benchctl.instruments.session import Session
from benchctl.instruments.settings import Setting
from benchctl.scpi.errors import FormatError

# How far a supply's programming resolution may change a setting.
VOLTAGE_TOLERANCE_V = 0.02
CURRENT_TOLERANCE_A = 0.1


class Supply(Role):
    """Outputs have their names from the bench file.

    Args:
        outputs: the instrument's number for each.
        zero_a: the reading that each may have without current, A.
        remote_sense: the outputs whose voltage is held at sense leads.
    """

    def __init__(
        self,
        session: Session,
        driver: SupplyDriver,
        outputs: Mapping[str, int],
        zero_a: Mapping[str, float],
        remote_sense: Collection[str] = (),
    ) -> None:
        super().__init__(session, driver)
        self._words = driver.commands
        self._zero_a = dict(zero_a)
        self._remote_sense = frozenset(remote_sense)
        self.outputs = dict(outputs)
        # Some supplies take voltage and current limit together only. After a reset both are taken for 0.
        self._voltage_v = dict.fromkeys(outputs, 0.0)
        self._limit_a = dict.fromkeys(outputs, 0.0)
        self._switched_on: set[str] = set()
        self._went_off: set[str] = set()

    def _set_mode(self) -> None:
        """Put the instrument into its mode, clear protections that tripped earlier, and choose where voltages are
        held."""
        self._say(self._words.prepare)
        for name, number in self.outputs.items():
            self._say(self._words.clear_protection, output=number)
            self._choose_sense(name, number)

    def _choose_sense(self, name: str, number: int) -> None:
        """Where its driver file has words for it; elsewhere a person has set it by hand."""
        words, is_remote = self._words, name in self._remote_sense
        self._say(words.remote_sense_on if is_remote else words.remote_sense_off, output=number)
        if words.get_remote_sense:
            self._confirm(
                self._switch(f"the remote sense of '{name}'", words.get_remote_sense, on=is_remote, output=number)
            )

    def _places(self) -> tuple[Mapping[str, Value], ...]:
        return tuple({"output": number} for number in self.outputs.values())

    def protect(self, output: str, overvoltage_v: float, overcurrent_a: float) -> None:
        """Program the supply's own protection and read it back: hardware limits come first."""
        words, number = self._words, self.outputs[output]
        voltage, current = f"the over-voltage protection of '{output}'", f"the over-current protection of '{output}'"
        # A level that lies between two steps is set lower: it protects what is connected.
        overvoltage_v = self._stepped("overvoltage", overvoltage_v, "down")
        overcurrent_a = self._stepped("overcurrent", overcurrent_a, "down")
        with self._changing(voltage, current):
            self._say(words.set_overvoltage, output=number, voltage_v=overvoltage_v)
            self._confirm_volts(voltage, overvoltage_v, "overvoltage", words.get_overvoltage, number)
            self._say(words.set_overcurrent, output=number, current_a=overcurrent_a)
            self._confirm_amperes(current, overcurrent_a, "overcurrent", words.get_overcurrent, number)

    def tripped_protections(self, output: str) -> float:
        """How many of the output's own protections have tripped. More than 0 means that the output is off and ends the
        run, so that answer is asked for again over a verified link.

        Of a supply that does not say so: 1 where an output that was switched on is off.

        Raises:
            GarbledAnswer: the answer does not tell, for each protection, whether it has.
        """
        if not self._words.get_tripped:
            return float(self._is_off_by_itself(output))
        with self.session.undisturbed():
            if self._count_tripped(output):
                self.session.distrust(f"the protection of '{output}'", "it says that it has tripped")
                count = self._count_tripped(output)
                if count and self._words.tells_no_output:
                    self._went_off |= {name for name in self._switched_on if not self._says_on(name)}
                return float(count)
        return 0.0

    def _count_tripped(self, output: str) -> int:
        count = 0
        for asked in self._words.get_tripped.asked(output=self.outputs[output]):
            with self._prepared(asked.messages) as question:
                count += self.session.ask_for(question, partial(_count_states, asked))
        return count

    def _is_off_by_itself(self, output: str) -> bool:
        """Whether it was switched on, and says that it is off."""
        with self.session.undisturbed():
            is_kept_on = self.settings.get(_output(output)) is not None and output in self._switched_on
            if not is_kept_on or self._says_on(output):
                return False
            self.session.distrust(_output(output), "it was switched on and says that it is off")
            if self._says_on(output):
                return False
            self._went_off.add(output)
        return True

    def _says_on(self, output: str) -> bool:
        return not self._words.get_output or self._ask_truth(self._words.get_output, output=self.outputs[output])

    def has_tripped(self, output: str) -> bool:
        """Whether one of the output's own protections has tripped, asked in spite of the interlock.

        Raises:
            InstrumentError: there is no answer, or none that says it.
        """
        if output in self._went_off:
            return True
        if self._words.tells_no_output and (self._went_off or output not in self._switched_on):
            return False
        return any(self._says_urgently(asked) for asked in self._words.get_tripped.asked(output=self.outputs[output]))

    def _says_urgently(self, asked: questions.Asked) -> bool:
        *before, question = asked.messages
        with self.session.undisturbed():
            for message in before:
                self.session.command_urgently(message.text)
            answer = self.session.ask_urgently(question.text)
        try:
            return bool(_count_states(asked, answer))
        except FormatError as error:
            name, address = self.session.name, self.session.address
            raise GarbledAnswer(f"{error}, asked for its protections", instrument=name, address=address) from error

    def set_voltage(self, output: str, voltage_v: float) -> None:
        """Set and confirm an output's voltage."""
        what, number = f"the voltage of '{output}'", self.outputs[output]
        voltage_v = self._stepped("voltage", voltage_v)
        with self._changing(what):
            self._say(self._words.set_voltage, output=number, voltage_v=voltage_v, current_a=self._limit_a[output])
            self._voltage_v[output] = voltage_v
            self._confirm_volts(what, voltage_v, "voltage", self._words.get_voltage, number)

    def set_current_limit(self, output: str, current_a: float) -> None:
        """Set and confirm an output's current limit."""
        what, number = f"the current limit of '{output}'", self.outputs[output]
        current_a = self._stepped("current_limit", current_a, "down")
        with self._changing(what):
            self._say(
                self._words.set_current_limit, output=number, voltage_v=self._voltage_v[output], current_a=current_a
            )
            self._limit_a[output] = current_a
            self._confirm_amperes(what, current_a, "current_limit", self._words.get_current_limit, number)

    def output_on(self, output: str) -> None:
        """Switch an output on and confirm it.

        Raises:
            InstrumentError: the output did not come on, or its protection tripped at once.
        """
        what, number = _output(output), self.outputs[output]
        with self._changing(what):
            self._say(self._words.output_on, output=number)
            if not self._words.get_output:
                return
            if not self._ask_truth(self._words.get_output, output=number):
                raise InstrumentError(
                    f"output '{output}' was switched on and says it is off",
                    instrument=self.session.name,
                    address=self.session.address,
                    advice="Look for a tripped protection or an interlock on the supply.",
                )
            self._switched_on.add(output)
            self.settings.keep(self._stays_on(output))

    def output_off(self, output: str) -> None:
        """Switch an output off and confirm it."""
        what, number = _output(output), self.outputs[output]
        self._switched_on.discard(output)
        with self._changing(what):
            self._say(self._words.output_off, output=number)
            if self._words.get_output:
                self._confirm(self._switch(what, self._words.get_output, on=False, output=number))

    def measure(self, output: str) -> tuple[float, float]:
        """The output's voltage and current as the supply reads them, one right after the other, V and A."""
        found = self._ask_values(self._words.measure, output=self.outputs[output])
        return found["voltage"], found["current"]

    @property
    def measuring_questions(self) -> int:
        """How many questions one measurement takes."""
        return len(self._words.measure.asked(output=1))

    @property
    def tripped_questions(self) -> int:
        """How many questions it takes to know whether a protection has tripped."""
        return max(len(self._words.get_tripped.asked(output=1)), 1)

    @property
    def has_watchdog(self) -> bool:
        """Whether the supply has a watchdog that switches its outputs off when it is not fed."""
        return self._words.has_watchdog

    def arm_watchdog(self, watchdog_s: float) -> None:
        """Start the watchdog: from now on it must be fed.

        Raises:
            InstrumentReports: the supply does not take the command.
        """
        self._say(self._words.arm_watchdog, watchdog_s=watchdog_s)
        self.check_errors()

    def feed_watchdog(self) -> float:
        """Feed the watchdog; returns 1 if it had already tripped, so that the outputs are off, else 0.

        Raises:
            GarbledAnswer: the answer does not say whether it has tripped.
        """
        self._say(self._words.feed_watchdog)
        return float(self._watchdog_has_tripped())

    def _watchdog_has_tripped(self) -> bool:
        return bool(self._words.get_watchdog_tripped) and self._ask_truth(self._words.get_watchdog_tripped)

    def disarm_watchdog(self) -> None:
        """Stop the watchdog, in spite of the interlock: the bench is safe, and it is no longer fed."""
        with self.session.undisturbed():
            for message in self._words.disarm_watchdog.render():
                self.session.command_urgently(message)

    def _confirm_volts(self, what: str, wanted_v: float, setting: str, words: Query, number: int) -> None:
        self._confirm_level(what, wanted_v, "V", VOLTAGE_TOLERANCE_V, setting, words, number)

    def _confirm_amperes(self, what: str, wanted_a: float, setting: str, words: Query, number: int) -> None:
        self._confirm_level(what, wanted_a, "A", CURRENT_TOLERANCE_A, setting, words, number)

    def _confirm_level(  # noqa: PLR0917 - what is set, to what, and how it is asked for
        self, what: str, wanted: float, unit: str, tolerance: float, setting: str, words: Query, number: int
    ) -> None:
        """Read a level back, where its supply can be asked; its steps may move it by half a step."""
        if words:
            tolerance = max(tolerance, self._half_step(setting, wanted))
            self._confirm(self._number(what, wanted, unit, tolerance, words, {"output": number}))

    def _stays_on(self, output: str) -> Setting:
        """A protection or the watchdog may switch an output off by itself; the guard watches for that."""
        on = self._switch(_output(output), self._words.get_output, on=True, output=self.outputs[output])

        def look() -> str:
            found = on.look()
            return "" if found and self._may_have_switched_off(output) else found

        return replace(on, look=look)

    def _may_have_switched_off(self, output: str) -> bool:
        """Whether the supply did that by itself; one that does not tell counts as tripped, which the guard sees."""
        return not self._words.get_tripped or bool(self.tripped_protections(output)) or self._watchdog_has_tripped()

    def safe_parts(self, outputs: Iterable[str]) -> list[SafePart]:
        """Its part of the safe state, for these outputs in this order."""
        return [self._off(name, self.outputs[name]) for name in outputs]

    def _off(self, name: str, number: int) -> SafePart:
        words = self._words
        part = self._safe_part(f"output '{name}' off", words.output_off, words.get_output, output=number)
        return replace(part, reading=self._off_reading(name, number))

    def _off_reading(self, name: str, number: int) -> OffReading | None:
        """What shows that an output gives no current; None where the supply measures none."""
        for asked in self._words.measure.asked(output=number):
            if "current" in asked.values:
                question = tuple(message.text for message in asked.messages)
                forms = {what: query.form_for(output=number) for what, query in asked.values.items()}
                return OffReading(Asked(question, forms["current"]), self._zero_a[name], forms.get("voltage"))
        return None


def _count_states(asked: questions.Asked, answer: str) -> int:
    """How many protections an answer tells that have tripped."""
    return sum(sum(query.form.states(answer)) for query in asked.values.values())


def _output(name: str) -> str:
    return f"output '{name}'"
