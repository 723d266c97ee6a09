"""The forms of remote control that are groups of words, by name."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Literal

from benchctl.documents.bench_file.simulated_instruments import LeftBehind
from benchctl.simulator.instruments.generators.form import Form
from benchctl.simulator.instruments.generators.panel import Panel
from benchctl.simulator.instruments.generators.words.adding import Adder
from benchctl.simulator.instruments.generators.words.bursts import add_bursts
from benchctl.simulator.instruments.generators.words.key_values import add_lists
from benchctl.simulator.instruments.generators.words.modulation import add_modulation, add_sum, add_sweep
from benchctl.simulator.instruments.generators.words.sine import add_load, add_sine, add_unit
from benchctl.simulator.instruments.generators.words.tables import add_tables

BY_ITSELF = ("IMMediate", "TIMer", "BUS", "EXTernal")
BY_TRIGGER = ("BUS", "EXTernal")


def _usual(to: Adder) -> None:
    add_sine(to)
    add_load(to)
    add_modulation(to)
    add_sum(to)
    add_sweep(to)


def _cycles_and_period(to: Adder) -> None:
    _usual(to)
    add_unit(to)
    add_bursts(to, BY_ITSELF)


def _bus_trigger(to: Adder) -> None:
    _usual(to)
    add_unit(to)
    add_bursts(to, BY_TRIGGER)


def _peak_to_peak(to: Adder) -> None:
    _usual(to)
    add_bursts(to, BY_ITSELF)


def _display_into_50_ohm(to: Adder) -> None:
    add_sine(to)
    add_unit(to)
    add_modulation(to)
    add_sum(to)
    add_sweep(to)
    add_bursts(to, BY_ITSELF)


def _table_as_block(to: Adder) -> None:
    _table(to, "block")


def _table_as_text(to: Adder) -> None:
    _table(to, "text")


def _table(to: Adder, form: Literal["block", "text"]) -> None:
    add_sine(to, shapes=("SINusoid", "SQUare", "ARBitrary"))
    add_unit(to)
    add_load(to)
    add_sweep(to)
    add_tables(to, form)


def _keyed(to: Adder) -> None:
    _usual(to)
    add_unit(to)


_HIGH = Panel(trigger_source="IMM")
_INTO_50 = Panel(load_ohm=50.0, open_vpp=0.2)
"""A reset of many generators turns the display to a matched load."""

_OF_TABLES: frozenset[LeftBehind] = frozenset({"offset", "sweep", "load"})

WORD_FORMS: Mapping[str, Form] = {
    "cycles_and_period": Form("Generator of bursts by cycles", _cycles_and_period, _INTO_50),
    "bus_trigger": Form("Generator of bursts by trigger", _bus_trigger, replace(_INTO_50, trigger_source="BUS")),
    "peak_to_peak": Form("Generator with a display in Vpp", _peak_to_peak, _HIGH),
    "display_into_50_ohm": Form("Generator for matched loads", _display_into_50_ohm, _INTO_50),
    "key_value_list": Form("Generator with lists of values", add_lists, replace(_HIGH, trigger_source="TIM"), 2),
    "table_as_block": Form("Generator of tables", _table_as_block, _INTO_50, can_be_left=_OF_TABLES),
    "table_as_text": Form("Generator of tables in text", _table_as_text, _HIGH, can_be_left=_OF_TABLES),
    "keyed_modulation": Form("Generator with keyed amplitude", _keyed, _HIGH, can_be_left=_OF_TABLES | {"modulation"}),
}
