"""The workshop's bench with other oscilloscopes, of 8 bits and 3 %: each speaks a form of its own, and is driven by the
driver file for it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

DRIVER = "driver: oscilloscope/preamble_list"
RATINGS = "ratings: {bits: 12, memory: 1000000, sample_rate: 50 MSa/s, input: 300 V}"
ACCURACY = "voltage: {reading: 0.5 %, range: 0.1 %}"
SEED = "  seed: 2150"


@dataclass(frozen=True)
class Form:
    """A form that the simulated oscilloscope speaks, and a driver file for it, shipped or not."""

    speaks: str
    driver: str
    bits: int = 8

    def edits(self, vices: str = "") -> Mapping[str, str]:
        """What makes the workshop's bench one with this oscilloscope; `vices` are further words of its simulation."""
        simulated = f"speaks: {self.speaks}{', ' * bool(vices)}{vices}"
        return {
            DRIVER: f"driver: {self.driver}",
            # A length of the commonest tables, so that a record by itself is not the longest there is.
            RATINGS: f"ratings: {{bits: {self.bits}, memory: 120000, sample_rate: 50 MSa/s, input: 300 V}}",
            ACCURACY: "voltage: {reading: 3 %, range: 1 %}",
            SEED: f"{SEED}\n  instruments: {{oscilloscope: {{{simulated}}}}}",
        }


FORMS = (
    Form("preambles", "oscilloscope/preamble_list"),
    Form("preambles", "oscilloscope/preamble_fields"),
    *(
        Form(speaks, f"oscilloscope/{speaks}")
        for speaks in (
            "bytes_in_chunks",
            "high_byte_first",
            "byte_order_asked",
            "waits_for_opc",
            "low_byte_zero",
            "floats",
            "source_in_question",
            "binary_descriptor",
        )
    ),
)
