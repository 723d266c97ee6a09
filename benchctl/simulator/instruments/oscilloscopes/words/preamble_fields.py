"""The oscilloscope's second command set: each field of the preamble is a query of its own.

value = (code - y offset)·y multiplier + y zero; time = n·x increment + x zero. HORizontal:DELay is the time of the
trigger, counted from the first sample; HORizontal:POSition says the same in per cent of the record.
"""

from __future__ import annotations

from dataclasses import dataclass

from benchctl.scpi.device.headers import Call, CommandTree
from benchctl.scpi.device.parameters import Boolean, Mnemonic, Numeric
from benchctl.scpi.errors import ScpiError
from benchctl.scpi.scanner import Datum, Kind
from benchctl.simulator.instruments.oscilloscopes.recording.acquisition import EXTERNAL
from benchctl.simulator.instruments.oscilloscopes.recording.codes import CodeFormat, Scaling
from benchctl.simulator.instruments.oscilloscopes.recording.scope import Scope
from benchctl.simulator.instruments.oscilloscopes.words.headed import Headed
from benchctl.simulator.instruments.oscilloscopes.words.words import (
    Words,
    action,
    add_channel_words,
    add_length,
    add_probe_word,
    add_slope,
    add_time_base,
    add_trigger_position,
    add_trigger_words,
)

# Word of DATa:ENCdg -> signed, least significant end first.
_ENCODINGS = {"RIB": (True, False), "RPB": (False, False), "SRI": (True, True), "SRP": (False, True)}
_BYTE_BITS = 8


class _RunOrStop(Boolean):
    """RUN and STOP, as well as ON, OFF and numbers."""

    def read(self, datum: Datum) -> bool:
        if datum.kind is Kind.WORD and datum.text in {"RUN", "STOP"}:
            return datum.text == "RUN"
        return super().read(datum)


@dataclass(frozen=True)
class Manner:
    """What differs from model to model."""

    headed: bool = False
    """answers begin with their header after *RST, until HEADer OFF"""
    gain: bool = False
    """the probe is told as gain, PRObe:GAIN 0.05, and not as ratio"""
    tells_finished: bool = True
    """ACQuire:FINished exists; else only ACQuire:STATE, 1 while a record is under way"""
    per_cent: bool = False
    """HORizontal:POSition in per cent, and no HORizontal:DELay"""
    in_part: bool = False
    """DATa:STARt and DATa:STOP say which samples are sent, at first 1 to 2500"""
    forces: bool = True
    """TRIGger:FORCe exists"""
    chooses_code: bool = True
    """DATa:ENCdg and DATa:WIDth exist; else codes are signed, their high byte first, and as wide as the converter"""


@dataclass(frozen=True)
class FieldSettings:
    """Signed bytes of channel 1, one record at a time."""

    encoding: str = "RIB"
    width: int = 1
    source: str = "CH1"
    after: str = "SEQ"
    header: bool = True
    first: int = 1
    last: int = 2500


class FieldWords(Words[FieldSettings]):
    """SELect, CH<n>, HORizontal, ACQuire:STATE, TRIGger:A, DATa, WFMOutpre, CURVe."""

    def __init__(self, scope: Scope, manner: Manner | None = None) -> None:
        super().__init__(scope, FieldSettings())
        self._manner = manner or Manner()

    def add_commands(self, tree: CommandTree) -> None:
        """All of them."""
        if self._manner.headed:
            tree = Headed(tree, lambda: self.settings.header)
            self.add_setting(tree, "HEADer", "header", Boolean())
        scope, node = self.scope, f"CH<1:{self.scope.description.channels}>"
        add_channel_words(tree, scope, node, display=f"SELect:{node}", scale="SCAle")
        add_probe_word(tree, scope, f"{node}:PRObe{':GAIN' if self._manner.gain else ''}", is_gain=self._manner.gain)
        add_time_base(tree, scope, "HORizontal:SCAle")
        add_length(tree, scope, "HORizontal:RECOrdlength")
        self._add_position(tree)
        self._add_acquire(tree)
        self._add_trigger(tree)
        self._add_data(tree)
        self._add_preamble(tree)

    def _add_position(self, tree: CommandTree) -> None:
        if self._manner.per_cent:
            add_trigger_position(tree, self.scope, "HORizontal:POSition", "per cent")
        else:
            add_trigger_position(tree, self.scope, "HORizontal:DELay", "left")

    def _add_acquire(self, tree: CommandTree) -> None:
        scope = self.scope
        tree.add("ACQuire:STATE", set=self._set_state, query=lambda _: scope.acquisition.armed,
                 parameters=[_RunOrStop()])  # fmt: skip
        self.add_setting(tree, "ACQuire:STOPAfter", "after", Mnemonic("SEQuence", "RUNSTop"))
        if self._manner.tells_finished:
            tree.add("ACQuire:FINished", query=lambda _: scope.finished)

    def _add_trigger(self, tree: CommandTree) -> None:
        scope = self.scope
        sources = {"EXT": EXTERNAL, **{f"CH{number}": number for number in scope.channels}}
        add_trigger_words(
            tree, scope, sources, source="TRIGger:A:EDGE:SOUrce", level="TRIGger:A:LEVel", sweep="TRIGger:A:MODe"
        )
        add_slope(tree, scope, "TRIGger:A:EDGE:SLOpe", "RISe", "FALL")
        if self._manner.forces:
            tree.add("TRIGger:FORCe", set=action(scope.acquisition.force))

    def _add_data(self, tree: CommandTree) -> None:
        sources = [f"CH{number}" for number in self.scope.channels]
        self.add_setting(tree, "DATa:SOUrce", "source", Mnemonic(*sources))
        if self._manner.chooses_code:
            encodings = Mnemonic("RIBinary", "RPBinary", "SRIbinary", "SRPbinary", "ASCIi")
            self.add_setting(tree, "DATa:ENCdg", "encoding", encodings)
            self.add_setting(tree, "DATa:WIDth", "width", Numeric("", 1, 2, 1, whole=True))
        if self._manner.in_part:
            numbers = Numeric("", 1, self.scope.description.memory, 1, whole=True)
            self.add_setting(tree, "DATa:STARt", "first", numbers)
            self.add_setting(tree, "DATa:STOP", "last", numbers)
        tree.add("CURVe", query=lambda _: self.scope.data(self._number, self._code_format(), self._part()))

    def _add_preamble(self, tree: CommandTree) -> None:
        scope = self.scope
        tree.add("WFMOutpre:NR_Pt", query=lambda _: scope.record().timing.samples)
        tree.add("WFMOutpre:XINcr", query=lambda _: scope.record().timing.interval_s)
        tree.add("WFMOutpre:XZEro", query=lambda _: -scope.record().timing.pretrigger_s)
        tree.add("WFMOutpre:YMUlt", query=lambda _: self._scaling().step_v)
        tree.add("WFMOutpre:YOFf", query=lambda _: float(self._scaling().zero_code))
        tree.add("WFMOutpre:YZEro", query=lambda _: self._scaling().centre_v)
        tree.add("WFMOutpre:BYT_Nr", query=lambda _: self._code_format().width)
        tree.add("WFMOutpre:BYT_Or", query=lambda _: "LSB" if self._code_format().little_end_first else "MSB")

    @property
    def _number(self) -> int:
        return int(self.settings.source.removeprefix("CH"))

    def _scaling(self) -> Scaling:
        return self.scope.scaling(self._number, self._code_format())

    def _part(self) -> slice | None:
        """Samples beyond the record's end are left out without an error."""
        if not self._manner.in_part:
            return None
        if self.settings.first > self.settings.last:
            raise ScpiError(-221, "the first sample lies behind the last")
        return slice(self.settings.first - 1, self.settings.last)

    def _code_format(self) -> CodeFormat:
        if not self._manner.chooses_code:
            return CodeFormat(1 if self.scope.description.bits <= _BYTE_BITS else 2, signed=True)
        if self.settings.encoding == "ASCI":
            return CodeFormat(volts="text")
        signed, little_end_first = _ENCODINGS[self.settings.encoding]
        return CodeFormat(self.settings.width, signed, little_end_first)

    def _set_state(self, call: Call) -> None:
        if call.values[0]:
            self.scope.arm(repeats=self.settings.after == "RUNST")
        else:
            self.scope.acquisition.stop()
