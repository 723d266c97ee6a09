"""What a person at the bench asks for, by keys or from a program, and what they are shown.

The step `drive_by_hand` takes wishes from a desk and shows readings on it. A terminal is a desk; so is a
notebook, and a test's list.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal, Protocol

from benchctl.measure.conditions import UNDRIVEN, Conditions

if TYPE_CHECKING:
    from benchctl.runner.steps.by_hand.bench_in_hand import BenchInHand

WishKind = Literal[
    "switch",  # the amplifier on or off
    "drive",  # the signal on or off
    "louder",
    "softer",
    "much louder",
    "much softer",
    "higher",  # in frequency
    "lower",
    "load",  # the next one
    "bursts",  # bursts instead of a tone, or the reverse
    "channel",  # the next channel alone, or all
    "hold",  # the readings stay as they are, or go on
    "keep",  # a record with its figures
    "note",
    "act",  # what a program asks for
    "present",  # a person is there, and wants nothing else
    "end",
]


@dataclass(frozen=True)
class Wish:
    """What a person asks for; `text` is what they wrote for a note, `act` what their program does to the bench."""

    kind: WishKind
    text: str = ""
    act: Callable[[BenchInHand], None] | None = None


@dataclass(frozen=True)
class OutputReading:
    """What an output shows: RMS in V, power in W, THD+N and dc in V. None: it is not known. `is_bound`: the distortion
    is at most this."""

    rms_v: float | None = None
    power_w: float | None = None
    thd_n: float | None = None
    is_bound: bool = False
    dc_v: float | None = None
    peak_v: float | None = None


@dataclass(frozen=True)
class Readings:
    """What a person sees of the amplifier at one time.

    Attributes:
        is_on: whether the amplifier is switched on.
        is_driven: whether a signal drives it.
        level_v: the level that the signal has or will have, V RMS of the generator.
        bursts: what the bursts are like; empty: a steady tone.
        wanted: what the bench is set to.
        outputs: channel -> its reading.
        left_s: seconds until the signal goes off unless a key is pressed; None while there is no signal.
        is_held: the readings of the outputs do not change.
        taken_s: when the outputs were read, on the run's clock; None: not yet.
    """

    is_on: bool = False
    is_driven: bool = False
    level_v: float = 0.0
    bursts: str = ""
    wanted: Conditions = UNDRIVEN
    outputs: dict[str, OutputReading] = field(default_factory=dict)
    left_s: float | None = None
    is_held: bool = False
    taken_s: float | None = None


class Desk(Protocol):
    """Where a person sits."""

    def wishes(self) -> Sequence[Wish]:
        """What was asked for since the last call, in order.

        Raises:
            OperatorStop: nobody can ask for anything any more, as when the terminal was closed.
        """

    def show(self, readings: Readings) -> None:
        """Show this in place of what was shown before."""
