"""The safe state: generator output off, supply outputs off (remote turn-on lead first), load disconnected.

It is a list of parts, plain text made from the open bench. Whoever makes the bench safe carries out the same list:
the guard and `benchctl safe` over the sessions of their process, the guardian over wires of its own.

All commands go out before the first confirmation is asked for: what matters is that the power is gone. Each part has a
thread of its own, so that an instrument that is gone holds up none of the others.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from benchctl.errors import BenchctlError
from benchctl.instruments.safe_part import SafePart

if TYPE_CHECKING:  # the guardian carries out the list without a bench, and must be up at once
    from benchctl.instruments.bench import Bench

# An instrument that does not confirm is told and asked again this often.
ATTEMPTS = 3
# The parts have an order, but only so much patience with each other. A command takes a millisecond on a link that
# stands; one that needs longer is waiting for an instrument that may never answer.
STEP_ASIDE_S = 0.1
# How often whoever waits for confirmations looks up, to see whether the operator has lost patience.
LOOK_UP_S = 0.05

# What a person does about an instrument that does not confirm, by its name in the bench file.
_BY_HAND = {
    "generator": "pull its lead out of the amplifier's input",
    "supply": "open the switch in the supply lead, or switch the supply off at its front panel",
    "load": "touch no load lead before generator and supply are off; then switch the load off at its front panel",
}


class Wire(Protocol):
    """Reaches one instrument, past everything else that goes on with it."""

    def command_urgently(self, text: str) -> None:
        """Send one message."""

    def ask_urgently(self, text: str) -> str:
        """Send one question and return its answer."""


@dataclass(frozen=True)
class Confirmation:
    """What one instrument says of its part of the safe state."""

    instrument: str
    part: str
    confirmed: bool
    detail: str = ""

    @property
    def by_hand(self) -> str:
        """What a person does about this part; nothing where it is confirmed."""
        return "" if self.confirmed else _BY_HAND.get(self.instrument, "switch it off at its front panel")

    def __str__(self) -> str:
        state = "confirmed" if self.confirmed else f"NOT CONFIRMED ({self.detail})"
        return f"{self.instrument}: {self.part}: {state}"


def all_confirmed(confirmations: Sequence[Confirmation]) -> bool:
    """Whether every instrument confirmed its part."""
    return all(confirmation.confirmed for confirmation in confirmations)


def plan_of(bench: Bench) -> tuple[SafePart, ...]:
    """The parts of the safe state in their order, as far as the bench has them."""
    parts: list[SafePart] = []
    if bench.has("generator"):
        parts += bench.generator.safe_parts()
    if bench.has("load"):
        parts += bench.load.turn_on_parts()
    if bench.has("supply"):
        parts += bench.supply.safe_parts(bench.outputs_to_switch_off)
    if bench.has("load"):
        parts += bench.load.safe_parts()
    return tuple(parts)


def make_safe(bench: Bench, hurried: threading.Event | None = None) -> tuple[Confirmation, ...]:
    """Bring the open bench into the safe state; see `carry_out`."""
    return carry_out(plan_of(bench), {name: role.session for name, role in bench.roles.items()}, hurried)


def carry_out(
    plan: Sequence[SafePart],
    wires: Mapping[str, Wire],
    hurried: threading.Event | None = None,
    *,
    attempts: int = ATTEMPTS,
) -> tuple[Confirmation, ...]:
    """Command every part in order, then ask for every confirmation. Never raises for an instrument, but says so.

    Args:
        plan: the parts.
        wires: by the instrument's name.
        hurried: once it is set, confirmations that have not come are not waited for.
        attempts: how often an instrument that does not confirm is told and asked.
    """
    hurried = hurried or threading.Event()
    turns = {name: threading.Lock() for name in wires}
    crews = [_Crew(part, wires[part.instrument], turns[part.instrument], hurried, attempts) for part in plan]
    for crew in crews:
        crew.siblings = [other for other in crews if other is not crew and other.instrument == crew.instrument]
    for crew in crews:
        crew.start()
        crew.commanded.wait(STEP_ASIDE_S)
    for crew in crews:
        crew.may_ask.set()
        crew.finished.wait(STEP_ASIDE_S)
    for crew in crews:
        while not (crew.finished.wait(LOOK_UP_S) or hurried.is_set()):
            pass
    return tuple(crew.confirmation for crew in crews)


class _Crew:
    """Carries out one part.

    `turn` is shared by the parts of one instrument: of several messages the first may choose an output for the others,
    and no part may choose for another.
    """

    def __init__(
        self, part: SafePart, wire: Wire, turn: threading.Lock, hurried: threading.Event, attempts: int
    ) -> None:
        self._part = part
        self._wire = wire
        self._turn = turn
        self.instrument = part.instrument
        self.siblings: Sequence[_Crew] = ()  # the other parts of the same instrument
        self._hurried = hurried
        self._attempts = attempts
        self.confirmation = self._unconfirmed("not waited for")
        self.commanded = threading.Event()
        self.may_ask = threading.Event()
        self.finished = threading.Event()

    def start(self) -> None:
        """Begin, in a thread if there is one to be had."""
        try:
            threading.Thread(target=self._work, name=f"safe state: {self._part.instrument}", daemon=True).start()
        except RuntimeError:  # out of threads, or the interpreter is on its way out: one part after the other then
            self.may_ask.set()
            self._work()

    def _work(self) -> None:
        try:
            trouble = self._command()
            self.commanded.set()
            self.may_ask.wait()
            for sibling in self.siblings:  # no question about one output holds up the command for another
                sibling.commanded.wait(STEP_ASIDE_S)
            self.confirmation = self._confirm(trouble)
        finally:
            self.finished.set()

    def _confirm(self, trouble: str) -> Confirmation:
        """Ask for confirmation; where it is refused, command and ask again."""
        for attempt in range(self._attempts):
            if self._hurried.is_set():
                return self._unconfirmed("not asked, to be quick")
            if attempt:
                trouble = self._command() or trouble
            refusal = self._ask()
            if not refusal:
                return Confirmation(self._part.instrument, self._part.what, confirmed=True)
            trouble = refusal
        return self._unconfirmed(trouble)

    def _command(self) -> str:
        """Send the commands; return what went wrong, or nothing."""
        try:
            with self._turn:
                for message in self._part.commands:
                    self._wire.command_urgently(message)
        except Exception as error:  # noqa: BLE001 - not even a fault of the program may keep the other parts waiting
            return _what(error)
        return ""

    def _ask(self) -> str:
        """Ask for confirmation; return what speaks against it, or nothing."""
        *before, question = self._part.question
        try:
            with self._turn:
                for message in before:
                    self._wire.command_urgently(message)
                answer = self._wire.ask_urgently(question)
        except Exception as error:  # noqa: BLE001 - what cannot be confirmed is said, whatever the cause
            return _what(error)
        return "" if self._part.is_confirmed_by(answer) else f"it answers {answer[:60]!r} to {question}"

    def _unconfirmed(self, detail: str) -> Confirmation:
        return Confirmation(self._part.instrument, self._part.what, confirmed=False, detail=detail)


def _what(error: Exception) -> str:
    return error.message if isinstance(error, BenchctlError) else f"fault of the program: {error!r}"
