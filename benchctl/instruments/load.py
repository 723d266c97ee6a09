"""The load: resistors behind relays, or an electronic load. The runner asks both for ohms in the same way."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence, Set
from contextlib import contextmanager
from dataclasses import replace
from functools import partial

from benchctl.documents.driver_file.language.templates import Message
from benchctl.documents.driver_file.load import ElectronicLoadDriver, RelayBankDriver
from benchctl.errors import InstrumentError, UsageError
from benchctl.instruments.relay_words import RelayWords, StateQuestion
from benchctl.instruments.role import Role
from benchctl.instruments.safe_part import SafePart
from benchctl.instruments.session import Session
from benchctl.instruments.settings import Setting
from benchctl.scpi.answer_form import AnswerForm

# An electronic load's read-back agrees with the setting within this part of it.
RESISTANCE_TOLERANCE = 0.01
_CLOSED, _RESISTANCE, _INPUT = "the relays that are closed", "the resistance", "the input"


class Load(Role, ABC):
    """The load on the amplifier's outputs. Resistances are nominal values in ohm."""

    @abstractmethod
    def connect(self, nominal_ohm: float) -> None:
        """Load every wired channel with this resistance, and confirm that nothing else is connected."""

    @abstractmethod
    def disconnect(self) -> None:
        """Take every load off."""

    @abstractmethod
    def safe_parts(self) -> list[SafePart]:
        """Its part of the safe state."""

    def turn_on_parts(self) -> list[SafePart]:
        """Its part of the safe state before the supply is switched off: the remote turn-on lead, if a relay feeds
        it."""
        return []


class RelayBank(Load):
    """Resistors switched by relays.

    Args:
        relays: for each nominal resistance the relays that connect it.
        turn_on_relay: the relay that feeds the remote turn-on lead, if there is one.
        input_relays: amplifier channel -> the relay that connects its input to the generator, if there are such relays.
    """

    def __init__(
        self,
        session: Session,
        driver: RelayBankDriver,
        relays: Mapping[float, Sequence[int]],
        turn_on_relay: int | None = None,
        input_relays: Mapping[str, int] | None = None,
    ) -> None:
        super().__init__(session, driver)
        self._prepare, self.words = driver.commands.prepare, RelayWords(driver)
        self._turn_on_relay = turn_on_relay
        self._input_relays = dict(input_relays or {})
        self._relays = {ohm: tuple(numbers) for ohm, numbers in relays.items()}
        loads = {relay for numbers in self._relays.values() for relay in numbers}
        self._load_relays = tuple(sorted(loads))
        others = {*self._input_relays.values(), *([] if turn_on_relay is None else [turn_on_relay])}
        self._every = tuple(sorted(loads | others))
        self._told: set[int] = set()  # the relays that were told to close, and were not told to open since
        self._seen: dict[int, bool] = {}  # each relay that was switched -> whether it was then seen closed

    def reset(self) -> float:
        self._told.clear()
        return super().reset()

    def _set_mode(self) -> None:
        self._say(self._prepare)
        if self._input_relays:
            self.drive_inputs(tuple(self._input_relays))

    def drive_inputs(self, channels: Sequence[str]) -> None:
        """Connect the generator to these channels' inputs only, and confirm it."""
        wanted = {self._input_relays[channel] for channel in channels}
        inputs = tuple(sorted(self._input_relays.values()))
        with self._switching(inputs):
            self._open(sorted(set(inputs) - wanted))
            self._close(sorted(wanted))
            self._check_closed(inputs, wanted)

    def connect(self, nominal_ohm: float) -> None:
        wanted = self._relays_for(nominal_ohm)
        with self._switching(self._load_relays):
            # Break before make: two resistors in parallel may be too low for the amplifier.
            self._open(self._load_relays)
            self._close(wanted)
            self._check_closed(self._load_relays, set(wanted))

    def connect_alone(self, relay: int) -> None:
        """Connect the resistor of one relay and no other, and confirm it."""
        with self._switching(self._load_relays):
            self._open(self._load_relays)
            self._close((relay,))
            self._check_closed(self._load_relays, {relay})

    def _open(self, relays: Sequence[int]) -> None:
        if relays:
            self._send_all(self.words.opening(relays, self._told))
            self._told -= {*relays}

    def _close(self, relays: Sequence[int]) -> None:
        if relays:
            self._send_all(self.words.closing(relays, self._told))
            self._told |= {*relays}

    @contextmanager
    def _switching(self, relays: Sequence[int]) -> Iterator[None]:
        """While relays are switched, no other thread reads them; they are unknown until they are read back."""
        with self._changing(_CLOSED):
            for relay in relays:
                self._seen.pop(relay, None)
            try:
                yield
            finally:
                self._keep_seen()

    def _keep_seen(self) -> None:
        seen, closed = tuple(sorted(self._seen)), sorted(relay for relay, is_closed in self._seen.items() if is_closed)
        if not seen:
            return

        def look() -> str:
            found = self._ask_closed(seen)
            return "" if found == closed else f"are {_listed(found)}"

        self.settings.keep(Setting(_CLOSED, f"were {_listed(closed)}", look))

    def _check_closed(self, asked: tuple[int, ...], wanted: Set[int]) -> None:
        """Check that of the relays asked about, exactly these are closed; nothing is checked where nobody can tell."""
        if not self.words.tells_closed:
            return
        closed = self._ask_closed(asked)
        if set(closed) != wanted:
            raise InstrumentError(
                f"relays {_listed(sorted(wanted))} were asked to close and {_listed(closed)} are",
                instrument=self.session.name,
                address=self.session.address,
                advice="Look for a relay that sticks or does not pull in.",
            )
        self._seen |= {relay: relay in wanted for relay in asked}

    def _ask_closed(self, relays: Sequence[int]) -> list[int]:
        """The relays that are closed, of these; what several of them are told by is asked once."""
        by_messages: dict[tuple[Message, ...], list[StateQuestion]] = defaultdict(list)
        for question in self.words.questions(relays):
            by_messages[question.messages].append(question)
        closed: set[int] = set()
        for messages, questions in by_messages.items():
            closed |= self._ask(messages, partial(_closed, questions))
        return sorted(closed)

    def _relays_for(self, nominal_ohm: float) -> tuple[int, ...]:
        """The relays for a resistance, with the bench file's tolerance: `2000 mohm` and `2 ohm` may differ in the last
        digit."""
        near = (relays for ohm, relays in self._relays.items() if abs(ohm - nominal_ohm) < 1e-3 * nominal_ohm)
        found = next(near, None)
        if found is None:
            raise UsageError(f"the bench has no load of {nominal_ohm:g} ohm")
        return found

    def disconnect(self) -> None:
        with self._switching(self._load_relays):
            self._open(self._load_relays)

    def switch_turn_on_lead(self, *, on: bool) -> None:
        """Close or open the relay that feeds the remote turn-on lead, and confirm it."""
        if self._turn_on_relay is None:
            raise InstrumentError("no relay of this bank feeds the remote turn-on lead", instrument=self.session.name)
        lead = (self._turn_on_relay,)
        with self._switching(lead):
            if on:
                self._close(lead)
            else:
                self._open(lead)
            self._check_closed(lead, set(lead) if on else set())

    def turn_on_parts(self) -> list[SafePart]:
        if self._turn_on_relay is None:
            return []
        lead = (self._turn_on_relay,)
        # Where a command says which relays stay closed, this opens all of them: what is closed when the safe state
        # comes, nobody knows who has only this list.
        return [self._part("turn-on lead off", self.words.opening(lead, frozenset()), *self.words.questions(lead))]

    def safe_parts(self) -> list[SafePart]:
        """One part; or one a relay, where each is asked about alone."""
        words, questions = self.words, self.words.questions(self._every)
        if len(questions) <= 1:
            return [self._part("disconnected", words.opening_all(self._every), *questions)]
        relays = [relay for question in questions for relay, _ in question.forms]
        return [
            self._part(f"disconnected, relay {relay}", words.opening_all((relay,)), question)
            for relay, question in zip(relays, questions, strict=True)
        ]

    def _part(self, what: str, commands: Sequence[Message], question: StateQuestion | None = None) -> SafePart:
        return SafePart(
            self.session.name,
            self.session.address,
            what,
            tuple(message.text for message in commands),
            () if question is None else tuple(message.text for message in question.messages),
            1 if question is None else question.switches,
            form=AnswerForm() if question is None else question.form,
            settle_s=sum(message.settle_s for message in commands),
            must_confirm=False,
        )


def _closed(questions: Sequence[StateQuestion], answer: str) -> frozenset[int]:
    """What several questions that were asked at once tell."""
    return frozenset[int]().union(*(question.closed(answer) for question in questions))


class ElectronicLoad(Load):
    """An electronic load in resistance mode."""

    def __init__(self, session: Session, driver: ElectronicLoadDriver) -> None:
        super().__init__(session, driver)
        self._range_for, self._words = driver.range_for, driver.commands

    def _set_mode(self) -> None:
        self._say(self._words.prepare)

    def connect(self, nominal_ohm: float) -> None:
        words, set_ohm = self._words, self._stepped("resistance", nominal_ohm)
        tolerance_ohm = RESISTANCE_TOLERANCE * nominal_ohm + self._half_step("resistance", nominal_ohm)
        with self._changing(_RESISTANCE, _INPUT):
            self._say(words.set_resistance, **self.values_for(set_ohm))
            if words.get_resistance:
                self._confirm(self._number(_RESISTANCE, set_ohm, "ohm", tolerance_ohm, words.get_resistance, {}))
            self._say(words.connect)
            if words.get_connected:
                self._confirm(self._switch(_INPUT, words.get_connected, on=True))

    def values_for(self, resistance_ohm: float) -> dict[str, float | str]:
        """What sets a resistance: itself, and the word of the range that reaches it."""
        return {"resistance_ohm": resistance_ohm, "range": self._range_for(resistance_ohm)}

    def disconnect(self) -> None:
        with self._changing(_INPUT):
            self._say(self._words.disconnect)

    def safe_parts(self) -> list[SafePart]:
        part = self._safe_part("disconnected", self._words.disconnect, self._words.get_connected)
        return [replace(part, must_confirm=False)]


def _listed(relays: Sequence[int]) -> str:
    return ", ".join(str(relay) for relay in relays) or "none"
