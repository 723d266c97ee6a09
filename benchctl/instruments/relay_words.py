"""A bank of relays in the words of its driver file: one message for several relays or one for each, numbers or a mask,
and answers as states, a mask or a list."""

from __future__ import annotations

from collections.abc import Iterable, Sequence, Set
from dataclasses import dataclass, replace
from typing import Any

from benchctl.documents.driver_file.language.commands import Command
from benchctl.documents.driver_file.language.templates import Message, Value
from benchctl.documents.driver_file.load import RelayBankDriver
from benchctl.documents.driver_file.relay_questions import ClosedQuery
from benchctl.scpi.answer_form import NO, YES, AnswerForm


@dataclass(frozen=True)
class StateQuestion:
    """A question about some relays.

    Attributes:
        messages: what is sent; the last one is answered.
        forms: relay -> how its state is taken out of the answer.
        form: how it is told that none of them is closed; it has `switches` states.
    """

    messages: tuple[Message, ...]
    forms: tuple[tuple[int, AnswerForm], ...]
    form: AnswerForm
    switches: int = 1

    def closed(self, answer: str) -> frozenset[int]:
        """The relays that are closed, of those that the question is about.

        Raises:
            FormatError: the answer does not tell.
        """
        if self.switches > 1:
            states = self.form.truths(answer, self.switches)
            return frozenset(relay for (relay, _), is_closed in zip(self.forms, states, strict=True) if is_closed)
        return frozenset(relay for relay, form in self.forms if form.truth(answer))


class RelayWords:
    """What a bank of relays is told and asked."""

    def __init__(self, driver: RelayBankDriver) -> None:
        self._words = driver.commands
        self._first = driver.first_relay

    @property
    def tells_closed(self) -> bool:
        """Whether it can be asked which relays are closed."""
        return bool(self._words.get_closed)

    def closing(self, relays: Sequence[int], closed: Set[int]) -> tuple[Message, ...]:
        """Closes these, beside those that are `closed` already."""
        return self._switching(self._words.close, relays, {*closed, *relays})

    def opening(self, relays: Sequence[int], closed: Set[int]) -> tuple[Message, ...]:
        """Opens these, of those that are `closed`."""
        return self._switching(self._words.open, relays, {*closed} - {*relays})

    def opening_all(self, relays: Sequence[int]) -> tuple[Message, ...]:
        """Opens every relay; `relays` are those that anything is wired to."""
        return self._words.open_all.messages() or self.opening(relays, frozenset())

    def questions(self, relays: Sequence[int]) -> tuple[StateQuestion, ...]:
        """What is asked to know the state of these relays; nothing, where nothing can be asked."""
        query = self._words.get_closed
        if not query or not relays:
            return ()
        if query.shape != "states":
            return self._asked_at_once(query, relays)
        if "relays" in query.uses:
            forms = ((relay, query.form) for relay in relays)
            return (StateQuestion(query.messages(relays=tuple(relays)), tuple(forms), query.form, len(relays)),)
        return tuple(
            StateQuestion(query.messages(relay=relay), ((relay, form),), form)
            for relay in relays
            for form in (query.form_for(relay=relay),)
        )

    def _asked_at_once(self, query: ClosedQuery, relays: Sequence[int]) -> tuple[StateQuestion, ...]:
        messages = query.messages(relays=tuple(relays))
        forms = tuple((relay, replace(query.form, **self._in_one_answer([relay]))) for relay in relays)
        if (query.form.yes, query.form.no) != (YES, NO):  # of several inverted bits none tells that all are open
            return tuple(StateQuestion(messages, ((relay, form),), form) for relay, form in forms)
        return (StateQuestion(messages, forms, replace(query.form, **self._in_one_answer(relays))),)

    def _in_one_answer(self, relays: Sequence[int]) -> dict[str, Any]:
        """How the answer tells whether one of these is closed."""
        if self._words.get_closed.shape == "closed":
            return {"among": tuple(relays)}
        return {"bits": tuple(relay - self._first for relay in relays)}

    def values(self, relays: Sequence[int], closed: Iterable[int]) -> dict[str, Value]:
        """What a command for these relays takes, where `closed` are to be closed afterwards."""
        return {
            "relays": tuple(relays),
            "relay": relays[0],
            "mask": self._mask(relays),
            "closed_mask": self._mask(closed),
        }

    def _switching(self, words: Command, relays: Sequence[int], closed: Iterable[int]) -> tuple[Message, ...]:
        if "relay" in words.uses:
            return tuple(message for relay in relays for message in words.messages(relay=relay))
        return words.messages(**self.values(relays, closed))

    def _mask(self, relays: Iterable[int]) -> int:
        return sum(1 << (relay - self._first) for relay in relays)
