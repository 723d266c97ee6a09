"""CHANnel, TIMebase:MAIN, ACQuire:MDEPth and TRIGger, with the state of an acquisition as a word.

TIMebase:MAIN:OFFSet is the time of the screen's middle, counted from the trigger.
"""

from __future__ import annotations

from dataclasses import dataclass

from benchctl.scpi.device.headers import CommandTree
from benchctl.simulator.instruments.oscilloscopes.recording.scope import Scope
from benchctl.simulator.instruments.oscilloscopes.words.preamble_list import add_channels, add_edge_trigger
from benchctl.simulator.instruments.oscilloscopes.words.words import (
    Words,
    action,
    add_length,
    add_run_words,
    add_state_word,
    add_time_base,
    add_trigger_position,
)


@dataclass(frozen=True)
class NoSettings:
    """Nothing but the scope's own settings."""


class MainTimeBaseWords(Words[NoSettings]):
    """All but the record itself."""

    def __init__(self, scope: Scope) -> None:
        super().__init__(scope, NoSettings())

    def add_commands(self, tree: CommandTree) -> None:
        """All of them."""
        scope = self.scope
        add_run_words(tree, scope)
        add_channels(tree, scope)
        add_time_base(tree, scope, "TIMebase[:MAIN]:SCALe")
        add_trigger_position(tree, scope, "TIMebase[:MAIN]:OFFSet", "middle", sign=-1.0)
        add_length(tree, scope, "ACQuire:MDEPth")
        add_edge_trigger(tree, scope)
        add_state_word(tree, scope, "TRIGger:STATus")
        tree.add("TFORce", set=action(scope.acquisition.force))


class RangeWords(Words[NoSettings]):
    """TIMebase:RANGe is the length of the whole record, and TIMebase:DELay the trigger, counted from the left edge.

    Nothing sets the number of samples, and no question tells that a record is whole: *OPC? waits for it, and the
    operation register shows it.
    """

    def __init__(self, scope: Scope) -> None:
        super().__init__(scope, NoSettings())

    def add_commands(self, tree: CommandTree) -> None:
        """All of them."""
        scope = self.scope
        add_run_words(tree, scope)
        add_channels(tree, scope)
        add_time_base(tree, scope, "TIMebase:RANGe", divisions=1)
        add_trigger_position(tree, scope, "TIMebase:DELay", "left")
        add_edge_trigger(tree, scope)
        tree.add("TRIGger:FORCe", set=action(scope.acquisition.force))
        tree.add("ACQuire:POINts", query=lambda _: scope.record().timing.samples)
