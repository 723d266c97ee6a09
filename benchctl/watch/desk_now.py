"""What a person who drives by hand is told of the desk: what is set, and until when the signal stays on."""

from __future__ import annotations

from benchctl.measure.conditions import Conditions
from benchctl.quantity import render
from benchctl.runner.acting.desk import Readings


def set_in_words(readings: Readings) -> str:
    """The level that the signal has or will have, and what else is set."""
    wanted = readings.wanted
    parts = (
        render(readings.level_v, "V") if readings.level_v else "",
        "" if wanted.frequency_hz is None else render(wanted.frequency_hz, "Hz", digits=3),
        f"load {render(wanted.load_ohm, 'ohm')}" if wanted.load_ohm is not None else "no load",
        readings.bursts,
        _driven_in_words(wanted),
    )
    return ", ".join(filter(None, parts))


def _driven_in_words(wanted: Conditions) -> str:
    return f"{' and '.join(wanted.driven)} driven" if wanted.driven else ""


def warning_in_words(readings: Readings) -> str:
    """That the signal goes off by itself, and that what is shown is held."""
    parts = (
        "" if readings.left_s is None else f"The signal goes off in {readings.left_s:.0f} s unless a key is pressed.",
        "HELD: the readings of the outputs are old." if readings.is_held else "",
    )
    return " ".join(filter(None, parts))
