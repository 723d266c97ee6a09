"""What a difference most likely is, told from its size."""

from __future__ import annotations

import pytest

from benchctl.measure.agreement.causes import cause_of_ratio


@pytest.mark.parametrize("ratio", [2.0, 0.5, 1.8])
def test_twice_or_half_at_every_output_is_a_load_setting(ratio: float) -> None:
    assert "load of 50 ohm" in cause_of_ratio(ratio, 20.0, [ratio * 1.05])


def test_a_dead_output_says_nothing_of_the_generator() -> None:
    assert "load of 50 ohm" in cause_of_ratio(0.5, 20.0, [0.0])


def test_twice_at_one_output_alone_is_no_load_setting() -> None:
    assert "load of 50 ohm" not in cause_of_ratio(2.0, 20.0, [1.0])


@pytest.mark.parametrize(("ratio", "true"), [(20.0, 1), (10.0, 2), (0.1, 200)])
def test_a_ratio_of_the_probes_switch_names_the_position_that_it_is_in(ratio: float, true: int) -> None:
    """A probe of 1:20 in the bench file that divides by `true` shows 20 / true times the voltage."""
    assert f"switched to 1:{true} " in cause_of_ratio(ratio, 20.0, [1.0])


def test_a_plain_lead_has_no_lower_position() -> None:
    assert "switched" not in cause_of_ratio(3.0, 1.0)


def test_silence_is_no_ratio() -> None:
    assert "nothing reaches this output" in cause_of_ratio(1e-4, 20.0, [1.0])


def test_any_other_ratio_is_told_as_a_gain() -> None:
    assert "gain control" in cause_of_ratio(5.0, 20.0, [1.0])
