"""Conditions in words, and what several have in common."""

from __future__ import annotations

from dataclasses import replace

import pytest

from benchctl.measure.conditions import UNDRIVEN, Conditions, common_to

DRIVEN = Conditions(4.0, 1e3, 0.1, "set", None, ("A", "B"))


@pytest.mark.parametrize(
    ("conditions", "words"),
    [
        (Conditions(), ""),
        (Conditions(4.0, 1e3), "4 ohm, 1 kHz"),
        (UNDRIVEN, "undriven"),
        (Conditions(4.0, 1e3, 0.8123, "clean", 14.4), "4 ohm, 1 kHz, 14.4 V supply, clean level 812.3 mV"),
        (
            Conditions(4.0, 1e3, 0.9, "clean", 14.4, thd_limit=0.1, supply_at="terminals"),
            "4 ohm, 1 kHz, 14.4 V at the terminals, clean level 900 mV, 10 % THD+N",
        ),
        (DRIVEN, "4 ohm, 1 kHz, set level 100 mV, A and B driven"),
    ],
)
def test_conditions_in_words(conditions: Conditions, words: str) -> None:
    assert str(conditions) == words


def test_what_is_said_already_is_not_said_again_and_a_level_keeps_its_name() -> None:
    others = [DRIVEN, replace(DRIVEN, level_v=0.2, supply_set_v=13.0)]
    assert common_to(others) == replace(DRIVEN, level_v=None)
    assert str(others[1].without(common_to(others))) == "13 V supply, set level 200 mV"


def test_an_undriven_amplifier_is_at_no_frequency() -> None:
    assert replace(UNDRIVEN, frequency_hz=1e3).in_effect == UNDRIVEN
    assert DRIVEN.in_effect == DRIVEN


def test_of_nothing_nothing_is_common() -> None:
    assert common_to([]) == Conditions()
