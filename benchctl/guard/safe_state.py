"""The safe state: generator output off, supply outputs off (remote turn-on lead first), load disconnected.

All commands go out before the first confirmation is asked for: what matters is that the power is gone, and a slow
answer of one instrument must not delay the next command.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

from benchctl.errors import BenchctlError
from benchctl.instruments.bench import Bench

# An instrument that does not confirm is told and asked again this often.
ATTEMPTS = 3


@dataclass(frozen=True)
class Confirmation:
    """What one instrument says of its part of the safe state."""

    instrument: str
    part: str
    confirmed: bool
    detail: str = ""

    def __str__(self) -> str:
        state = "confirmed" if self.confirmed else f"NOT CONFIRMED ({self.detail})"
        return f"{self.instrument}: {self.part}: {state}"


@dataclass(frozen=True)
class _Part:
    """One command of the safe state and the question that confirms it."""

    instrument: str
    what: str
    command: Callable[[], None]
    confirms: Callable[[], bool]


def make_safe(bench: Bench) -> tuple[Confirmation, ...]:
    """Bring the bench into the safe state; never raises for an instrument that fails, but says so."""
    parts = _parts(bench)
    for part in parts:
        _attempt(part.command)
    return tuple(_confirm(part) for part in parts)


def all_confirmed(confirmations: Sequence[Confirmation]) -> bool:
    """Whether every instrument confirmed its part."""
    return all(confirmation.confirmed for confirmation in confirmations)


def _parts(bench: Bench) -> list[_Part]:
    """The parts of the safe state in their order, as far as the bench has them."""
    parts = []
    if bench.has("generator"):
        generator = bench.generator
        parts.append(_Part(generator.name, "output off", generator.off_urgently, generator.confirms_off))
    if bench.has("supply"):
        supply = bench.supply
        parts += [
            _Part(
                supply.name,
                f"output '{name}' off",
                partial(supply.off_urgently, name),
                partial(supply.confirms_off, name),
            )
            for name in bench.outputs_to_switch_off
        ]
    if bench.has("load"):
        load = bench.load
        parts.append(_Part(load.name, "disconnected", load.disconnect_urgently, load.confirms_disconnected))
    return parts


def _attempt(command: Callable[[], None]) -> str:
    """Run a command; return what went wrong, or nothing."""
    try:
        command()
    except BenchctlError as error:
        return error.message
    return ""


def _confirm(part: _Part) -> Confirmation:
    """Ask for confirmation; where it is refused, command and ask again."""
    trouble = ""
    for attempt in range(ATTEMPTS):
        if attempt:
            trouble = _attempt(part.command) or trouble
        try:
            if part.confirms():
                return Confirmation(part.instrument, part.what, confirmed=True)
            trouble = "it says that it is still on"
        except BenchctlError as error:
            trouble = error.message
    return Confirmation(part.instrument, part.what, confirmed=False, detail=trouble)
