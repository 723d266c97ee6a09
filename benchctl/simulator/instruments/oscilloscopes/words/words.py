"""Commands that both command sets of the oscilloscope have, under different headers."""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import replace
from typing import TYPE_CHECKING, Generic, TypeVar

from benchctl.scpi.device.headers import Call, CommandTree
from benchctl.scpi.device.parameters import Boolean, Mnemonic, Numeric, Parameter
from benchctl.simulator.instruments.oscilloscopes.recording.scope import (
    FEWEST_SAMPLES,
    HORIZONTAL_DIVISIONS,
    LONGEST_SPAN_S,
    Channel,
    Scope,
)

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

Settings = TypeVar("Settings", bound="DataclassInstance")


class Words(ABC, Generic[Settings]):
    """A command set: what it needs to remember besides the scope's own settings, as one immutable value."""

    def __init__(self, scope: Scope, settings: Settings) -> None:
        self.scope = scope
        self.settings = settings

    @abstractmethod
    def add_commands(self, tree: CommandTree) -> None:
        """Put all of them into the tree."""

    def add_setting(self, tree: CommandTree, header: str, name: str, parameter: Parameter) -> None:
        """A command that keeps its one parameter as a setting, and its query."""

        def store(call: Call) -> None:
            self.settings = replace(self.settings, **{name: call.values[0]})

        tree.add(header, set=store, query=lambda _: getattr(self.settings, name), parameters=[parameter])


def add_channel_words(tree: CommandTree, scope: Scope, node: str, *, display: str, probe: str, scale: str) -> None:
    """Display, coupling, probe, scale and offset of the channels under `node`."""

    def channel(call: Call) -> Channel:
        return scope.channels[call.suffixes[0]]

    tree.add(display, set=lambda call: scope.change_channel(call.suffixes[0], displayed=call.values[0]),
             query=lambda call: channel(call).displayed, parameters=[Boolean()])  # fmt: skip
    tree.add(f"{node}:COUPling", set=lambda _: None, query=lambda _: "DC", parameters=[Mnemonic("DC")])
    tree.add(f"{node}:{probe}", set=lambda call: scope.change_channel(call.suffixes[0], attenuation=call.values[0]),
             query=lambda call: channel(call).attenuation, parameters=[Numeric("", 0.001, 10_000, 1)])  # fmt: skip
    tree.add(f"{node}:{scale}", set=lambda call: scope.set_scale(call.suffixes[0], call.values[0]),
             query=lambda call: scope.scale_v(call.suffixes[0]), parameters=[Numeric("V")])  # fmt: skip
    tree.add(f"{node}:OFFSet", set=lambda call: scope.set_centre(call.suffixes[0], call.values[0]),
             query=lambda call: scope.centre_v(call.suffixes[0]), parameters=[Numeric("V")])  # fmt: skip


def add_record_words(tree: CommandTree, scope: Scope, scale: str, samples: str) -> None:
    """Time base and length of the record."""
    tree.add(scale, set=lambda call: scope.set_span(call.values[0] * HORIZONTAL_DIVISIONS),
             query=lambda _: scope.acquisition.timing.span_s / HORIZONTAL_DIVISIONS,
             parameters=[Numeric("S", 1e-9, LONGEST_SPAN_S / HORIZONTAL_DIVISIONS, 1e-3)])  # fmt: skip
    tree.add(samples, set=lambda call: scope.set_samples(call.values[0]),
             query=lambda _: scope.acquisition.timing.samples,
             parameters=[Numeric("", FEWEST_SAMPLES, scope.description.memory, 10_000, whole=True)])  # fmt: skip


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
