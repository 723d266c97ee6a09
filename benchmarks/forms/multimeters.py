"""The workshop's bench with a multimeter besides: each form with each shipped driver for it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

SEED = "  seed: 2150"
SIGNALS = "signals:      "
_ENTRY = """  multimeter:
    address: TCPIP::127.0.0.1::15026::SOCKET
    driver: {driver}
    points:
{points}    accuracy:
      dc_voltage: {{reading: 0.05 %, range: 0.02 %}}
      ac_voltage: {{reading: 0.5 %, range: 0.1 %}}
      resistance: {{reading: 0.2 %, range: 0.02 %}}
      temperature: {{fixed: 1.5 K}}
    calibrated: 2026-03-02

"""
VOLTS: Mapping[str, str] = {
    "bias A": "measures: dc voltage, range: 100 mV",
    "rail plus": "measures: dc voltage, range: 100 V",
    "rail minus": "measures: dc voltage, range: 100 V",
    "mains": "measures: ac voltage, range: 1 kV",
}
POINTS: Mapping[str, str] = {**VOLTS, "output stage": "measures: temperature"}
_TRUE = """  points:
    bias A: {bias_of: A, across: 0.33 ohm}
    rail plus: {rail: plus}
    rail minus: {rail: minus}
    mains: {ac: 230 V}
    output stage: {sensor: heatsink}
"""


@dataclass(frozen=True)
class Form:
    """A form that the simulated multimeter speaks, a shipped driver for it, its points, whether it has a scanner."""

    speaks: str
    driver: str
    points: Mapping[str, str] = field(default_factory=lambda: POINTS)
    scanner: bool = False

    def edits(self, vices: str = "") -> Mapping[str, str]:
        """What gives the workshop's bench this multimeter; `vices` are further words of its simulation."""
        simulated = f"speaks: {self.speaks}{', ' * bool(vices)}{vices}"
        lines = "".join(
            f"      {name}: {{{words}{f', channel: {channel}' if self.scanner else ''}}}\n"
            for channel, (name, words) in enumerate(self.points.items(), start=101)
        )
        return {
            SIGNALS: _ENTRY.format(driver=self.driver, points=lines) + SIGNALS,
            SEED: f"{SEED}\n  instruments: {{multimeter: {{{simulated}}}}}\n{_TRUE.rstrip()}",
        }


FORMS = (
    Form("measure_and_configure", "multimeter/scpi99"),
    Form("measure_and_configure", "multimeter/scpi99_scanner", scanner=True),
    Form("measure_and_configure", "multimeter/scpi99_scanner_four_leads", scanner=True),
    Form("measure_and_configure", "multimeter/configure_and_read"),
    Form("function_words", "multimeter/function_words", VOLTS),
)
