"""The oscilloscope's first command set: the preamble is one list of ten numbers.

value = (code - y origin - y reference)·y increment; time = (n - x reference)·x increment + x origin. TIMebase:POSition
is where the trigger stands, counted from the reference point of the screen (its left edge after TIMebase:REFerence
LEFT). Codes count from zero: the middle of the screen is the y reference.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchctl.scpi.device.headers import Call, CommandTree
from benchctl.scpi.device.parameters import Mnemonic, Numeric
from benchctl.scpi.errors import ScpiError
from benchctl.simulator.instruments.instrument import action
from benchctl.simulator.instruments.oscilloscopes.recording.acquisition import EXTERNAL
from benchctl.simulator.instruments.oscilloscopes.recording.codes import CodeFormat
from benchctl.simulator.instruments.oscilloscopes.recording.scope import LONGEST_SPAN_S, Scope
from benchctl.simulator.instruments.oscilloscopes.words.words import (
    Words,
    add_channel_words,
    add_record_words,
    add_trigger_words,
)

_REFERENCES = {"LEFT": 0.0, "CENT": 0.5, "RIGH": 1.0}
_FORMATS = {"BYTE": 0, "WORD": 1, "ASC": 2}
_MODES = {"NORM": 0, "MAX": 1, "RAW": 2}


@dataclass(frozen=True)
class ListSettings:
    """Bytes of channel 1, most significant end first, reference in the middle."""

    format: str = "BYTE"
    order: str = "MSBF"
    mode: str = "NORM"
    source: str = "CHAN1"
    reference: str = "CENT"


class ListWords(Words[ListSettings]):
    """CHANnel, TIMebase, ACQuire, TRIGger, WAVeform, and the bare words RUN, STOP, SINGle."""

    def __init__(self, scope: Scope) -> None:
        super().__init__(scope, ListSettings())

    def add_commands(self, tree: CommandTree) -> None:
        """All of them."""
        scope = self.scope
        tree.add("RUN", set=action(lambda: scope.arm(repeats=True)))
        tree.add("SINGle", set=action(scope.arm))
        tree.add("STOP", set=action(scope.acquisition.stop))
        node = f"CHANnel<1:{scope.description.channels}>"
        add_channel_words(tree, scope, node, display=f"{node}:DISPlay", probe="PROBe", scale="SCALe")
        add_record_words(tree, scope, "TIMebase:SCALe", "ACQuire:POINts")
        self._add_timebase(tree)
        self._add_trigger(tree)
        self._add_waveform(tree)

    def _add_timebase(self, tree: CommandTree) -> None:
        scope = self.scope
        tree.add("TIMebase:REFerence", set=self._set_reference, query=lambda _: self.settings.reference,
                 parameters=[Mnemonic("LEFT", "CENTer", "RIGHt")])  # fmt: skip
        tree.add("TIMebase:POSition", set=self._set_position, query=lambda _: self._position(),
                 parameters=[Numeric("S", -LONGEST_SPAN_S, LONGEST_SPAN_S, 0.0)])  # fmt: skip
        tree.add("ACQuire:SRATe", query=lambda _: 1 / scope.acquisition.timing.interval_s)
        tree.add("ACQuire:COMPlete", query=lambda _: scope.finished)

    def _add_trigger(self, tree: CommandTree) -> None:
        scope = self.scope
        sources = {"EXTernal": EXTERNAL, **{f"CHANnel{number}": number for number in scope.channels}}
        add_trigger_words(
            tree, scope, sources, source="TRIGger:EDGE:SOURce", level="TRIGger:EDGE:LEVel", sweep="TRIGger:SWEep"
        )
        tree.add("TRIGger:EDGE:SLOPe", set=lambda call: scope.change_trigger(rising=call.values[0] == "POS"),
                 query=lambda _: "POS" if scope.acquisition.trigger.rising else "NEG",
                 parameters=[Mnemonic("POSitive", "NEGative")])  # fmt: skip
        tree.add("TRIGger:FORCe", set=action(scope.acquisition.force))

    def _add_waveform(self, tree: CommandTree) -> None:
        sources = [f"CHANnel{number}" for number in self.scope.channels]
        choices = {
            "SOURce": ("source", Mnemonic(*sources)),
            "FORMat": ("format", Mnemonic("BYTE", "WORD", "ASCii")),
            "BYTeorder": ("order", Mnemonic("LSBFirst", "MSBFirst")),
            "MODE": ("mode", Mnemonic("NORMal", "MAXimum", "RAW")),
        }
        for word, (name, choice) in choices.items():
            self.add_setting(tree, f"WAVeform:{word}", name, choice)
        tree.add("WAVeform:POINts", query=lambda _: self.scope.record().timing.samples)
        tree.add("WAVeform:PREamble", query=lambda _: self._preamble())
        tree.add("WAVeform:DATA", query=lambda _: self.scope.data(self._number, self._code_format()))

    @property
    def _number(self) -> int:
        return int(self.settings.source.removeprefix("CHAN"))

    def _preamble(self) -> list[float | int]:
        timing = self.scope.record().timing
        scale = self.scope.scaling(self._number, self._code_format())
        # The centre of the screen counts into the origin: code - origin - reference is 0 at 0 V.
        origin = 0.0 - scale.centre_v / scale.step_v
        return [_FORMATS[self.settings.format], _MODES[self.settings.mode], timing.samples, 1,
                timing.interval_s, -timing.pretrigger_s, 0, scale.step_v, origin, scale.zero_code]  # fmt: skip

    def _code_format(self) -> CodeFormat:
        form, order = self.settings.format, self.settings.order
        width = 2 if form == "WORD" else 1
        return CodeFormat(width, signed=False, little_end_first=order == "LSBF", text=form == "ASC")

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
