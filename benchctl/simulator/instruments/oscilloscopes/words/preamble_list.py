"""CHANnel, TIMebase, ACQuire and TRIGger of the oscilloscope's first command set.

TIMebase:POSition is where the trigger stands, counted from the reference point of the screen (its left edge after
TIMebase:REFerence LEFT).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchctl.scpi.device.headers import Call, CommandTree
from benchctl.scpi.device.parameters import Mnemonic, Numeric
from benchctl.scpi.errors import ScpiError
from benchctl.simulator.instruments.oscilloscopes.recording.acquisition import EXTERNAL
from benchctl.simulator.instruments.oscilloscopes.recording.scope import LONGEST_SPAN_S, Scope
from benchctl.simulator.instruments.oscilloscopes.words.words import (
    Words,
    action,
    add_channel_words,
    add_length,
    add_probe_word,
    add_run_words,
    add_slope,
    add_time_base,
    add_trigger_words,
)

_REFERENCES = {"LEFT": 0.0, "CENT": 0.5, "RIGH": 1.0}


@dataclass(frozen=True)
class ListSettings:
    """Reference in the middle."""

    reference: str = "CENT"


class ListWords(Words[ListSettings]):
    """CHANnel, TIMebase, ACQuire, TRIGger, and the bare words RUN, STOP, SINGle."""

    def __init__(self, scope: Scope) -> None:
        super().__init__(scope, ListSettings())

    def add_commands(self, tree: CommandTree) -> None:
        """All of them."""
        scope = self.scope
        add_run_words(tree, scope)
        add_channels(tree, scope)
        add_time_base(tree, scope, "TIMebase:SCALe")
        add_length(tree, scope, "ACQuire:POINts")
        self._add_position(tree)
        tree.add("ACQuire:SRATe", query=lambda _: 1 / scope.acquisition.timing.interval_s)
        tree.add("ACQuire:COMPlete", query=lambda _: scope.finished)
        add_edge_trigger(tree, scope)
        tree.add("TRIGger:FORCe", set=action(scope.acquisition.force))

    def _add_position(self, tree: CommandTree) -> None:
        tree.add("TIMebase:REFerence", set=self._set_reference, query=lambda _: self.settings.reference,
                 parameters=[Mnemonic("LEFT", "CENTer", "RIGHt")])  # fmt: skip
        tree.add("TIMebase:POSition", set=self._set_position, query=lambda _: self._position(),
                 parameters=[Numeric("S", -LONGEST_SPAN_S, LONGEST_SPAN_S, 0.0)])  # fmt: skip

    def _set_reference(self, call: Call) -> None:
        position_s = self._position()
        self.settings = replace(self.settings, reference=call.values[0])
        self.scope.set_pretrigger(max(position_s + self._reference_s(), 0.0))

    def _set_position(self, call: Call) -> None:
        pretrigger_s = call.values[0] + self._reference_s()
        if pretrigger_s < 0:
            raise ScpiError(-222, "the trigger would lie before the record")
        self.scope.set_pretrigger(pretrigger_s)

    def _position(self) -> float:
        return self.scope.acquisition.timing.pretrigger_s - self._reference_s()

    def _reference_s(self) -> float:
        """From the left edge of the screen to its reference point."""
        return _REFERENCES[self.settings.reference] * self.scope.acquisition.timing.span_s


def add_channels(tree: CommandTree, scope: Scope) -> None:
    """CHANnel with its probe."""
    node = f"CHANnel<1:{scope.description.channels}>"
    add_channel_words(tree, scope, node, display=f"{node}:DISPlay")
    add_probe_word(tree, scope, f"{node}:PROBe")


def add_edge_trigger(tree: CommandTree, scope: Scope) -> None:
    """TRIGger:EDGE and TRIGger:SWEep."""
    sources = {"EXTernal": EXTERNAL, **{f"CHANnel{number}": number for number in scope.channels}}
    add_trigger_words(
        tree, scope, sources, source="TRIGger:EDGE:SOURce", level="TRIGger:EDGE:LEVel", sweep="TRIGger:SWEep"
    )
    add_slope(tree, scope, "TRIGger:EDGE:SLOPe", "POSitive", "NEGative")
