"""Benches with other loads: each speaks a form of its own, and is driven by the driver file for it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from benchctl import library

SEED = "  seed: 2150"
INPUTS = "inputs: {by: relay, relays: {A: 111, B: 112}}"
_ELECTRONIC = """  load:
    address: TCPIP::127.0.0.1::15033::SOCKET
    driver: {driver}
    channel: A
    ratings: {{resistance: {{minimum: 1 ohm, maximum: 1 kohm}}, power: 3000 W}}
    accuracy: {{resistance: {{reading: 0.1 %}}}}
    calibrated: 2026-01-15

"""


@dataclass(frozen=True)
class Form:
    """A form that the simulated load speaks, and the shipped driver for it.

    Relays are 1 to 6 there, in the place of 101 to 104, 111 and 112, as small boards count them.
    """

    speaks: str
    driver: str
    kind: Literal["relay bank", "electronic"] = "relay bank"

    @property
    def bench(self) -> str:
        """The bench that it is put into: an electronic load has one input, so that bench has one output."""
        return "workshop" if self.kind == "relay bank" else "heavy_bench"

    @property
    def amplifier(self) -> str:
        """One that this bench is for."""
        return "hx2150" if self.kind == "relay bank" else "lw1200"

    def edits(self, vices: str = "") -> Mapping[str, str]:
        """What makes that bench one with this load; `vices` are further words of its simulation."""
        simulated = f"speaks: {self.speaks}{', ' * bool(vices)}{vices}"
        seed = SEED if self.kind == "relay bank" else "  seed: 1200"
        told = {seed: f"{seed}\n  instruments: {{load: {{{simulated}}}}}"}
        return {**(self._of_bank() if self.kind == "relay bank" else self._of_electronic()), **told}

    def _of_bank(self) -> dict[str, str]:
        relays = {f"relay: {old}": f"relay: {new}" for new, old in enumerate(("101", "102", "103", "104"), start=1)}
        return {
            **relays,
            INPUTS: "inputs: {by: relay, relays: {A: 5, B: 6}}",
            "driver: load/relay_bank": f"driver: {self.driver}",
        }

    def _of_electronic(self) -> dict[str, str]:
        text = library.find("benches", self.bench).read_text(encoding="utf-8")
        start, end = text.index("  load:\n"), text.index("  supply:\n")
        return {text[start:end]: _ELECTRONIC.format(driver=self.driver)}


FORMS = (
    Form("closed_list", "load/closed_list"),
    Form("relay_text", "load/relay_text"),
    Form("relay_letters", "load/relay_letters"),
    Form("bit_mask", "load/bit_mask"),
    Form("scpi99", "load/scpi99", "electronic"),
    Form("three_ranges", "load/three_ranges", "electronic"),
)
