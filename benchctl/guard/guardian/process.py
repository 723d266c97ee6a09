"""The guardian: a process beside a real run that makes the bench safe if the run cannot.

It is started before anything is energised. It gets the addresses and the commands of the safe state, and nothing else.
Then it listens on a pipe. If the pipe ends, the run is dead; if no beat comes, the run hangs; a signal means that
somebody wants to end the guardian, and the run would lose its protection. In each case it makes the bench safe. Only
the word "done" lets it leave without acting.

There are two guardians. They know nothing of each other except whose turn it is to act (`turn.py`).

`start.py` starts it; the first line of its input is its orders. It imports the standard library and those of our
modules that need no more than that, so it starts in a tenth of a second.
"""

from __future__ import annotations

import os
import signal
import sys
import threading
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, closing, suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from queue import Empty, SimpleQueue
from types import FrameType

from benchctl.guard.bench_lock import LateLock
from benchctl.guard.confirmation import Confirmation, all_confirmed
from benchctl.guard.guardian.orders import Orders, Word, lines_of
from benchctl.guard.guardian.report import Report
from benchctl.guard.guardian.start import take_name
from benchctl.guard.guardian.turn import Turn
from benchctl.guard.guardian.wires import GuardianWire, load_pyvisa, needs_pyvisa
from benchctl.guard.safe_state import SafeState, carry_out
from benchctl.instruments.links.settings import USUAL
from benchctl.instruments.safe_part import SafePart

# A network switch or an instrument that restarts is back within a minute or two.
GIVE_UP_S = 300.0
RETRY_PAUSE_S = 1.0
# On a slow link an answer may take longer than the first attempt waits.
LONG_ANSWER_S = 10.0

_SIGNALS = ("SIGTERM", "SIGINT", "SIGBREAK")


@dataclass(frozen=True)
class Alarm:
    """Why the bench must be made safe, and whether the run may still be there."""

    reason: str
    run_may_live: bool = False


RUN_DIED = Alarm("the run has died")
RUN_CALLS = Alarm("the run cannot confirm that everything is off")
Inbox = SimpleQueue["str | Alarm"]


def main() -> int:
    """Take the orders, watch, and act if needed. The exit code is 0 if there was nothing to do or the bench is safe."""
    take_name()
    inbox: Inbox = SimpleQueue()
    _listen_to_signals(inbox)
    pipe = lines_of(sys.stdin.fileno())
    first = next(pipe, None)
    if first is None:
        return 0  # the run ended before it energised anything
    orders = Orders.from_line(first)
    threading.Thread(target=_read, args=(pipe, inbox), name="pipe", daemon=True).start()
    if any(needs_pyvisa(part.address) for part in orders.plan):
        load_pyvisa()
    with Turn(Path(orders.turn)) as turn:
        _tell(Word.READY)
        return 0 if stand_guard(orders, inbox, turn) else 1


def stand_guard(orders: Orders, inbox: Inbox, turn: Turn) -> bool:
    """Watch and act until the run is over. Returns whether the bench is safe, or was left to a run that said so."""
    patience_s: float | None = orders.patience_s
    while (alarm := _watch(inbox, patience_s)) is not None:
        _tell(Word.ACTING)
        is_safe = turn.act_once(alarm.reason, partial(_act, orders, alarm, inbox))
        if not alarm.run_may_live:
            return is_safe
        # A run that hangs can wake up and go on for an instant. The next message from it, whatever it is, is handled;
        # until then there is nothing to do.
        patience_s = None
    return True


def _watch(inbox: Inbox, patience_s: float | None) -> Alarm | None:
    """Wait until something is wrong (returns why) or the run is done (None). Without patience, a beat counts as
    wrong.
    """
    while True:
        try:
            word = inbox.get(timeout=patience_s)
        except Empty:
            return Alarm(f"the run has given no sign of life for {patience_s:g} s", run_may_live=True)
        if isinstance(word, Alarm):
            return word
        if word == Word.DONE:
            return None
        if word == Word.CALL:
            return RUN_CALLS
        if patience_s is None:
            return Alarm("the run that had hung goes on", run_may_live=True)
        _tell(Word.BEAT)


def _act(orders: Orders, alarm: Alarm, inbox: Inbox) -> bool:
    """Make the bench safe, again and again, until every instrument confirms or the time for attempts is over."""
    report = Report(Path(orders.report))
    wires = {
        part.instrument: GuardianWire(part.address, orders.links.get(part.instrument, USUAL)) for part in orders.plan
    }
    with ExitStack() as stack:
        for wire in wires.values():
            stack.callback(wire.close)
        # First everything is switched off; messages come after that. A run that starts now would lose its outputs.
        state = SafeState(orders.plan, wires, attempts=1, tell=report.alarm)
        told = state.carry_out(then=lambda: report.acting(alarm.reason))
        lock = stack.enter_context(closing(LateLock(orders.locks)))
        report.acted(told, then="trying on")
        if not all_confirmed(told):
            if alarm.run_may_live:
                _end_run(orders.run_pid)
            told, is_done = _try_on(orders.plan, wires, told, lock, inbox)
            if is_done:
                return True
            report.acted(told, then="giving up")
    return all_confirmed(told)


def _end_run(pid: int) -> None:
    """Kill a run that hangs. Many instruments take one link at a time, and only the end of the process frees the run's
    link.
    """
    if sys.platform == "win32":
        ending = signal.SIGTERM  # which Windows does not send but carries out
    else:
        ending = signal.SIGKILL  # a process that stands still takes no other
    with suppress(OSError):
        os.kill(pid, ending)


def _try_on(
    plan: Sequence[SafePart],
    wires: Mapping[str, GuardianWire],
    told: tuple[Confirmation, ...],
    lock: LateLock,
    inbox: Inbox,
) -> tuple[tuple[Confirmation, ...], bool]:
    """Try again, with more patience for slow links, until all is confirmed, the time is over, or the run says that it
    is done.

    Returns:
        What the parts have come to, and whether the run has said that it is done.
    """
    give_up_at = time.monotonic() + GIVE_UP_S
    for wire in wires.values():
        wire.answer_s = LONG_ANSWER_S
    while not all_confirmed(told) and time.monotonic() < give_up_at:
        has_hope = any(not confirmation.confirmed and confirmation.can_be_confirmed for confirmation in told)
        if _is_done(inbox):
            return told, True
        lock.take_if_free()
        missing = [part for part, confirmation in zip(plan, told, strict=True) if not confirmation.confirmed]
        again = iter(carry_out(missing, wires, attempts=1))
        told = tuple(confirmation if confirmation.confirmed else next(again) for confirmation in told)
        if not has_hope:  # the others are told once more, and cannot be asked
            break
    return told, False


def _is_done(inbox: Inbox) -> bool:
    """Pause, and check whether the run says that it is done. Other messages are handled later."""
    heard: list[str | Alarm] = []
    end = time.monotonic() + RETRY_PAUSE_S
    while Word.DONE not in heard and (left_s := end - time.monotonic()) > 0:
        with suppress(Empty):
            heard.append(inbox.get(timeout=left_s))
    for word in heard:
        inbox.put(word)
    return Word.DONE in heard


def _listen_to_signals(inbox: Inbox) -> None:
    """Turn signals into alarms; the guardian ignores that a terminal closes."""

    def stop(number: int, _frame: FrameType | None) -> None:
        inbox.put(Alarm(f"the guardian was told to end ({signal.Signals(number).name})"))

    for name in _SIGNALS:
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), stop)
    if sys.platform != "win32":
        signal.signal(signal.SIGHUP, signal.SIG_IGN)


def _read(pipe: Iterator[str], inbox: Inbox) -> None:
    with suppress(OSError):
        for word in pipe:
            inbox.put(word)
    inbox.put(RUN_DIED)


def _tell(word: Word) -> None:
    with suppress(OSError):  # the run is gone, and the end of its pipe will say so
        os.write(sys.stdout.fileno(), f"{word}\n".encode("ascii"))
