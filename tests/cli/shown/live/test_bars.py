"""The limits as bars on a terminal."""

from __future__ import annotations

from benchctl.cli.shown.live.bars import limit_lines
from benchctl.watch.now import LimitNow

LIMITS = (
    LimitNow("supply_current", "47.5 A", "above 95 A", 0.5),
    LimitNow("supply_voltage", "unreadable", "below 11 V", 1.0),
    LimitNow("heatsink", "no reading for 4 s", "above 85 degC", None, is_missing=True),
    LimitNow("load", "20 degC", "above 180 degC", 0.999),
)


def test_each_limit_is_a_line_and_only_one_at_its_bound_has_a_full_bar() -> None:
    assert [line.plain for line in limit_lines(LIMITS, 64)] == [
        "supply_current  47.5 A      ██████████··········  above 95 A",
        "supply_voltage  unreadable  ████████████████████  below 11 V",
        "heatsink        no reading for 4 s                above 85 degC",
        "load            20 degC     ███████████████████·  above 180 degC",
    ]


def test_a_terminal_of_plain_characters_has_plain_bars() -> None:
    assert all(line.plain.isascii() for line in limit_lines(LIMITS, 63, plain=True))
