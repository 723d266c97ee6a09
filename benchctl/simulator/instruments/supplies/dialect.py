"""What a supply of the many that speak SCPI in words of their own understands, and how it answers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from benchctl.simulator.instruments.supplies.addressing import Addressing, ByList


@dataclass(frozen=True)
class Protection:
    """A protection of the supply's own: its resolution, and whether its level can be asked for."""

    step: float = 1e-3
    read_back: bool = True


@dataclass(frozen=True)
class Dialect:
    """One way to speak.

    Attributes:
        addressing: how its words name an output.
        levels: whether voltage and current limit have a word each, or APPLy sets both.
        measures: whether voltage and current are asked for one by one, or MEASure:ALL answers both and the power.
        overvoltage, overcurrent: its protections, where it has them.
        trips: how it says that a protection has tripped: a question each, bits of STATus:QUEStionable, or not at all.
            Where it does not say so, switching the output off clears a trip.
        delay_s: how long an over-current is borne after *RST, where CURRent:PROTection:DELay may change that.
        sense: whether remote sense is switched by VOLTage:SENSe.
        switch: the header that switches an output.
        on, off: what its question answers.
        standby: whether the header means off: 1 is off, and 0 is on.
        voltage_step_v, current_step_a: of settings and read-backs.
        compound: whether `;` parts messages.
    """

    addressing: type[Addressing] = ByList
    levels: Literal["each", "both"] = "each"
    measures: Literal["each", "all"] = "each"
    overvoltage: Protection | None = Protection()
    overcurrent: Protection | None = Protection()
    trips: Literal["questions", "register", "unseen"] = "questions"
    delay_s: float | None = None
    sense: bool = False
    switch: str = "OUTPut[:STATe]"
    on: str = "1"
    off: str = "0"
    standby: bool = False
    voltage_step_v: float = 1e-3
    current_step_a: float = 1e-3
    compound: bool = True
