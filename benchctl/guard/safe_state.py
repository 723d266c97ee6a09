"""The safe state: generator output off, supply outputs off (remote turn-on lead first), load disconnected.

It is a list of parts, plain text made from the open bench. The guard, `benchctl safe` and the guardian carry out the
same list: the first two over the sessions of their process, the guardian over links of its own.

All commands are sent before the first confirmation is asked for: the power must go first. Each part has a thread of its
own, so that an instrument that does not answer delays no other. It is not enough that a supply answers "off": its
current must be seen to be zero too.
"""

from __future__ import annotations

import math
import threading
import time
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any

from benchctl.guard.confirmation import Confirmation
from benchctl.guard.crew import DRY_PATIENCE_S, LOOK_EVERY_S, STEP_ASIDE_S, Crew, Wire
from benchctl.instruments.safe_part import SafePart

if TYPE_CHECKING:  # the guardian carries out the list without a bench, and must be up at once
    from benchctl.instruments.bench import Bench

# An instrument that does not confirm is told and asked again this often.
ATTEMPTS = 3
# While confirmations are awaited, this is how often the program checks whether the operator wants to stop waiting.
LOOK_UP_S = 0.05
# A part that has not confirmed by then is reported to a person: it may be on.
LATE_S = 1.0
# A slow instrument gets the time of its answers in addition, but not more than this.
MOST_SLOW_S = 2.0
# If a guardian can do the rest, the other parts are waited for no longer than this after one has failed.
GRACE_S = 0.3

Tell = Callable[[Confirmation], None]
Rest = Callable[[float], object]


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


def safe_state_of(bench: Bench, hurried: threading.Event | None = None, **manner: Any) -> SafeState:
    """The safe state of an open bench, to be carried out; see `SafeState`."""
    wires = {name: role.session for name, role in bench.roles.items()}
    plan = plan_of(bench)
    return SafeState(plan, wires, hurried, slow_s=_slow_s(bench, plan), **manner)


def _slow_s(bench: Bench, plan: Sequence[SafePart]) -> float:
    """How long the slowest instrument needs for its answers: those to its own parts, and one that is still
    outstanding.
    """
    questions = Counter[str]()
    for part in plan:
        questions[part.instrument] += 1 + (part.reading is not None)
    slowest_s = max((bench.roles[name].question_s * (1 + count) for name, count in questions.items()), default=0.0)
    return min(slowest_s, MOST_SLOW_S)


def make_safe(bench: Bench, **manner: Any) -> tuple[Confirmation, ...]:
    """Bring the open bench into the safe state; see `carry_out`."""
    return safe_state_of(bench, **manner).carry_out()


def carry_out(
    plan: Sequence[SafePart],
    wires: Mapping[str, Wire],
    hurried: threading.Event | None = None,
    **manner: Any,
) -> tuple[Confirmation, ...]:
    """Send every command in order, then ask for every confirmation; see `SafeState` for the `manner`. An instrument
    that fails raises nothing: its confirmation says so.
    """
    return SafeState(plan, wires, hurried, **manner).carry_out()


class SafeState:
    """Carries out the safe state once.

    Args:
        plan: the parts.
        wires: by the instrument's name.
        hurried: when it is set, missing confirmations are not waited for.
        attempts: how often an instrument that does not confirm is told and asked.
        tell: is told of each part that fails, as soon as it has, and of each that is late.
        leaves_rest: whether somebody else goes on with a part that fails or is late, so that it is not waited for.
        rest: lets time pass in a dry run, in which nothing is late; None in real time.
        slow_s: how much later than the others the slowest instrument can answer.
    """

    def __init__(
        self,
        plan: Sequence[SafePart],
        wires: Mapping[str, Wire],
        hurried: threading.Event | None = None,
        *,
        attempts: int = ATTEMPTS,
        tell: Tell = lambda _: None,
        leaves_rest: bool = False,
        rest: Rest | None = None,
        slow_s: float = 0.0,
    ) -> None:
        self._hurried = hurried or threading.Event()
        self._over = threading.Event()
        self._tell = tell
        self._leaves_rest = leaves_rest
        self._rest = rest
        self._slow_s = slow_s
        self._told: set[Crew] = set()
        self._fault: Exception | None = None
        self._failed_at = math.inf
        turns = {name: threading.Lock() for name in wires}
        self._crews = [
            Crew(part, wires[part.instrument], turns[part.instrument], self._is_over, attempts, rest is not None)
            for part in plan
        ]
        for crew in self._crews:
            crew.siblings = [
                other for other in self._crews if other is not crew and other.instrument == crew.instrument
            ]

    @property
    def late_after_s(self) -> float:
        """After so long since the decision to stop, a part that has not confirmed is reported to a person."""
        return LATE_S + self._slow_s

    @property
    def confirmations(self) -> tuple[Confirmation, ...]:
        """What each part has come to so far."""
        return tuple(crew.confirmation for crew in self._crews)

    def carry_out(self, then: Callable[[], None] = lambda: None) -> tuple[Confirmation, ...]:
        """Send every command in order, call `then`, and ask for every confirmation.

        Raises:
            Exception: what `then` and `tell` raise, after the work is done.
        """
        began = time.monotonic()
        for crew in self._crews:
            crew.start()
            crew.commanded.wait(STEP_ASIDE_S if self._rest is None else DRY_PATIENCE_S)
        self._let_ask()
        self._without_stopping(then)
        while (pending := self._pending()) and not self._is_given_up(pending, began):
            self._wait_for(pending)
        self._tell_failed()
        self._over.set()
        for crew in self._crews:
            if crew.rests.is_set():
                crew.go_on()
        told = self.confirmations
        if self._fault is not None:
            raise self._fault
        return told

    def _let_ask(self) -> None:
        """Let all parts ask at once; in a dry run one after the other, so that the order is always the same."""
        for crew in self._crews:
            crew.may_ask.set()
            if self._rest is not None:
                crew.was_answered.wait(DRY_PATIENCE_S)

    def _pending(self) -> list[Crew]:
        return [crew for crew in self._crews if not crew.finished.is_set()]

    def _is_given_up(self, pending: Sequence[Crew], began: float) -> bool:
        """Whether nobody waits any longer. Parts that have failed or are late are reported here."""
        self._tell_failed()
        if self._hurried.is_set():
            return True
        now = time.monotonic()
        is_late = self._rest is None and now - began >= self.late_after_s
        if is_late:
            self._tell_of(pending)
        return self._leaves_rest and (is_late or now - self._failed_at >= GRACE_S)

    def _tell_failed(self) -> None:
        self._tell_of([crew for crew in self._crews if crew.finished.is_set() and not crew.confirmation.confirmed])

    def _tell_of(self, crews: Sequence[Crew]) -> None:
        for crew in crews:
            if crew not in self._told:
                self._told.add(crew)
                self._failed_at = min(self._failed_at, time.monotonic())
                self._without_stopping(partial(self._tell, crew.confirmation))

    def _wait_for(self, pending: Sequence[Crew]) -> None:
        if self._rest is None or not all(crew.rests.is_set() for crew in pending):
            pending[0].finished.wait(LOOK_UP_S)
            return
        self._rest(LOOK_EVERY_S)
        for crew in pending:
            crew.go_on()

    def _without_stopping(self, work: Callable[[], None]) -> None:
        """Do this; an error in it, such as a journal that cannot be written, must not delay the safe state."""
        try:
            work()
        except Exception as fault:  # noqa: BLE001 - raised once the work is over
            self._fault = self._fault or fault

    def _is_over(self) -> bool:
        return self._over.is_set() or self._hurried.is_set()
