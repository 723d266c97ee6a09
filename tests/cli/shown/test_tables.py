"""The closing tables, made from figures: at a fixed width, letter by letter."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence

import pytest
from rich.console import Console

from benchctl.archive.journal.entries import FiguresEntry
from benchctl.cli.shown.tables import closing_tables
from benchctl.documents.reader import load_amplifier
from benchctl.measure.budget.figure import Figure
from tests.cli.figures import ENTRIES, FOUR_OHM, entry


def shown(entries: Sequence[FiguresEntry], width: int = 100) -> list[str]:
    console = Console(file=io.StringIO(), width=width, color_system=None, legacy_windows=False)
    console.print(closing_tables(entries, load_amplifier("hx2150")))
    assert isinstance(console.file, io.StringIO)
    return [line.rstrip() for line in console.file.getvalue().splitlines()]


TABLES = """\
Idle: 14.4 V supply, undriven
┏━━━━━━━━━━━━━━┳━━━━━━━━━┳━━━━━━━━━━━━━━━━━━━━┳━━━━━━┳━━━━━━━━━┓
┃ figure       ┃ channel ┃              value ┃ unit ┃ verdict ┃
┡━━━━━━━━━━━━━━╇━━━━━━━━━╇━━━━━━━━━━━━━━━━━━━━╇━━━━━━╇━━━━━━━━━┩
│ idle_current │         │      1.700 ± 0.075 │    A │  passes │
│ dc_offset    │ A       │ -0.00900 ± 0.00040 │    V │   fails │
└──────────────┴─────────┴────────────────────┴──────┴─────────┘
Clean output power, W: 1 kHz, 14.4 V supply
┏━━━━━━━┳━━━━━━━━━┳━━━━━━━━━━┳━━━━━━━━━━━━━┳━━━━━━━━━━━━━┳━━━━━━━━━━━━━━━┓
┃ load  ┃ channel ┃ rated, W ┃     1 cycle ┃    8 cycles ┃    continuous ┃
┡━━━━━━━╇━━━━━━━━━╇━━━━━━━━━━╇━━━━━━━━━━━━━╇━━━━━━━━━━━━━╇━━━━━━━━━━━━━━━┩
│ 4 ohm │ A       │      150 │ 190.0 ± 3.8 │ 170.0 ± 3.4 │   160.0 ± 3.2 │
│       │         │          │       127 % │       113 % │ 107 %, passes │
│ 4 ohm │ total   │          │ 380.0 ± 7.6 │             │               │
└───────┴─────────┴──────────┴─────────────┴─────────────┴───────────────┘
±: expanded uncertainty, 95 %. Below each value: its part of the rating.
"""


def test_idle_and_clean_power_at_a_width_of_100() -> None:
    expected = TABLES.splitlines()
    assert shown(ENTRIES)[: len(expected)] == expected


def test_full_drive_tells_how_the_rails_droop_and_supply_draw_stands_beside_it() -> None:
    lines = shown(ENTRIES, 130)
    assert any("8 cycles" in line and "189.0 ± 3.8" in line and "4.80 ± 0.20" in line for line in lines)
    assert any("8 cycles" in line and "6.10 ± 0.20" in line for line in lines)
    assert any("continuous" in line and "60.0 ± 1.1" in line for line in lines)


@pytest.mark.parametrize("width", [60, 80, 200])
def test_no_line_is_wider_than_the_terminal(width: int) -> None:
    assert max(map(len, shown(ENTRIES, width))) <= width


def test_a_table_without_rows_is_left_out() -> None:
    idle_only = shown(ENTRIES[:1])
    assert idle_only[0].startswith("Idle")
    assert not any("Clean output power" in line for line in idle_only)
    assert shown([]) == []


def gain(frequency_hz: float, verdict: str = "", value: float = 31.9) -> Figure:
    return Figure("gain", value, "1", 0.5, 2.0, channel="A", frequency_hz=frequency_hz, verdict=verdict)  # type: ignore[arg-type]


def rows(*figures: Figure) -> list[str]:
    return [line for line in shown([entry("response", FOUR_OHM, *figures)]) if "│" in line]


def test_what_stands_against_frequency_has_a_table_of_its_own_and_all_else_the_last_one() -> None:
    phase = Figure("phase", math.pi / 2, "rad", 0.01, 2.0, channel="A", frequency_hz=500.0)
    edge = Figure("upper_band_edge", 42e3, "Hz", 900.0, 2.0, channel="A", verdict="passes", frequency_hz=1000.0)
    assert rows(gain(500.0), phase, gain(2000.0, "fails", 31.0), edge) == [
        "│ 500 Hz    │       30.08 ± 0.14 │ 90.00 ± 0.57 │",
        "│ 2 kHz     │ 29.83 ± 0.14 fails │              │",
        "│ upper_band_edge │ A       │ 42000 ± 900 │   Hz │  passes │",
    ]


def test_of_a_fine_response_some_frequencies_are_shown_and_all_where_something_is_amiss() -> None:
    """Of 24, every second, 1 kHz among them, and 900 Hz, whose gain fails."""
    frequencies = [100.0 * number for number in range(1, 25)]
    lines = rows(*(gain(hertz, "fails" if hertz == 900.0 else "passes") for hertz in frequencies))
    assert len(lines) == 13
    assert [line.split()[1] for line in lines if "fails" in line] == ["900"]
    assert any(line.startswith("│ 1 kHz ") for line in lines)


def test_the_positions_of_controls_stand_first_among_the_closing_tables() -> None:
    console = Console(file=io.StringIO(), width=120)
    positions = {"gain controls": "half past two", "filters and boost": "off [all]"}
    console.print(closing_tables(ENTRIES, load_amplifier("hx2150"), positions=positions))
    file = console.file
    assert isinstance(file, io.StringIO)
    first, *rest = file.getvalue().splitlines()
    assert first.strip() == "Controls, as the operator gave them"
    assert any("gain controls" in line and "half past two" in line for line in rest)
    assert any("filters and boost" in line and "off [all]" in line for line in rest), "a person's text is no markup"


def test_where_nobody_was_asked_there_is_no_table_of_controls() -> None:
    assert not any("Controls" in line for line in shown(ENTRIES))
