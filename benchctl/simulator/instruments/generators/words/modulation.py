"""Amplitude modulation and the sweep, which a last user may have left on, and the sum of two sines."""

from __future__ import annotations

from dataclasses import replace

from benchctl.scpi.device.headers import Call
from benchctl.scpi.device.parameters import Boolean, Mnemonic, Numeric
from benchctl.simulator.instruments.generators.desk import LOWEST_FREQUENCY_HZ
from benchctl.simulator.instruments.generators.words.adding import Adder


def add_modulation(to: Adder) -> None:
    """AM with an internal sine or square wave; depth and duty cycle are per cent."""
    am = f"{to.source}:AM"
    to.setting(f"{am}:STATe", "modulation_on", Boolean())
    to.tree.add(f"{am}:SOURce", set=lambda _: None, query=lambda _: "INT", parameters=[Mnemonic("INTernal")])
    to.setting(f"{am}:INTernal:FUNCtion", "modulation_shape", Mnemonic("SINusoid", "SQUare"))
    to.setting(f"{am}:INTernal:FREQuency", "modulation_hz", Numeric("HZ", LOWEST_FREQUENCY_HZ, 50e3, 100.0))
    to.setting(f"{am}:INTernal:DCYCle", "duty", Numeric("", 0.01, 99.99, 50.0), times=100.0)
    to.setting(f"{am}:DEPTh", "depth", Numeric("", 0.0, 120.0, 100.0), times=100.0)


def add_sum(to: Adder) -> None:
    """SUM: a second sine is added to the tone; its amplitude is per cent of the tone's."""
    added = f"{to.source}:SUM"
    desk = to.desk
    to.setting(f"{added}:STATe", "sum_on", Boolean())
    to.tree.add(f"{added}:SOURce", set=lambda _: None, query=lambda _: "INT", parameters=[Mnemonic("INTernal")])
    to.tree.add(
        f"{added}:INTernal:FUNCtion", set=lambda _: None, query=lambda _: "SIN", parameters=[Mnemonic("SINusoid")]
    )
    frequency = Numeric("HZ", LOWEST_FREQUENCY_HZ, desk.highest_frequency_hz, 100.0)
    to.setting(f"{added}:INTernal:FREQuency", "sum_hz", frequency)
    to.setting(f"{added}:AMPLitude", "sum_part", Numeric("", 0.0, 100.0, 10.0), times=100.0)


def add_sweep(to: Adder) -> None:
    """SWEep and the frequencies between which it runs."""
    desk = to.desk
    to.setting(f"{to.source}:SWEep:STATe", "sweep_on", Boolean())
    to.setting(f"{to.source}:SWEep:TIME", "sweep_s", Numeric("S", 1e-3, 3600.0, 1.0))

    def set_end(call: Call, end: int) -> None:
        panel = desk.panel(call)
        first, last = panel.sweep_hz
        sweep_hz = (first, call.values[0]) if end else (call.values[0], last)
        desk.replace(call, replace(panel, sweep_hz=sweep_hz))

    for end, name in enumerate(("STARt", "STOP")):
        to.tree.add(
            f"{to.source}:FREQuency:{name}",
            set=lambda call, end=end: set_end(call, end),  # type: ignore[misc]
            query=lambda call, end=end: desk.panel(call).sweep_hz[end],  # type: ignore[misc]
            parameters=[Numeric("HZ", LOWEST_FREQUENCY_HZ, desk.highest_frequency_hz)],
        )
