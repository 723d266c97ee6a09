"""A small supply with words from before SCPI: VSET1:14.4, OUT1, one byte of status, units glued to its readings.

It keeps no errors and answers nothing to a word that it does not know. Its protection is set at its panel.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from benchctl.scpi.device.device import Identity
from benchctl.scpi.device.headers import CommandTree
from benchctl.scpi.errors import ScpiError
from benchctl.simulated_identity import SIMULATED_MAKER
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.instrument import FIRMWARE, Now
from benchctl.simulator.instruments.supplies.addressing import check_single
from benchctl.simulator.instruments.supplies.supply import MEASURING_S, Supply
from benchctl.simulator.instruments.text_device import Answer, Refused, TextDevice, TextWords
from benchctl.simulator.model.description import SupplyDescription

VOLTAGE_STEP_V, CURRENT_STEP_A = 0.01, 0.001
"""Resolution of settings and readings, as supplies of this kind have (common practice)."""

CONSTANT_VOLTAGE_BIT, ON_BIT = 0x01, 0x40
"""Of the status byte, as supplies of this kind have them (common practice)."""

_NUMBER = r"([0-9]{1,3}(?:\.[0-9]{1,4})?)"


class _Wordless(Supply):
    """What such a supply does; its protection stays off, as a person left it."""

    def add_commands(self, tree: CommandTree) -> None:
        """None: it speaks no SCPI."""


class OldWordsSupply:
    """One output, number 1."""

    def __init__(self, physical_bench: PhysicalBench, now: Now, description: SupplyDescription) -> None:
        self.supply = _Wordless(physical_bench, now, description)
        check_single(self.supply)
        self._number = min(self.supply.outputs)
        serial = f"SIM{physical_bench.description.bench.seed}"
        identity = Identity(SIMULATED_MAKER, "Small dc supply", serial, FIRMWARE)
        self._reset()
        self.device = TextDevice(identity, self._words(), refresh=self.supply.refresh, reset=self._reset)

    def _reset(self) -> None:
        self.supply.reset()
        self.supply.change(self._number, overvoltage_enabled=False)

    def _words(self) -> TextWords:
        words = TextWords()
        words.add(r"\*IDN\?", lambda: f"{SIMULATED_MAKER} SMALL SUPPLY V1.0")
        words.add(rf"VSET1:{_NUMBER}", _taken(lambda text: self._set("voltage_v", text, VOLTAGE_STEP_V)))
        words.add(rf"ISET1:{_NUMBER}", _taken(lambda text: self._set("limit_a", text, CURRENT_STEP_A)))
        words.add(r"VSET1\?", lambda: f"{self.supply.outputs[self._number].settings.voltage_v:.2f}")
        words.add(r"ISET1\?", lambda: f"{self.supply.outputs[self._number].settings.limit_a:.3f}")
        words.add(r"VOUT1\?", lambda: f"{self.supply.measure_v(self._number):.2f}V")
        words.add(r"IOUT1\?", lambda: f"{self.supply.measure_a(self._number):.3f}A")
        words.add(r"OUT([01])", _taken(lambda text: self.supply.switch(self._number, text == "1")))
        words.add(r"STATUS\?", self._status)
        return words

    def _set(self, name: str, text: str, step: float) -> None:
        self.supply.set_level(self._number, name, float(text), step)

    def _status(self) -> bytes:
        """One byte, not a digit: bits of the mode and of the output."""
        true = self.supply.true(self._number)
        drawn_a = self.supply.physical_bench.supply_means(self._number, MEASURING_S).current_a
        return bytes([ON_BIT * true.live | CONSTANT_VOLTAGE_BIT * (drawn_a < true.limit_a)])


def _taken(act: Callable[[str], Any]) -> Callable[[str], Answer]:
    """A command: what it refuses is not answered."""

    @wraps(act)
    def take(text: str) -> None:
        try:
            act(text)
        except ScpiError as error:
            raise Refused(text) from error

    return take
