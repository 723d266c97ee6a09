"""Names and values in one list; questions answer the whole list, after a header and with the units glued on."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

from benchctl.scpi.device.headers import Call
from benchctl.scpi.device.parameters import Parameter
from benchctl.scpi.errors import ScpiError
from benchctl.scpi.scanner import Datum, Kind
from benchctl.simulator.instruments.generators.panel import Panel
from benchctl.simulator.instruments.generators.words.adding import Adder


class _Anything(Parameter):
    """A name, a word or a number with any unit behind it."""

    def read(self, datum: Datum) -> str | float:
        if datum.kind not in (Kind.WORD, Kind.NUMBER):
            raise ScpiError(-104, datum.text[:40])
        return datum.text if datum.kind is Kind.WORD else datum.value


Word = str | float
Change = Callable[[Panel, Word], Panel]


class _Key(NamedTuple):
    """One name of a list: how its value changes a panel, and how it is answered; '' leaves it out."""

    change: Change
    answer: Callable[[Panel], str]


def _number(value: Word) -> float:
    if isinstance(value, str):
        raise ScpiError(-104, value[:40])
    return value


def _one_of(value: Word, words: Mapping[str, object]) -> str:
    if not isinstance(value, str) or value not in words:
        raise ScpiError(-224, str(value)[:40])
    return value


_ON: Mapping[str, bool] = {"ON": True, "OFF": False}
_SOURCES: Mapping[str, str] = {"INT": "TIM", "EXT": "EXT", "MAN": "BUS"}


def _on(panel: Panel, value: Word, name: str) -> Panel:
    return replace(panel, **{name: _ON[_one_of(value, _ON)]})  # type: ignore[arg-type]


def _said(on: bool) -> str:
    return "ON" if on else "OFF"


def _source_word(panel: Panel) -> str:
    return next((word for word, source in _SOURCES.items() if source == panel.trigger_source), "INT")


_SHAPES: Mapping[str, str] = {"SINE": "SIN", "SQUARE": "SQU"}


def _shape_word(panel: Panel) -> str:
    return next(word for word, shape in _SHAPES.items() if shape == panel.shape)


_BASIC_WAVE: Mapping[str, _Key] = {
    "WVTP": _Key(lambda p, v: replace(p, shape=_SHAPES[_one_of(v, _SHAPES)]), _shape_word),
    "FRQ": _Key(lambda p, v: replace(p, frequency_hz=_number(v)), lambda p: f"{p.frequency_hz:.10g}HZ"),
    "PERI": _Key(lambda p, v: replace(p, frequency_hz=1 / _number(v)), lambda p: f"{1 / p.frequency_hz:.10g}S"),
    "AMP": _Key(lambda p, v: p.with_shown(_number(v), "VPP"), lambda p: f"{p.open_vpp * p.display_factor:.6g}V"),
    "AMPVRMS": _Key(
        lambda p, v: p.with_shown(_number(v), "VRMS"),
        lambda p: f"{p.open_vpp * p.display_factor / math.sqrt(8):.6g}Vrms",
    ),
    "OFST": _Key(lambda p, v: p.with_shown_offset(_number(v)), lambda p: f"{p.shown_offset_v:.6g}V"),
    "PHSE": _Key(lambda p, v: replace(p, start_phase_deg=_number(v)), lambda p: f"{p.start_phase_deg:g}"),
}
_BURST: Mapping[str, _Key] = {
    "STATE": _Key(lambda p, v: _on(p, v, "burst_on"), lambda p: _said(p.burst_on)),
    "PRD": _Key(lambda p, v: replace(p, every_s=_number(v)), lambda p: f"{p.every_s:.10g}S"),
    "TIME": _Key(lambda p, v: replace(p, cycles=round(_number(v))), lambda p: f"{p.cycles:d}"),
    "STPS": _Key(lambda p, v: replace(p, start_phase_deg=_number(v)), lambda p: f"{p.start_phase_deg:g}"),
    "GATE_NCYC": _Key(lambda p, v: (_one_of(v, {"NCYC": 1}), p)[1], lambda _: "NCYC"),
    "TRSR": _Key(lambda p, v: replace(p, trigger_source=_SOURCES[_one_of(v, _SOURCES)]), _source_word),
}
_MODULATION: Mapping[str, _Key] = {
    "STATE": _Key(lambda p, v: _on(p, v, "modulation_on"), lambda p: _said(p.modulation_on)),
    "DEPTH": _Key(lambda p, v: replace(p, depth=_number(v) / 100), lambda p: f"{100 * p.depth:g}"),
}
_SWEEP: Mapping[str, _Key] = {
    "STATE": _Key(lambda p, v: _on(p, v, "sweep_on"), lambda p: _said(p.sweep_on)),
    "TIME": _Key(lambda p, v: replace(p, sweep_s=_number(v)), lambda p: f"{p.sweep_s:g}S"),
}
_LISTS: Mapping[str, Mapping[str, _Key]] = {
    "BSWV": _BASIC_WAVE,
    "BTWV": _BURST,
    "MDWV": _MODULATION,
    "SWWV": _SWEEP,
}
_HIGH_INPUT = "HZ"


def add_lists(to: Adder) -> None:
    """BSWV, BTWV, MDWV, SWWV and OUTP, each behind the number of its output."""
    for name, keys in _LISTS.items():
        to.tree.add(
            f"{to.node('C')}:{name}",
            set=lambda call, keys=keys: _set(to, call, keys),  # type: ignore[misc]
            query=lambda call, name=name, keys=keys: _answer(to, call, name, keys),  # type: ignore[misc]
            parameters=[_Anything(repeats=True)],
        )
    to.tree.add(
        f"{to.node('C')}:OUTP",
        set=lambda call: _set_output(to, call),
        query=lambda call: _output_answer(to, call),
        parameters=[_Anything(repeats=True)],
    )


def _pairs(values: Sequence[Word]) -> Iterator[tuple[str, Word]]:
    if len(values) % 2:
        raise ScpiError(-109, "a value is missing")
    for name, value in zip(values[::2], values[1::2], strict=True):
        if not isinstance(name, str):
            raise ScpiError(-104, str(name)[:40])
        yield name, value


def _set(to: Adder, call: Call, keys: Mapping[str, _Key]) -> None:
    """The values of a list take effect together, or none does."""
    panel = to.desk.panel(call)
    values = call.values
    if len(values) % 2 and values[0] == "AM":  # what is modulated may be named first
        values = values[1:]
    for name, value in _pairs(values):
        if name not in keys:
            raise ScpiError(-224, name)
        panel = keys[name].change(panel, value)
    to.desk.replace(call, panel.in_steps(to.desk.step_vpp))


def _answer(to: Adder, call: Call, name: str, keys: Mapping[str, _Key]) -> str:
    panel = to.desk.panel(call)
    said = ",".join(f"{key},{of.answer(panel)}" for key, of in keys.items())
    return f"C{call.suffixes[0]}:{name} {said}"


def _set_output(to: Adder, call: Call) -> None:
    values = call.values
    if len(values) % 2:
        to.desk.switch(call, on=_ON[_one_of(values[0], _ON)])
        values = values[1:]
    for name, value in _pairs(values):
        _one_of(name, {"LOAD": 1})
        ohms = math.inf if value == _HIGH_INPUT else _number(value)
        to.desk.change(call, load_ohm=ohms)


def _output_answer(to: Adder, call: Call) -> str:
    panel = to.desk.panel(call)
    load = _HIGH_INPUT if math.isinf(panel.load_ohm) else f"{panel.load_ohm:g}"
    return f"C{call.suffixes[0]}:OUTP {_said(to.desk.is_on(call))},LOAD,{load},PLRT,NOR"
