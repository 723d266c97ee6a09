"""The device side of one instrument: takes program messages, calls its handlers, answers, keeps status and errors.

It touches no socket and no clock. Several clients share one Device, each through its own `Conversation`.

Overlapped operations (an acquisition, a sweep) are the instrument's business: it gives the Device a function that says
whether one is pending, and *OPC, *OPC? and *WAI follow it (IEEE 488.2 12.5). Nothing here ever blocks: a message that
has to wait gives an `Execution` that is resumed later.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

from benchctl.scpi.device.answers import encode_answer
from benchctl.scpi.device.common import add_common_commands
from benchctl.scpi.device.headers import CommandTree
from benchctl.scpi.device.program import FoundError, Program, Unit, compile_message
from benchctl.scpi.device.status import Status, event_bit
from benchctl.scpi.errors import ErrorQueue, ScpiError, is_command_error

# A run repeats the same few hundred questions; each message with a new number in it takes one place more.
_KEPT_MESSAGES = 1024
# Longer messages are downloads: they are hardly ever sent twice, and would make the store large.
_LONGEST_KEPT = 256

_OPERATION_COMPLETE = -800
"""The number of the event in the queue (SCPI-99 21.8)."""


@dataclass(frozen=True)
class Identity:
    """The four fields of *IDN? (IEEE 488.2 10.14); 0 stands for a serial number or firmware that is not known.

    `is_short`: it is answered as one field without a comma, as some instruments do.
    """

    maker: str
    model: str
    serial: str = "0"
    firmware: str = "0"
    is_short: bool = False

    def __post_init__(self) -> None:
        for text in (self.maker, self.model, self.serial, self.firmware):
            if not text or not text.isascii() or not text.isprintable() or set(text) & set(",;"):
                raise ValueError(f"{text!r} cannot stand in *IDN?: printable ASCII without comma and semicolon")

    def __str__(self) -> str:
        if self.is_short:
            return f"{self.maker} {self.model}"
        return f"{self.maker},{self.model},{self.serial},{self.firmware}"


@dataclass(frozen=True)
class Hooks:
    """What an instrument does for the common commands; each may be left out.

    Attributes:
        reset: *RST. Must also abort pending operations (IEEE 488.2 10.32).
        refresh: called before each message, so that an instrument whose state moves by itself catches up.
        pending: whether an overlapped operation has not ended yet.
        self_test: *TST?, 0 when passed.
        save, recall: *SAV and *RCL with the number of the memory; without both, the instrument has neither.
        memories: how many memories there are, from 0.
        trigger: *TRG; without it, the instrument has none.
    """

    reset: Callable[[], None] = lambda: None
    refresh: Callable[[], None] = lambda: None
    pending: Callable[[], bool] = lambda: False
    self_test: Callable[[], int] = lambda: 0
    save: Callable[[int], None] | None = None
    recall: Callable[[int], None] | None = None
    memories: int = 10
    trigger: Callable[[], None] | None = None


class Device:
    """One instrument.

    The common commands of IEEE 488.2 and the required ones of SCPI-99 are added to `tree`, which belongs to the device
    from then on.

    Args:
        error_queue_size: entries the error queue holds.
        newline_after_block: whether a response that ends with a block ends with a line feed as well; some instruments
            leave it out.
    """

    def __init__(
        self,
        identity: Identity,
        tree: CommandTree,
        hooks: Hooks | None = None,
        *,
        error_queue_size: int = 20,
        newline_after_block: bool = True,
    ) -> None:
        self.identity = identity
        self.hooks = hooks or Hooks()
        self.status = Status()
        self.errors = ErrorQueue(error_queue_size)
        self.newline_after_block = newline_after_block
        self._tree = tree
        self._completion_asked = False
        self._message_available = False
        add_common_commands(tree, self)
        self._kept = lru_cache(maxsize=_KEPT_MESSAGES)(self._compile)

    def begin(self, message: bytes) -> Execution:
        """Run one program message as far as it goes without waiting."""
        program = self._kept(message) if len(message) <= _LONGEST_KEPT else self._compile(message)
        execution = Execution(self, program)
        execution.resume()
        return execution

    def restart(self) -> None:
        """What an instrument does when its power is lost and comes back: everything is as at the start."""
        self.forget_completion()
        self.hooks.reset()
        self.errors.clear()
        self.errors.preset()
        self.status.power_on()

    def lack(self, pattern: str) -> None:
        """Know a header no more, nor what lies below it, as instruments that leave out a required one."""
        self._tree.remove(pattern)

    def report(self, code: int, info: str = "") -> None:
        """Put an error or event into the queue if it is enabled, and set its bit in the standard event register."""
        self.errors.push(code, info)
        self.status.event |= event_bit(code)

    def is_pending(self) -> bool:
        """Whether an overlapped operation is under way; when none is, a waiting *OPC sets its bit."""
        if self.hooks.pending():
            return True
        if self._completion_asked:
            self._completion_asked = False
            self.report(_OPERATION_COMPLETE)
        return False

    def ask_completion(self) -> None:
        """What *OPC does: set the operation complete bit as soon as nothing is pending."""
        self._completion_asked = True
        self.is_pending()

    def forget_completion(self) -> None:
        """Drop a *OPC that still waits, as *CLS, *RST and device clear do (IEEE 488.2 12.5.2.1)."""
        self._completion_asked = False

    def catch_up(self) -> None:
        """Bring the instrument's own state and the operation complete bit up to date."""
        self.hooks.refresh()
        if self._completion_asked:
            self.is_pending()

    def status_byte(self, *, has_message: bool | None = None) -> int:
        """The status byte; `has_message` says whether this client has a response waiting (None: the one being run)."""
        self.catch_up()
        available = self._message_available if has_message is None else has_message
        return self.status.byte(has_errors=len(self.errors) > 0, has_message=available)

    def run(self, unit: Unit, *, message_available: bool) -> bytes | None:
        """Run one unit: its answer, or None where it has none. Raises ScpiError."""
        self._message_available = message_available
        answer = unit.command.handler(unit.call())
        return None if answer is None else encode_answer(answer)

    def _compile(self, message: bytes) -> Program:
        return compile_message(message.rstrip(b"\r\n") if message.endswith(b"\n") else message, self._tree)


class Execution:
    """One program message on its way through the device."""

    def __init__(self, device: Device, program: Program) -> None:
        self._device = device
        self._units = program
        self._next = 0
        self._answers: list[bytes] = []
        self._is_indefinite = False
        self.is_finished = False

    @property
    def response(self) -> bytes | None:
        """The response message with its end: the answers so far, joined by semicolons; None if there are none."""
        if not self._answers:
            return None
        ends_in_block = self._answers[-1].startswith(b"#")
        end = b"" if ends_in_block and not self._device.newline_after_block else b"\n"
        return b";".join(self._answers) + end

    def resume(self) -> bool:
        """Go on until the end or until a unit has to wait; True when the message is finished."""
        self._device.catch_up()
        while self._next < len(self._units):
            unit = self._units[self._next]
            if isinstance(unit, FoundError):
                self._device.report(unit.code, unit.info)
            elif unit.command.waits and self._device.is_pending():
                return False
            elif not self._run(unit):
                break
            self._next += 1
        self.is_finished = True
        return True

    def _run(self, unit: Unit) -> bool:
        """Run one unit; False if the rest of the message must be dropped."""
        if unit.command.is_query and self._is_indefinite:
            self._device.report(-440)
            return True
        try:
            answer = self._device.run(unit, message_available=bool(self._answers))
        except ScpiError as error:
            self._device.report(error.code, error.info)
            return not is_command_error(error.code)
        if answer is not None:
            self._answers.append(answer)
            self._is_indefinite = unit.command.is_indefinite
        return True
