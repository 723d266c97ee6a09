"""The record by WAVeform: a preamble of ten numbers, and the codes, whole or in pieces.

value = (code - y origin - y reference)·y increment; time = (n - x reference)·x increment + x origin. Codes count from
zero: the middle of the screen is the y reference.
"""

from __future__ import annotations

from dataclasses import dataclass

from benchctl.scpi.device.headers import Call, CommandTree
from benchctl.scpi.device.parameters import Mnemonic, Numeric
from benchctl.scpi.errors import ScpiError
from benchctl.simulator.instruments.oscilloscopes.recording.codes import CodeFormat
from benchctl.simulator.instruments.oscilloscopes.recording.scope import Scope
from benchctl.simulator.instruments.oscilloscopes.words.words import Words

_FORMATS = {"BYTE": 0, "WORD": 1, "ASC": 2}
_MODES = {"NORM": 0, "MAX": 1, "RAW": 2}
_BYTE_BITS = 8


@dataclass(frozen=True)
class Transfer:
    """How one model sends its records."""

    chunk: int | None = None
    """the most samples of one answer; None: a record is sent whole"""
    source_in_question: bool = False
    """`WAVeform:DATA? CHANnel1`; there is no command that chooses"""
    width_by_depth: bool = False
    """a converter of 8 bits sends bytes, whatever is asked for"""
    from_above: bool = False
    """codes fill a word from its upper end, so that its low byte may always be 0"""


@dataclass(frozen=True)
class WaveformSettings:
    """Bytes of channel 1, most significant end first."""

    format: str = "BYTE"
    order: str = "MSBF"
    mode: str = "NORM"
    source: str = "CHAN1"
    first: int = 1
    last: int = 1000


class WaveformWords(Words[WaveformSettings]):
    """WAVeform."""

    def __init__(self, scope: Scope, transfer: Transfer | None = None) -> None:
        super().__init__(scope, WaveformSettings())
        self._transfer = transfer or Transfer()

    def add_commands(self, tree: CommandTree) -> None:
        """All of them."""
        self.add_setting(tree, "WAVeform:FORMat", "format", Mnemonic("BYTE", "WORD", "ASCii"))
        self.add_setting(tree, "WAVeform:BYTeorder", "order", Mnemonic("LSBFirst", "MSBFirst"))
        self.add_setting(tree, "WAVeform:MODE", "mode", Mnemonic("NORMal", "MAXimum", "RAW"))
        if self._transfer.chunk:
            numbers = Numeric("", 1, self.scope.description.memory, 1, whole=True)
            self.add_setting(tree, "WAVeform:STARt", "first", numbers)
            self.add_setting(tree, "WAVeform:STOP", "last", numbers)
        tree.add("WAVeform:POINts", query=lambda _: self.scope.record().timing.samples)
        sources = Mnemonic(*(f"CHANnel{number}" for number in self.scope.channels))
        of_source = [sources] if self._transfer.source_in_question else []
        tree.add("WAVeform:PREamble", query=self._preamble, query_parameters=of_source)
        tree.add("WAVeform:DATA", query=self._data, query_parameters=of_source)
        if not of_source:
            self.add_setting(tree, "WAVeform:SOURce", "source", sources)

    def _number(self, call: Call) -> int:
        source: str = call.values[0] if call.values else self.settings.source
        return int(source.removeprefix("CHAN"))

    def _preamble(self, call: Call) -> list[float | int]:
        timing = self.scope.record().timing
        scale = self.scope.scaling(self._number(call), self._code_format())
        # The centre of the screen counts into the origin: code - origin - reference is 0 at 0 V.
        origin = 0.0 - scale.centre_v / scale.step_v
        return [_FORMATS[self.settings.format], _MODES[self.settings.mode], timing.samples, 1,
                timing.interval_s, -timing.pretrigger_s, 0, scale.step_v, origin, scale.zero_code]  # fmt: skip

    def _data(self, call: Call) -> bytes | str:
        return self.scope.data(self._number(call), self._code_format(), self._part())

    def _part(self) -> slice | None:
        if self._transfer.chunk is None:
            return None
        first, last = self.settings.first, self.settings.last
        if not first <= last <= self.scope.record().timing.samples:
            raise ScpiError(-222, f"no samples {first} to {last}")
        if last - first >= self._transfer.chunk:
            raise ScpiError(-222, f"more than {self._transfer.chunk} samples at once")
        return slice(first - 1, last)

    def _code_format(self) -> CodeFormat:
        form, order = self.settings.format, self.settings.order
        is_narrow = self._transfer.width_by_depth and self.scope.description.bits <= _BYTE_BITS
        return CodeFormat(
            width=2 if form == "WORD" and not is_narrow else 1,
            little_end_first=order == "LSBF",
            volts="text" if form == "ASC" else "",
            from_above=self._transfer.from_above,
        )
