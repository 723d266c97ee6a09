"""A record as volts: FORMat chooses floats or text, CHANnel:DATA:HEADer tells its times, CHANnel:DATA the volts.

The header is `xstart,xstop,points,values per point`; xstart and xstop are the times of the first and the last sample,
counted from the trigger.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchctl.scpi.device.answers import Answer
from benchctl.scpi.device.headers import Call, CommandTree
from benchctl.scpi.device.parameters import Mnemonic, Numeric
from benchctl.simulator.instruments.oscilloscopes.recording.acquisition import EXTERNAL
from benchctl.simulator.instruments.oscilloscopes.recording.codes import CodeFormat
from benchctl.simulator.instruments.oscilloscopes.recording.scope import Scope
from benchctl.simulator.instruments.oscilloscopes.words.words import (
    Words,
    action,
    add_channel_words,
    add_length,
    add_probe_word,
    add_slope,
    add_time_base,
    add_trigger_position,
)


@dataclass(frozen=True)
class FloatSettings:
    """Text."""

    format: str = "ASC"
    order: str = "LSBF"


class FloatWords(Words[FloatSettings]):
    """CHANnel, PROBe, TIMebase, ACQuire, TRIGger, FORMat, RUN, RUNSingle, STOP."""

    def __init__(self, scope: Scope) -> None:
        super().__init__(scope, FloatSettings())

    def add_commands(self, tree: CommandTree) -> None:
        """All of them."""
        scope = self.scope
        channels = f"<1:{scope.description.channels}>"
        node = f"CHANnel{channels}"
        add_channel_words(tree, scope, node, display=f"{node}:STATe")
        add_probe_word(tree, scope, f"PROBe{channels}:SETup:ATTenuation:MANual")
        add_time_base(tree, scope, "TIMebase:SCALe")
        add_trigger_position(tree, scope, "TIMebase:HORizontal:POSition", "middle", sign=-1.0)
        add_length(tree, scope, "ACQuire:POINts")
        self._add_running(tree)
        self._add_trigger(tree)
        self._add_data(tree, node)

    def _add_running(self, tree: CommandTree) -> None:
        scope = self.scope
        tree.add("RUN", set=action(lambda: scope.arm(repeats=True)))
        tree.add("RUNSingle", set=action(scope.arm))
        tree.add("STOP", set=action(scope.acquisition.stop))
        tree.add("ACQuire:STATe", query=lambda _: self._state())

    def _state(self) -> str:
        if self.scope.finished:
            return "COMP"
        return "RUN" if self.scope.acquisition.armed else "STOP"

    def _add_trigger(self, tree: CommandTree) -> None:
        scope = self.scope
        sources = {"EXT": EXTERNAL, **{f"CHAN{number}": number for number in scope.channels}}
        words = {number: word for word, number in sources.items()}
        spelled = ["EXTernal", *(f"CHANnel{number}" for number in scope.channels)]
        tree.add("TRIGger:SOURce", set=lambda call: scope.change_trigger(source=sources[call.values[0]]),
                 query=lambda _: words[scope.acquisition.trigger.source], parameters=[Mnemonic(*spelled)])  # fmt: skip
        tree.add(f"TRIGger:LEVel<1:{scope.description.channels}>", set=self._set_level,
                 query=lambda _: scope.trigger_level_v(), parameters=[Numeric("V")])  # fmt: skip
        add_slope(tree, scope, "TRIGger:EDGE:SLOPe", "POSitive", "NEGative")
        tree.add("TRIGger:MODE", set=lambda call: scope.change_trigger(automatic=call.values[0] == "AUTO"),
                 query=lambda _: "AUTO" if scope.acquisition.trigger.automatic else "NORM",
                 parameters=[Mnemonic("AUTO", "NORMal")])  # fmt: skip
        tree.add("TRIGger:FORCe", set=action(scope.acquisition.force))

    def _set_level(self, call: Call) -> None:
        """Each channel has a level; one that is not the source's changes nothing here."""
        if call.suffixes[0] == self.scope.acquisition.trigger.source:
            self.scope.set_trigger_level(call.values[0])

    def _add_data(self, tree: CommandTree, node: str) -> None:
        tree.add("FORMat[:DATA]", set=self._set_format, query=lambda _: [self.settings.format, self._bits()],
                 parameters=[Mnemonic("ASCii", "REAL"), Numeric("", 0, 32, 0, whole=True, optional=True)])  # fmt: skip
        self.add_setting(tree, "FORMat:BORDer", "order", Mnemonic("LSBFirst", "MSBFirst"))
        tree.add(f"{node}:DATA:HEADer", query=lambda _: self._header())
        tree.add(f"{node}:DATA", query=lambda call: self.scope.data(call.suffixes[0], self._code_format()))

    def _set_format(self, call: Call) -> None:
        self.settings = replace(self.settings, format=call.values[0])

    def _bits(self) -> int:
        return 32 if self.settings.format == "REAL" else 0

    def _header(self) -> Answer:
        timing = self.scope.record().timing
        start_s = -timing.pretrigger_s
        return [start_s, start_s + (timing.samples - 1) * timing.interval_s, timing.samples, 1]

    def _code_format(self) -> CodeFormat:
        is_text = self.settings.format == "ASC"
        return CodeFormat(volts="text" if is_text else "floats", little_end_first=self.settings.order == "LSBF")
