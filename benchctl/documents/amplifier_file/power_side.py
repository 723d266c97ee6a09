"""Imperfections of an amplifier's power side: what its supply and its muting do. Everything is off unless given."""

from __future__ import annotations

from collections.abc import Iterator

from pydantic import Field

from benchctl.documents.model.fields import NotNegativeOhms, PositiveFarads, PositiveSeconds, Volts
from benchctl.documents.model.model_base import Part, PathProblem


class InputCapacitor(Part):
    """A capacitor across the supply terminals of the amplifier, its own or one in the lead."""

    capacitance_f: PositiveFarads = Field(description="its capacitance")
    esr_ohm: NotNegativeOhms = Field(default=0.0, description="its series resistance")


class Thump(Part):
    """A pulse at every output that decays exponentially, when the amplifier unmutes and when it loses its supply."""

    turn_on_v: Volts = Field(default=0.0, description="peak when it unmutes after waking")
    turn_off_v: Volts = Field(default=0.0, description="peak when it falls asleep or its supply fails while it plays")
    time_constant_s: PositiveSeconds = Field(default=0.03, description="time constant with which the pulse decays")

    def problems(self) -> Iterator[PathProblem]:
        if self.turn_on_v == self.turn_off_v == 0.0:
            yield PathProblem((), "give 'turn_on' or 'turn_off', or leave the thump out")
