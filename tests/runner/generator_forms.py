"""The workshop's bench with another generator: its driver file, and the simulated instrument that speaks so."""

from __future__ import annotations

from tests.runner.rig import Edits, shipped

FORMS = (
    "cycles_and_period",
    "bus_trigger",
    "peak_to_peak",
    "display_into_50_ohm",
    "key_value_list",
    "table_as_block",
    "table_as_text",
    "keyed_modulation",
)
SILENT = ("cycles_and_period", "bus_trigger", "peak_to_peak", "display_into_50_ohm", "key_value_list")


def with_generator(form: str, *vices: str, driver: str = "") -> Edits:
    """The edit of the workshop's bench by which its generator speaks `form`; `vices` as in `clients: one`."""
    speaks = ", ".join([f"speaks: {form}", *vices])
    return {
        "driver: generator/scpi99": f"driver: {driver or f'generator/{form}'}",
        "  seed: 2150\n": f"  seed: 2150\n  instrument_errors: none\n  instruments: {{generator: {{{speaks}}}}}\n",
    }


def driver_text(form: str, edits: Edits | None = None) -> str:
    """The text of a shipped driver of a generator."""
    return shipped("drivers", f"generator/{form}", edits)
