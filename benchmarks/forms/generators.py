"""The workshop's bench with other generators: each speaks a form of its own, and has the driver file for it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

DRIVER = "driver: generator/scpi99"
SEED = "  seed: 2150"


@dataclass(frozen=True)
class Form:
    """A form that the simulated generator speaks, and the shipped driver of the same name."""

    speaks: str

    @property
    def driver(self) -> str:
        """The driver's name."""
        return f"generator/{self.speaks}"

    def edits(self, vices: str = "") -> Mapping[str, str]:
        """What makes the workshop's bench one with this generator; `vices` are further words of its simulation."""
        simulated = f"speaks: {self.speaks}{', ' * bool(vices)}{vices}"
        return {DRIVER: f"driver: {self.driver}", SEED: f"{SEED}\n  instruments: {{generator: {{{simulated}}}}}"}


# Without keyed_modulation: its bursts begin anywhere in a cycle, so the single cycle of `quick_check` is refused.
FORMS = tuple(
    Form(speaks)
    for speaks in (
        "cycles_and_period",
        "bus_trigger",
        "peak_to_peak",
        "display_into_50_ohm",
        "key_value_list",
        "table_as_block",
        "table_as_text",
    )
)
