"""A conversation over a link that fails, with an instrument that misbehaves, as the faults of the bench file say.

It stands between the server and the instrument's own conversation: messages go in one at a time, so that each answer
is known to belong to its question, and may be lost, held back or changed on its way out.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from benchctl.documents.bench_file.faults import LateAnswer
from benchctl.scpi.device.conversation import Conversation
from benchctl.scpi.device.speaker import Speaker
from benchctl.scpi.numbers import NumberError, format_nr3, parse_number
from benchctl.scpi.reader import MessageReader, OverlongMessageError
from benchctl.simulator.faults.faults import ArmedFault, FaultDesk

SYSTEM_ERROR = -310
"""SCPI-99 21.8: the instrument itself is at fault, not the message."""

ERRORS_AT_ONCE = 25
"""More than an error queue holds."""

REMEMBERED_ANSWERS = 256
LONGEST_REMEMBERED = 4096
"""Bounds of what is kept for stale answers: a run asks some dozens of different short questions."""

LONGEST_GARBAGE = 40


class InstrumentMemory:
    """What all links of one instrument share: its last answer to each question, and how often it was restarted."""

    def __init__(self) -> None:
        self.restarts = 0
        self._answers: dict[bytes, bytes] = {}

    def remember(self, question: bytes, answer: bytes) -> None:
        """Keep an answer in place of the one before."""
        if len(question) + len(answer) <= LONGEST_REMEMBERED:
            if len(self._answers) >= REMEMBERED_ANSWERS:
                self._answers.clear()
            self._answers[question] = answer

    def answer(self, question: bytes) -> bytes | None:
        """The answer that this question had before, if it is known."""
        return self._answers.get(question)


@dataclass(frozen=True)
class _Passing:
    """An answer on its way out, and what a fault may need to know to change it."""

    question: bytes
    answer: bytes
    before: bytes | None
    armed: ArmedFault


class DisturbedConversation(Conversation):
    """One client's link to an instrument, with faults.

    Args:
        device: the instrument.
        role: its name in the faults.
        desk: the bench's faults.
        memory: the instrument's, shared by all of its links.
        interruptible: as for `Conversation`.
    """

    def __init__(
        self, device: Speaker, role: str, desk: FaultDesk, memory: InstrumentMemory, *, interruptible: bool = False
    ) -> None:
        super().__init__(device, interruptible=interruptible)
        self._role = role
        self._desk = desk
        self._memory = memory
        self._restarts_seen = memory.restarts
        self._incoming = MessageReader(newline_in_strings=interruptible)
        self._question = b""
        self._faults: list[ArmedFault] = []
        self._held: list[tuple[float, bytes]] = []
        self._broken: ConnectionError | None = None

    @property
    def is_waiting(self) -> bool:
        """Whether something will happen by itself: an operation ends, or a late answer is sent."""
        return super().is_waiting or bool(self._held)

    @property
    def wants_input(self) -> bool:
        """False while no more should be read from the link, because enough waits already."""
        return super().wants_input and len(self._incoming) <= self._input_bound

    def receive(self, data: bytes, *, end: bool = False) -> None:
        """Take bytes from the client; the faults of the moment act on each message that is now whole."""
        if self._interruptible and self._held and data:
            self._held.clear()  # on such a link a late answer never comes behind a new question
            self.interrupt()
        if not self.wants_input:
            self._incoming.overrun()
            self.device.report(-363)
        self._incoming.feed(data)
        if end:
            self._incoming.end()
        self._pass_in()

    def resume(self) -> bool:
        """Try to go on after a pending operation; True when nothing waits any more."""
        super().resume()
        self._pass_in()
        return not self.is_waiting

    def collect(self) -> bytes:
        """What is sent now: late answers that are due, then the answer as the faults leave it.

        Raises:
            ConnectionError: the link breaks here; everything queued before has been sent.
        """
        leaving = self._due()
        while not (leaving and self._broken) and (answer := super().collect()):
            leaving += self._pass_out(answer)
            self._pass_in()
        if self._broken and not leaving:
            raise self._broken
        return leaving

    def clear(self) -> None:
        """Device clear."""
        super().clear()
        self._incoming.clear()
        self._held.clear()

    # -- in ----------------------------------------------------------------------------------------------------

    def _pass_in(self) -> None:
        """Let messages through until one is answered or waits."""
        while not (self._broken or super().is_waiting or self.has_output):
            try:
                message = self._incoming.next_message()
            except OverlongMessageError:
                self.device.report(-363)
                continue
            if message is None:
                return
            self._hear(message)

    def _hear(self, message: bytes) -> None:
        self._question = message
        self._faults = self._desk.hear(self._role)
        if self._memory.restarts > self._restarts_seen:
            self._broken = ConnectionResetError("the instrument lost its power meanwhile")
        elif self._strikes("power cycle"):
            self.device.restart()
            self._memory.restarts += 1
            self._broken = ConnectionResetError("the instrument lost its power")
        elif self._strikes("connection dropped"):
            self._broken = ConnectionAbortedError("the instrument hung up")
        elif not self._strikes("deaf"):
            self._fill_error_queue()
            super().receive(message + b"\n", end=True)

    def _fill_error_queue(self) -> None:
        if self._strikes("error queue filling"):
            for _ in range(ERRORS_AT_ONCE):
                self.device.report(SYSTEM_ERROR)

    def _strikes(self, kind: str) -> bool:
        """Whether a fault of this kind is on; if so, it is counted."""
        armed = next((armed for armed in self._faults if armed.fault.kind == kind), None)
        if armed is not None:
            self._desk.count(armed)
        return armed is not None

    # -- out ---------------------------------------------------------------------------------------------------

    def _pass_out(self, answer: bytes) -> bytes:
        """The answer as it is sent, after late ones: an instrument answers in order."""
        before = self._memory.answer(self._question)
        self._memory.remember(self._question, answer)
        for armed in self._faults:
            changed = self._changed(_Passing(self._question, answer, before, armed))
            if changed is not None:
                self._desk.count(armed)
                answer = changed
            if not answer:
                break  # nothing is left that another fault could change
        if not answer:
            return b""
        late = b"".join(held for _, held in self._held)
        self._held.clear()
        return late + answer

    def _changed(self, passing: _Passing) -> bytes | None:
        """The answer as a fault changes it; None if it does not."""
        fault = passing.armed.fault
        if isinstance(fault, LateAnswer):
            self._held.append((self._desk.now() + fault.by_s, passing.answer))
            return b""
        if fault.kind == "reset in mid-block" and passing.answer.startswith(b"#"):
            self._broken = ConnectionResetError("the link was reset in the middle of a block")
            return passing.answer[: len(passing.answer) // 2]
        change = CHANGES.get(fault.kind)
        return change(passing) if change is not None else None

    def _due(self) -> bytes:
        now_s = self._desk.now()
        due = b"".join(answer for due_s, answer in self._held if due_s <= now_s)
        self._held = [(due_s, answer) for due_s, answer in self._held if due_s > now_s]
        return due


class Disturbances:
    """Makes the conversations of a bench that has faults."""

    def __init__(self, devices: Mapping[str, Speaker], desk: FaultDesk) -> None:
        self._devices = devices
        self._desk = desk
        self._memories = {role: InstrumentMemory() for role in devices}

    def __call__(self, role: str, *, interruptible: bool = False) -> Conversation:
        """One for a new link to the instrument in this role."""
        return DisturbedConversation(
            self._devices[role], role, self._desk, self._memories[role], interruptible=interruptible
        )


# -- what becomes of an answer ---------------------------------------------------------------------------------


def _garbage(passing: _Passing) -> bytes:
    chance = passing.armed.chance
    return chance.randbytes(chance.randint(1, LONGEST_GARBAGE)) + b"\n"


def _stale(passing: _Passing) -> bytes | None:
    return passing.before


def _truncated(passing: _Passing) -> bytes | None:
    """An answer that ends in a number, without the end of the number."""
    *before, number = _parts(passing.answer)
    return b";".join((*before, number[: len(number) // 2])) + b"\n" if _is_measured(number) else None


def _one_number(change: Callable[[bytes], bytes]) -> Callable[[_Passing], bytes | None]:
    """The answer with one measured number changed; None if it has none."""

    def changed(passing: _Passing) -> bytes | None:
        parts = _parts(passing.answer)
        measured = [place for place, part in enumerate(parts) if _is_measured(part)]
        if not measured:
            return None
        place = passing.armed.chance.choice(measured)
        parts[place] = change(parts[place])
        return b";".join(parts) + b"\n"

    return changed


def _thousandfold(number: bytes) -> bytes:
    return format_nr3(1000.0 * parse_number(number.decode())).encode()


def _another_model(passing: _Passing) -> bytes | None:
    fields = passing.answer.split(b",")
    if passing.question.strip().upper() != b"*IDN?" or len(fields) != 4:
        return None
    return b",".join((fields[0], b"Another model", *fields[2:]))


def _parts(answer: bytes) -> list[bytes]:
    """The answers to the questions of one message, without its end."""
    return answer.strip().split(b";")


def _is_measured(text: bytes) -> bool:
    """Whether it is a number with a point or an exponent, so neither a count nor a state."""
    try:
        parse_number(text.decode("ascii", "replace"))
    except NumberError:
        return False
    return b"." in text or b"E" in text.upper()


CHANGES: Mapping[str, Callable[[_Passing], bytes | None]] = {
    "no answer": lambda _: b"",
    "garbage": _garbage,
    "stale value": _stale,
    "truncated number": _truncated,
    "not a number": _one_number(lambda _: b"9.91E37"),
    "over range": _one_number(lambda _: b"9.9E37"),
    "wrong unit": _one_number(_thousandfold),
    "unit in the answer": _one_number(lambda number: number + b" V"),
    "another model": _another_model,
}
