"""Tables of samples: sent as a block of 16-bit words or as text, played at a rate, again and again."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from benchctl.scpi.device.headers import Call
from benchctl.scpi.device.parameters import Numeric, Parameter
from benchctl.scpi.errors import ScpiError
from benchctl.scpi.scanner import Datum, Kind
from benchctl.simulator.instruments.generators.table import Table
from benchctl.simulator.instruments.generators.words.adding import Adder

HIGHEST_RATE_HZ = 64e6
FULL_SCALE = 32_767
"""A word of this is the peak of the level."""


class Name(Parameter):
    """A name that the user gives."""

    def read(self, datum: Datum) -> str:
        if datum.kind not in (Kind.WORD, Kind.STRING):
            raise ScpiError(-104, datum.text[:40])
        return datum.text.upper()


class Words(Parameter):
    """A block of signed 16-bit words, most significant byte first (IEEE 488.2 7.7.6)."""

    def read(self, datum: Datum) -> NDArray[np.float64]:
        if datum.kind is not Kind.BLOCK:
            raise ScpiError(-104, "a table is a block")
        data = datum.text.encode("latin-1")
        if len(data) % 2:
            raise ScpiError(-161, f"{len(data)} bytes are no whole words")
        return np.frombuffer(data, dtype=">i2") / FULL_SCALE


def add_tables(to: Adder, form: Literal["block", "text"]) -> None:
    """DATA:ARBitrary, FUNCtion:ARBitrary and its sampling rate."""
    desk = to.desk

    def set_table(call: Call) -> None:
        name, *rest = call.values
        samples: Any = rest[0] if form == "block" else np.array(rest)
        panel = desk.panel(call)
        desk.replace(call, replace(panel, tables={**panel.tables, name: Table.of(samples)}))

    def choose(call: Call) -> None:
        if call.values[0] not in desk.panel(call).tables:
            raise ScpiError(-256, f"no table is called {call.values[0]}")
        desk.change(call, table_name=call.values[0])

    samples = Words() if form == "block" else Numeric("", repeats=True)
    to.tree.add(f"{to.source}:DATA:ARBitrary", set=set_table, parameters=[Name(), samples])
    to.tree.add(
        f"{to.source}:DATA:VOLatile:CLEar", set=lambda call: desk.change(call, tables={}, table_name="", shape="SIN")
    )
    arbitrary = f"{to.source}:FUNCtion[:SHAPe]:ARBitrary"
    to.tree.add(arbitrary, set=choose, query=lambda call: f'"{desk.panel(call).table_name}"', parameters=[Name()])
    to.setting(f"{arbitrary}:SRATe", "table_rate_hz", Numeric("HZ", 1e-3, HIGHEST_RATE_HZ, 40e3))
