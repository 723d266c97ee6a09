"""What command sets are put together from: a base class, and groups of commands that many have under other headers."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Generic, Literal, TypeVar

from benchctl.scpi.device.headers import Call, CommandTree
from benchctl.scpi.device.parameters import Boolean, Mnemonic, Numeric, Parameter
from benchctl.simulator.instruments.oscilloscopes.recording.scope import (
    FEWEST_SAMPLES,
    HORIZONTAL_DIVISIONS,
    LONGEST_SPAN_S,
    Channel,
    Position,
    Scope,
)

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

Settings = TypeVar("Settings", bound="DataclassInstance")


class Words(ABC, Generic[Settings]):
    """A command set: what it needs to remember besides the scope's own settings, as one immutable value."""

    def __init__(self, scope: Scope, settings: Settings) -> None:
        self.scope = scope
        self.defaults = self.settings = settings

    @abstractmethod
    def add_commands(self, tree: CommandTree) -> None:
        """Put all of them into the tree."""

    def add_setting(self, tree: CommandTree, header: str, name: str, parameter: Parameter) -> None:
        """A command that keeps its one parameter as a setting, and its query."""

        def store(call: Call) -> None:
            self.settings = replace(self.settings, **{name: call.values[0]})

        tree.add(header, set=store, query=lambda _: getattr(self.settings, name), parameters=[parameter])


def action(do: Callable[[], None]) -> Callable[[Call], None]:
    """A handler for a command without parameters."""
    return lambda _: do()


def add_channel_words(tree: CommandTree, scope: Scope, node: str, *, display: str, scale: str = "SCALe") -> None:
    """Display, coupling, scale and offset of the channels under `node`."""

    def channel(call: Call) -> Channel:
        return scope.channels[call.suffixes[0]]

    tree.add(display, set=lambda call: scope.change_channel(call.suffixes[0], displayed=call.values[0]),
             query=lambda call: channel(call).displayed, parameters=[Boolean()])  # fmt: skip
    tree.add(f"{node}:COUPling", set=lambda _: None, query=lambda _: "DC", parameters=[Mnemonic("DC")])
    tree.add(f"{node}:{scale}", set=lambda call: scope.set_scale(call.suffixes[0], call.values[0]),
             query=lambda call: scope.scale_v(call.suffixes[0]), parameters=[Numeric("V")])  # fmt: skip
    tree.add(f"{node}:OFFSet", set=lambda call: scope.set_centre(call.suffixes[0], call.values[0]),
             query=lambda call: scope.centre_v(call.suffixes[0]), parameters=[Numeric("V")])  # fmt: skip


def add_probe_word(tree: CommandTree, scope: Scope, header: str, *, is_gain: bool = False) -> None:
    """The probe's factor, as ratio (20) or as gain (0.05)."""

    def turned(value: float) -> float:
        return 1 / value if is_gain else value

    tree.add(header, set=lambda call: scope.set_probe(call.suffixes[0], turned(call.values[0])),
             query=lambda call: turned(scope.channels[call.suffixes[0]].attenuation),
             parameters=[Numeric("", 0.0001, 10_000, 1)])  # fmt: skip


def add_time_base(tree: CommandTree, scope: Scope, header: str, *, divisions: int = HORIZONTAL_DIVISIONS) -> None:
    """Seconds a division; seconds of the whole record where `divisions` is 1."""
    tree.add(header, set=lambda call: scope.set_span(call.values[0] * divisions),
             query=lambda _: scope.acquisition.timing.span_s / divisions,
             parameters=[Numeric("S", 1e-9, LONGEST_SPAN_S / divisions, 1e-3)])  # fmt: skip


def add_length(tree: CommandTree, scope: Scope, header: str) -> None:
    """Samples of a record."""
    tree.add(header, set=lambda call: scope.set_samples(call.values[0]),
             query=lambda _: scope.acquisition.timing.samples,
             parameters=[Numeric("", FEWEST_SAMPLES, scope.description.memory, 10_000, whole=True)])  # fmt: skip


def add_trigger_position(
    tree: CommandTree, scope: Scope, header: str, reference: Literal["left", "middle", "per cent"], sign: float = 1.0
) -> None:
    """Where the trigger lies: counted from the left edge or the middle of the record, or in per cent of it.

    `sign` is -1 where the middle is counted from the trigger.
    """
    numbers = Numeric("", 0, 100, 50) if reference == "per cent" else Numeric("S", -LONGEST_SPAN_S, LONGEST_SPAN_S, 0.0)
    tree.add(header, set=lambda call: scope.place_trigger(Position(reference, sign * call.values[0])),
             query=lambda _: sign * scope.position.value, parameters=[numbers])  # fmt: skip


def add_trigger_words(
    tree: CommandTree, scope: Scope, sources: dict[str, int], *, source: str, level: str, sweep: str
) -> None:
    """Source, level and mode; `sources` gives the channel of each word, in the spelling of the standard."""
    short = {"".join(letter for letter in word if not letter.islower()): number for word, number in sources.items()}
    words = {number: word for word, number in short.items()}
    tree.add(source, set=lambda call: scope.change_trigger(source=short[call.values[0]]),
             query=lambda _: words[scope.acquisition.trigger.source], parameters=[Mnemonic(*sources)])  # fmt: skip
    tree.add(level, set=lambda call: scope.set_trigger_level(call.values[0]),
             query=lambda _: scope.trigger_level_v(), parameters=[Numeric("V")])  # fmt: skip
    tree.add(sweep, set=lambda call: scope.change_trigger(automatic=call.values[0] == "AUTO"),
             query=lambda _: "AUTO" if scope.acquisition.trigger.automatic else "NORM",
             parameters=[Mnemonic("AUTO", "NORMal")])  # fmt: skip


def add_slope(tree: CommandTree, scope: Scope, header: str, rising: str, falling: str) -> None:
    """The edge that triggers."""
    words = Mnemonic(rising, falling)
    up, down = ("".join(letter for letter in word if not letter.islower()) for word in (rising, falling))
    tree.add(header, set=lambda call: scope.change_trigger(rising=call.values[0] == up),
             query=lambda _: up if scope.acquisition.trigger.rising else down, parameters=[words])  # fmt: skip


def add_run_words(tree: CommandTree, scope: Scope) -> None:
    """The bare words RUN, SINGle and STOP."""
    tree.add("RUN", set=action(lambda: scope.arm(repeats=True)))
    tree.add("SINGle", set=action(scope.arm))
    tree.add("STOP", set=action(scope.acquisition.stop))


def add_state_word(tree: CommandTree, scope: Scope, header: str) -> None:
    """The state as a word: WAIT for a trigger, TD (triggered) while the record fills, AUTO, STOP when it is over."""

    def state(_: Call) -> str:
        if not scope.shows_running:
            return "STOP"
        if scope.acquisition.trigger.automatic:
            return "AUTO"
        return "WAIT" if scope.acquisition.waiting else "TD"

    tree.add(header, query=state)
