"""The scale in a binary descriptor: settings of a channel under C1, C2, ..., answers with header and unit.

`C1:WF? DESC` answers a block of 346 bytes with numbers at fixed places, `C1:WF? DAT2` the codes, both with a header
that CHDR OFF does not take away. volts = code·gain - offset. TRDL is where the trigger lies, counted from the middle of
the record. MSIZ takes its lengths as 7K, 70K, 700K, 7M. The lowest bit of INR? tells, once, that a record is whole.
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from benchctl.scpi.device.answers import Answer, encode_answer
from benchctl.scpi.device.headers import Call, CommandTree
from benchctl.scpi.device.parameters import Boolean, Mnemonic, Numeric, Parameter
from benchctl.scpi.errors import ScpiError
from benchctl.scpi.scanner import Datum, Kind
from benchctl.simulator.instruments.oscilloscopes.recording.acquisition import EXTERNAL
from benchctl.simulator.instruments.oscilloscopes.recording.codes import CodeFormat
from benchctl.simulator.instruments.oscilloscopes.recording.scope import HORIZONTAL_DIVISIONS, Position, Scope
from benchctl.simulator.instruments.oscilloscopes.words.words import Words, action

DESCRIPTOR_BYTES = 346
# Place of each number in the descriptor, and how it is written there.
_WIDTH, _ORDER, _LENGTH, _POINTS = (32, "h"), (34, "h"), (60, "i"), (116, "i")
_GAIN, _OFFSET, _BITS, _INTERVAL, _START = (156, "f"), (160, "f"), (172, "h"), (176, "f"), (180, "d")
# Blocks have nine digits of length, whatever that is.
_NEW_RECORD = 1
_MULTIPLES = {"": 1, "K": 1000, "M": 1_000_000}


class _Length(Parameter):
    """A number of samples, such as 70K."""

    def read(self, datum: Datum) -> int:
        if datum.kind is not Kind.NUMBER or datum.text.upper() not in _MULTIPLES:
            raise ScpiError(-224, datum.text[:40])
        return round(datum.value * _MULTIPLES[datum.text.upper()])


class _NameOrNumber(Parameter):
    """One place of a list of names and values."""

    def read(self, datum: Datum) -> str | float:
        return datum.value if datum.kind is Kind.NUMBER else datum.text


@dataclass(frozen=True)
class DescriptorSettings:
    """Bytes, the whole record, with headers."""

    header: str = "SHORT"
    format: str = "BYTE"
    order: str = "HI"
    every: int = 1
    count: int = 0
    first: int = 0


class DescriptorWords(Words[DescriptorSettings]):
    """CHDR, C<n>, TDIV, TRDL, MSIZ, TRMD, TRSE, ARM, STOP, INR, SAST, WFSU."""

    def __init__(self, scope: Scope) -> None:
        super().__init__(scope, DescriptorSettings())
        self._told = 0

    def add_commands(self, tree: CommandTree) -> None:
        """All of them."""
        self.add_setting(tree, "CHDR", "header", Mnemonic("OFF", "SHORT", "LONG"))
        self._add_channel(tree, f"C<1:{self.scope.description.channels}>")
        self._add_record(tree)
        self._add_trigger(tree)
        self._add_running(tree)
        self._add_data(tree, f"C<1:{self.scope.description.channels}>")

    def _answer(self, name: str, value: Answer, unit: str = "") -> str:
        """With header and unit, unless these are switched off."""
        text = encode_answer(value).decode("latin-1")
        return text if self.settings.header == "OFF" else f"{name} {text}{unit}"

    def _of_channel(self, name: str, value: Callable[[int], Answer], unit: str = "") -> Callable[[Call], str]:
        return lambda call: self._answer(f"C{call.suffixes[0]}:{name}", value(call.suffixes[0]), unit)

    def _add_channel(self, tree: CommandTree, node: str) -> None:
        scope = self.scope
        tree.add(f"{node}:TRA", set=lambda call: scope.change_channel(call.suffixes[0], displayed=call.values[0]),
                 query=self._of_channel("TRA", lambda number: "ON" if scope.channels[number].displayed else "OFF"),
                 parameters=[Boolean()])  # fmt: skip
        tree.add(f"{node}:VDIV", set=lambda call: scope.set_scale(*call.suffixes, *call.values),
                 query=self._of_channel("VDIV", scope.scale_v, "V"), parameters=[Numeric("V")])  # fmt: skip
        # Its offset lifts the trace: it is what is added to the signal.
        tree.add(f"{node}:OFST", set=lambda call: scope.set_centre(call.suffixes[0], -call.values[0]),
                 query=self._of_channel("OFST", lambda number: 0.0 - scope.centre_v(number), "V"),
                 parameters=[Numeric("V")])  # fmt: skip
        tree.add(f"{node}:ATTN", set=lambda call: scope.set_probe(*call.suffixes, *call.values),
                 query=self._of_channel("ATTN", lambda number: scope.channels[number].attenuation),
                 parameters=[Numeric("", 0.001, 10_000, 1)])  # fmt: skip
        tree.add(f"{node}:CPL", set=lambda _: None, query=self._of_channel("CPL", lambda _: "D1M"),
                 parameters=[Mnemonic("D1M")])  # fmt: skip
        tree.add(f"{node}:TRLV", set=self._set_level, query=self._of_channel("TRLV", lambda _: self._level_v(), "V"),
                 parameters=[Numeric("V")])  # fmt: skip
        tree.add(f"{node}:TRSL", set=lambda call: scope.change_trigger(rising=call.values[0] == "POS"),
                 query=self._of_channel("TRSL", lambda _: "POS" if scope.acquisition.trigger.rising else "NEG"),
                 parameters=[Mnemonic("POS", "NEG")])  # fmt: skip

    def _level_v(self) -> float:
        return self.scope.trigger_level_v()

    def _set_level(self, call: Call) -> None:
        if call.suffixes[0] == self.scope.acquisition.trigger.source:
            self.scope.set_trigger_level(call.values[0])

    def _add_record(self, tree: CommandTree) -> None:
        scope = self.scope
        tree.add("TDIV", set=lambda call: scope.set_span(call.values[0] * HORIZONTAL_DIVISIONS),
                 query=lambda _: self._answer("TDIV", scope.acquisition.timing.span_s / HORIZONTAL_DIVISIONS, "S"),
                 parameters=[Numeric("S", 1e-9, 100.0, 1e-3)])  # fmt: skip
        tree.add("TRDL", set=lambda call: scope.place_trigger(Position("middle", call.values[0])),
                 query=lambda _: self._answer("TRDL", scope.position.value, "S"),
                 parameters=[Numeric("S")])  # fmt: skip
        tree.add("MSIZ", set=lambda call: scope.set_samples(call.values[0]),
                 query=lambda _: self._answer("MSIZ", _as_length(scope.acquisition.timing.samples)),
                 parameters=[_Length()])  # fmt: skip

    def _add_trigger(self, tree: CommandTree) -> None:
        tree.add("TRMD", set=self._set_mode, query=lambda _: self._answer("TRMD", self._mode()),
                 parameters=[Mnemonic("AUTO", "NORM", "SINGLE", "STOP")])  # fmt: skip
        tree.add("TRSE", set=self._set_select, parameters=[_NameOrNumber(repeats=True)])
        tree.add("FRTR", set=action(self.scope.acquisition.force))

    def _mode(self) -> str:
        if not self.scope.acquisition.armed:
            return "STOP"
        return "AUTO" if self.scope.acquisition.trigger.automatic else "SINGLE"

    def _set_mode(self, call: Call) -> None:
        mode = call.values[0]
        if mode == "STOP":
            self.scope.acquisition.stop()
            return
        self.scope.change_trigger(automatic=mode == "AUTO")
        self.scope.arm(repeats=mode != "SINGLE")

    def _set_select(self, call: Call) -> None:
        """EDGE,SR,C1,HT,OFF: the kind, then names and values."""
        kind, *pairs = call.values
        named = dict(zip(pairs[::2], pairs[1::2], strict=False))
        source = str(named.get("SR", ""))
        known = {"EX": EXTERNAL, **{f"C{number}": number for number in self.scope.channels}}
        if kind != "EDGE" or source not in known:
            raise ScpiError(-224, ",".join(map(str, call.values))[:40])
        self.scope.change_trigger(source=known[source])

    def _add_running(self, tree: CommandTree) -> None:
        tree.add("ARM", set=action(self.scope.arm))
        tree.add("STOP", set=action(self.scope.acquisition.stop))
        tree.add("INR", query=lambda _: self._answer("INR", self._news()))
        tree.add("SAST", query=lambda _: self._answer("SAST", "Armed" if self.scope.acquisition.armed else "Stop"))

    def _news(self) -> int:
        """Bit 0: a record became whole since this was last asked."""
        record = self.scope.acquisition.record
        is_new = record is not None and record.number != self._told
        if record is not None:
            self._told = record.number
        return _NEW_RECORD if is_new else 0

    def _add_data(self, tree: CommandTree, node: str) -> None:
        tree.add("CFMT", set=self._set_format, parameters=[Mnemonic("DEF9"), Mnemonic("BYTE", "WORD"),
                                                           Mnemonic("BIN")])  # fmt: skip
        self.add_setting(tree, "CORD", "order", Mnemonic("HI", "LO"))
        tree.add("WFSU", set=self._set_part, parameters=[_NameOrNumber(repeats=True)])
        tree.add(f"{node}:WF", query=self._waveform, query_parameters=[Mnemonic("DESC", "DAT2")])

    def _set_format(self, call: Call) -> None:
        self.settings = replace(self.settings, format=call.values[1])

    def _set_part(self, call: Call) -> None:
        """SP: every which sample; NP: how many, 0 for all; FP: the first, from 0."""
        names = {"SP": "every", "NP": "count", "FP": "first"}
        changed: dict[str, Any] = {}
        for name, value in zip(call.values[::2], call.values[1::2], strict=False):
            if name not in names:
                raise ScpiError(-224, str(name))
            changed[names[name]] = max(int(value), 1 if name == "SP" else 0)
        self.settings = replace(self.settings, **changed)

    def _part(self) -> slice:
        asked = self.settings
        return slice(asked.first, asked.first + asked.count * asked.every if asked.count else None, asked.every)

    def _waveform(self, call: Call) -> str:
        number, what = call.suffixes[0], call.values[0]
        data = (
            self._descriptor(number) if what == "DESC" else self.scope.data(number, self._code_format(), self._part())
        )
        assert isinstance(data, bytes)
        block = b"#9%09d" % len(data) + data
        name = "" if self.settings.header == "OFF" else f"C{number}:WF "
        return f"{name}{what},{block.decode('latin-1')}"

    def _codes(self, number: int) -> bytes:
        data = self.scope.data(number, self._code_format(), self._part())
        assert isinstance(data, bytes)
        return data

    def _code_format(self) -> CodeFormat:
        return CodeFormat(
            width=2 if self.settings.format == "WORD" else 1,
            signed=True,
            little_end_first=self.settings.order == "LO",
            from_above=True,
        )

    def _descriptor(self, number: int) -> bytes:
        form, timing = self._code_format(), self.scope.record().timing
        scale = self.scope.scaling(number, form)
        order = "<" if form.little_end_first else ">"
        found = bytearray(DESCRIPTOR_BYTES)
        found[:16] = b"DESCRIPTOR".ljust(16, b"\0")
        numbers: list[tuple[tuple[int, str], float]] = [
            (_WIDTH, form.width - 1),
            (_ORDER, 1 if form.little_end_first else 0),
            (_LENGTH, timing.samples * form.width),
            (_POINTS, timing.samples),
            (_GAIN, scale.step_v),
            (_OFFSET, -scale.centre_v),
            (_BITS, self.scope.description.bits),
            (_INTERVAL, timing.interval_s),
            (_START, -timing.pretrigger_s),
        ]
        for (place, kind), value in numbers:
            struct.pack_into(f"{order}{kind}", found, place, int(value) if kind in "hi" else value)
        return bytes(found)


def _as_length(samples: int) -> str:
    for letter in ("M", "K"):
        if samples >= _MULTIPLES[letter]:
            return f"{samples / _MULTIPLES[letter]:g}{letter}"
    return str(samples)
