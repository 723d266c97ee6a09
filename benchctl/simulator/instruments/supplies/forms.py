"""The forms of remote control that simulated supplies speak, by name."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.instrument import Now
from benchctl.simulator.instruments.simulated import SimulatedInstrument
from benchctl.simulator.instruments.supplies.addressing import ByList, ByWord, Chosen, Single
from benchctl.simulator.instruments.supplies.dialect import Dialect, Protection
from benchctl.simulator.instruments.supplies.dialect_supply import speaking
from benchctl.simulator.instruments.supplies.old_words import OldWordsSupply
from benchctl.simulator.instruments.supplies.scpi99 import Scpi99Supply
from benchctl.simulator.model.description import SupplyDescription

Make = Callable[[PhysicalBench, Now, SupplyDescription], SimulatedInstrument]

COARSE_V, COARSE_A = 0.01, 0.01
"""Resolution of many supplies with a display of four digits (common practice)."""

DIALECTS: Mapping[str, Dialect] = {
    # How the output is named
    "channel_list": Dialect(ByList),
    "channel_word": Dialect(ByWord, on="ON", off="OFF"),
    "chosen_by_word": Dialect(Chosen),
    "one_output": Dialect(Single),
    # How levels are set and values are read
    "apply": Dialect(ByWord, levels="both", on="ON", off="OFF"),
    "two_questions": Dialect(Single, compound=False),
    "everything_at_once": Dialect(ByWord, measures="all", on="ON", off="OFF"),
    "coarse": Dialect(Single, voltage_step_v=COARSE_V, current_step_a=COARSE_A),
    # What protects the output
    "protection_unread": Dialect(ByList, overvoltage=Protection(read_back=False), overcurrent=None, trips="register"),
    "protection_in_steps": Dialect(ByList, overvoltage=Protection(0.5), overcurrent=Protection(0.5), trips="register"),
    "limit_only": Dialect(Single, overvoltage=None, overcurrent=None),
    "trip_in_register": Dialect(ByList, trips="register"),
    "trip_unseen": Dialect(ByWord, trips="unseen", on="ON", off="OFF"),
    "protection_delay": Dialect(ByList, delay_s=0.0),
    # The rest
    "remote_sense": Dialect(ByList, sense=True),
    "zero_is_on": Dialect(ByList, switch="OUTPut:STANdby", on="0", off="1", standby=True),
}
"""Those that speak SCPI in words of their own."""

FORMS: Mapping[str, Make] = {
    "scpi99": Scpi99Supply,
    **{name: speaking(dialect) for name, dialect in DIALECTS.items()},
    "old_words": OldWordsSupply,
}
