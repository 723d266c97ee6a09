"""The workshop's bench with other thermometers: each speaks a form of its own, and is driven by the driver for it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

CHANNELS = "channels: {heatsink: 101, ambient: 102, load: 103}"
SEED = "  seed: 2150"


@dataclass(frozen=True)
class Form:
    """A form that the simulated thermometer speaks, the shipped driver for it, its channels, and its usual vices."""

    speaks: str
    channels: str = "{heatsink: 1, ambient: 2, load: 3}"
    usual: str = ""

    @property
    def driver(self) -> str:
        """It has the form's name."""
        return f"thermometer/{self.speaks}"

    @property
    def has_one_sensor(self) -> bool:
        """Whether it reads the heatsink and nothing else."""
        return "," not in self.channels

    def edits(self, vices: str = "") -> Mapping[str, str]:
        """What makes the workshop's bench one with this thermometer; `vices` are further words of its simulation."""
        simulated = ", ".join(filter(None, [f"speaks: {self.speaks}", self.usual, vices]))
        found = {
            CHANNELS: f"channels: {self.channels}",
            "driver: thermometer/scpi99": f"driver: {self.driver}",
            SEED: f"{SEED}\n  instruments: {{thermometer: {{{simulated}}}}}",
        }
        return {**found, "  load: {above: 180 degC}\n": ""} if self.has_one_sensor else found


FORMS = (
    Form("scan_list", "{heatsink: 101, ambient: 102, load: 103}"),
    Form("kelvin_by_letter"),
    Form("degrees_as_text"),
    Form("number_unit_type"),
    Form("always_eight", usual="new_reading_every: 4 s"),
    Form("thermocouple_at_multimeter", "{heatsink: 1}"),
    Form("pt100_at_multimeter", "{heatsink: 1}"),
    Form("millivolts_at_multimeter", "{heatsink: 1}"),
)
