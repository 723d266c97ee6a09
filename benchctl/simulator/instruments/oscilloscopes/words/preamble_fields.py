"""The oscilloscope's second command set: each field of the preamble is a query of its own.

value = (code - y offset)·y multiplier + y zero; time = n·x increment + x zero. HORizontal:DELay is the time of the
trigger, counted from the first sample.
"""

from __future__ import annotations

from dataclasses import dataclass

from benchctl.scpi.device.headers import Call, CommandTree
from benchctl.scpi.device.parameters import Boolean, Mnemonic, Numeric
from benchctl.scpi.scanner import Datum, Kind
from benchctl.simulator.instruments.oscilloscopes.recording.acquisition import EXTERNAL
from benchctl.simulator.instruments.oscilloscopes.recording.codes import CodeFormat, Scaling
from benchctl.simulator.instruments.oscilloscopes.recording.scope import LONGEST_SPAN_S, Scope
from benchctl.simulator.instruments.oscilloscopes.words.words import (
    Words,
    add_channel_words,
    add_record_words,
    add_trigger_words,
)

# Word of DATa:ENCdg -> signed, least significant end first.
_ENCODINGS = {"RIB": (True, False), "RPB": (False, False), "SRI": (True, True), "SRP": (False, True)}


class _RunOrStop(Boolean):
    """RUN and STOP, as well as ON, OFF and numbers."""

    def read(self, datum: Datum) -> bool:
        if datum.kind is Kind.WORD and datum.text in {"RUN", "STOP"}:
            return datum.text == "RUN"
        return super().read(datum)


@dataclass(frozen=True)
class FieldSettings:
    """Signed bytes of channel 1, one record at a time."""

    encoding: str = "RIB"
    width: int = 1
    source: str = "CH1"
    after: str = "SEQ"


class FieldWords(Words[FieldSettings]):
    """SELect, CH<n>, HORizontal, ACQuire:STATE, TRIGger:A, DATa, WFMOutpre, CURVe."""

    def __init__(self, scope: Scope) -> None:
        super().__init__(scope, FieldSettings())

    def add_commands(self, tree: CommandTree) -> None:
        """All of them."""
        scope = self.scope
        node = f"CH<1:{scope.description.channels}>"
        add_channel_words(tree, scope, node, display=f"SELect:{node}", probe="PRObe", scale="SCAle")
        add_record_words(tree, scope, "HORizontal:SCAle", "HORizontal:RECOrdlength")
        tree.add("HORizontal:DELay", set=lambda call: scope.set_pretrigger(call.values[0]),
                 query=lambda _: scope.acquisition.timing.pretrigger_s,
                 parameters=[Numeric("S", 0.0, LONGEST_SPAN_S, 0.0)])  # fmt: skip
        self._add_acquire(tree)
        self._add_trigger(tree)
        self._add_data(tree)
        self._add_preamble(tree)

    def _add_acquire(self, tree: CommandTree) -> None:
        scope = self.scope
        tree.add("ACQuire:STATE", set=self._set_state, query=lambda _: scope.acquisition.armed,
                 parameters=[_RunOrStop()])  # fmt: skip
        self.add_setting(tree, "ACQuire:STOPAfter", "after", Mnemonic("SEQuence", "RUNSTop"))
        tree.add("ACQuire:FINished", query=lambda _: scope.finished)

    def _add_trigger(self, tree: CommandTree) -> None:
        scope = self.scope
        sources = {"EXT": EXTERNAL, **{f"CH{number}": number for number in scope.channels}}
        add_trigger_words(
            tree, scope, sources, source="TRIGger:A:EDGE:SOUrce", level="TRIGger:A:LEVel", sweep="TRIGger:A:MODe"
        )
        tree.add("TRIGger:A:EDGE:SLOpe", set=lambda call: scope.change_trigger(rising=call.values[0] == "RIS"),
                 query=lambda _: "RIS" if scope.acquisition.trigger.rising else "FALL",
                 parameters=[Mnemonic("RISe", "FALL")])  # fmt: skip

    def _add_data(self, tree: CommandTree) -> None:
        sources = [f"CH{number}" for number in self.scope.channels]
        encodings = Mnemonic("RIBinary", "RPBinary", "SRIbinary", "SRPbinary", "ASCIi")
        self.add_setting(tree, "DATa:SOUrce", "source", Mnemonic(*sources))
        self.add_setting(tree, "DATa:ENCdg", "encoding", encodings)
        self.add_setting(tree, "DATa:WIDth", "width", Numeric("", 1, 2, 1, whole=True))
        tree.add("CURVe", query=lambda _: self.scope.data(self._number, self._code_format()))

    def _add_preamble(self, tree: CommandTree) -> None:
        scope = self.scope
        tree.add("WFMOutpre:NR_Pt", query=lambda _: scope.record().timing.samples)
        tree.add("WFMOutpre:XINcr", query=lambda _: scope.record().timing.interval_s)
        tree.add("WFMOutpre:XZEro", query=lambda _: -scope.record().timing.pretrigger_s)
        tree.add("WFMOutpre:YMUlt", query=lambda _: self._scaling().step_v)
        tree.add("WFMOutpre:YOFf", query=lambda _: float(self._scaling().zero_code))
        tree.add("WFMOutpre:YZEro", query=lambda _: self._scaling().centre_v)

    @property
    def _number(self) -> int:
        return int(self.settings.source.removeprefix("CH"))

    def _scaling(self) -> Scaling:
        return self.scope.scaling(self._number, self._code_format())

    def _code_format(self) -> CodeFormat:
        if self.settings.encoding == "ASCI":
            return CodeFormat(text=True)
        signed, little_end_first = _ENCODINGS[self.settings.encoding]
        return CodeFormat(self.settings.width, signed, little_end_first)

    def _set_state(self, call: Call) -> None:
        if call.values[0]:
            self.scope.arm(repeats=self.settings.after == "RUNST")
        else:
            self.scope.acquisition.stop()
