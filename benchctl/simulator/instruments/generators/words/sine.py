"""Shape, frequency, level, offset and output."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from benchctl.scpi.device.headers import Call
from benchctl.scpi.device.parameters import Boolean, Mnemonic, Numeric
from benchctl.simulator.instruments.generators.desk import LOWEST_FREQUENCY_HZ
from benchctl.simulator.instruments.generators.words.adding import Adder


def add_sine(to: Adder, shapes: Sequence[str] = ("SINusoid", "SQUare")) -> None:
    """FUNCtion, FREQuency, VOLTage and OUTPut."""
    desk, source = to.desk, to.source
    to.setting(f"{source}:FUNCtion[:SHAPe]", "shape", Mnemonic(*shapes))
    frequency = Numeric("HZ", LOWEST_FREQUENCY_HZ, desk.highest_frequency_hz, 1000.0)
    to.setting(f"{source}:FREQuency[:CW]", "frequency_hz", frequency)
    to.tree.add(
        f"{source}:VOLTage[:LEVel][:IMMediate][:AMPLitude]",
        set=lambda call: desk.set_level(call, call.values[0]),
        query=lambda call: desk.panel(call).shown,
        parameters=[Numeric("V")],
    )
    to.tree.add(
        f"{source}:VOLTage[:LEVel][:IMMediate]:OFFSet",
        set=lambda call: desk.replace(call, desk.panel(call).with_shown_offset(call.values[0])),
        query=lambda call: desk.panel(call).shown_offset_v,
        parameters=[Numeric("V")],
    )
    to.tree.add(
        f"{to.node('OUTPut')}[:STATe]",
        set=lambda call: desk.switch(call, on=call.values[0]),
        query=desk.is_on,
        parameters=[Boolean()],
    )


def add_unit(to: Adder, units: Sequence[str] = ("VPP", "VRMS")) -> None:
    """VOLTage:UNIT."""
    to.setting(f"{to.source}:VOLTage:UNIT", "unit", Mnemonic(*units))


def add_load(to: Adder) -> None:
    """OUTPut:LOAD: what the display holds for. The output itself stays as it is."""
    desk = to.desk

    def set_load(call: Call) -> None:
        desk.replace(call, replace(desk.panel(call), load_ohm=float(call.values[0])))

    to.tree.add(
        f"{to.node('OUTPut')}:LOAD",
        set=set_load,
        query=lambda call: desk.panel(call).load_ohm if math.isfinite(desk.panel(call).load_ohm) else math.inf,
        parameters=[Numeric("OHM", 1.0, 10e3, 50.0, infinite=True)],
    )
