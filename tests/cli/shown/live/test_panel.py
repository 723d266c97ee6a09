"""The panel of a run on a terminal: it fits every window, and the state is in sight in each."""

from __future__ import annotations

import io
from dataclasses import replace

import pytest
from rich.console import Console

from benchctl.cli.shown.live.large import in_large
from benchctl.cli.shown.live.panel import LivePanel
from benchctl.watch.now import LimitNow, Now, OutputNow, PartNow, ResultNow

NOW = Now(
    "driven",
    title="Quick check: HX 2150",
    mark="Simulated, no measurement. ",
    step=4,
    steps=7,
    label="measure burst",
    elapsed="0:00:16",
    remaining="0:00:10",
    drive="bursts of 8 cycles, 4 ohm, 1 kHz, 14.4 V supply, tried level 158.5 mV, A and B driven",
    outputs=(OutputNow("A", "193 W", "1.0 %", "27.8 V"), OutputNow("B", "192 W", "<0.98 %", "27.7 V")),
    supply=("14.4 V", "61.2 A", "41 degC"),
    record_age_s=0.4,
    limits=(
        LimitNow("load", "24 degC", "above 180 degC", 0.13),
        LimitNow("supply_current", "61.2 A", "above 95 A", 0.64),
        LimitNow("supply_voltage", "no reading for 4 s", "below 11 V", None, is_missing=True),
        LimitNow("supply_watchdog", "0 tripped", "must be fed and may not trip", 0.0),
        LimitNow("heatsink", "41 degC", "above 85 degC", 0.48),
    ),
    results=(ResultNow("A", "burst power clean, 1 cycle", "193.8 ± 3.2 W", "passes"),),
    notes=("clean steady level 0.798 V", "A note of a person, which is so long that it has no room in a window."),
)
FOOT = ("page: http://127.0.0.1:40000/token/",)


def drawn(now: Now, width: int, height: int, encoding: str = "utf-8") -> list[str]:
    file = io.TextIOWrapper(io.BytesIO(), encoding=encoding)
    console = Console(file=file, width=width, height=height, color_system=None, legacy_windows=False, _environ={})
    console.print(LivePanel(now, FOOT))
    file.seek(0)
    return file.read().splitlines()


@pytest.mark.parametrize(("width", "height"), [(160, 50), (100, 34), (80, 24), (60, 20), (40, 10), (30, 5), (20, 2)])
@pytest.mark.parametrize("state", ["driven", "stopping", "asking"])
def test_in_every_window_nothing_wraps_or_scrolls_and_the_first_lines_say_the_state(
    width: int, height: int, state: str
) -> None:
    now = replace(NOW, state=state, sentence="A sentence that a person must be able to read whole, word by word.")
    lines = drawn(now, width, height)
    assert len(lines) <= height
    assert all(len(line) <= width for line in lines)
    assert now.headline in lines[0] or lines[0].startswith(in_large(now.headline)[0].rstrip()[:width])


def test_with_room_state_time_power_and_distortion_are_in_large_characters() -> None:
    lines = drawn(NOW, 160, 50)
    assert any(in_large("SIGNAL ON")[0] in line and in_large("4/7 0:00:10")[0] in line for line in lines)
    assert any(in_large("193 W")[0] in line and in_large("1.0 %")[0] in line for line in lines)
    assert lines[-1] == FOOT[0]


def test_a_small_window_keeps_step_time_readings_and_the_limits_that_are_nearest() -> None:
    lines = drawn(NOW, 40, 10)
    assert lines[0].startswith(" SIGNAL ON  step 4 of 7   left 0:00:10")
    assert lines[3] == "A   193 W   1.0 %   27.8 V"
    named = [line.split()[0] for line in lines if line.startswith(("supply_", "heatsink", "load"))]
    assert named == ["supply_current", "supply_voltage", "heatsink"]


def test_a_reading_that_is_not_of_now_is_not_shown_large() -> None:
    assert "A   193 W   1.0 %   27.8 V" in drawn(replace(NOW, outputs_are_old=True), 160, 50)


def test_a_part_that_is_not_off_stands_above_limits_and_notes() -> None:
    part = PartNow("supply: output 'main' off: NOT CONFIRMED (no answer)", is_confirmed=False)
    lines = drawn(replace(NOW, state="stopping", parts=(part,)), 80, 24)
    assert part.words in lines


def test_a_terminal_of_plain_characters_gets_plain_characters_only() -> None:
    now = replace(NOW, results=())
    assert all(line.isascii() for line in drawn(now, 80, 24, encoding="ascii"))
