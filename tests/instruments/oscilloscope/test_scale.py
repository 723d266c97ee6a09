"""The one formula for what samples stand for, whatever names an instrument gives to its numbers."""

from __future__ import annotations

import pytest

from benchctl.instruments.oscilloscope.scale import points_told, scale_of

SAMPLES = 1001


@pytest.mark.parametrize(
    "told",
    [
        {"interval": 1e-3, "start": -0.25},
        {"sample_rate": 1000.0, "start": -0.25},
        {"start": -0.25, "end": 0.75, "points": 1001.0},
        {"start": -0.25, "end": 0.75},
        {"interval": 1e-3, "start": 0.0, "reference_sample": 250.0},
        {"interval": 1e-3, "center": 0.2505},
        {"interval": 1e-3, "pretrigger": 0.25},
        {"interval": 1e-3, "trigger_sample": 250.0},
        {"interval": 1e-3},
    ],
    ids=", ".join,
)
def test_samples_are_placed_in_time_by_any_of_the_names(told: dict[str, float]) -> None:
    """A thousand samples a second, a quarter of a second before the trigger."""
    scale = scale_of(told, SAMPLES, 0.25)
    assert scale.interval_s == pytest.approx(1e-3)
    assert scale.start_s == pytest.approx(-0.25)


def test_codes_become_volts_by_the_formula_of_the_page() -> None:
    """docs/drivers.md: (code - zero_code - reference_code) x volts_per_code + volts_at_zero, here at code 100."""
    told = {"interval": 1.0, "volts_per_code": 0.5, "zero_code": 3.0, "reference_code": 128.0, "volts_at_zero": 7.0}
    scale = scale_of(told, SAMPLES, 0.0)
    assert 100 * scale.volts_per_code + scale.volts_at_zero == pytest.approx((100 - 3 - 128) * 0.5 + 7)


@pytest.mark.parametrize(
    "told",
    [
        {"interval": 0.0, "volts_per_code": 1.0},
        {"sample_rate": 0.0, "volts_per_code": 1.0},
        {"interval": 1.0, "volts_per_code": 0.0},
        {"interval": 1.0, "volts_per_code": float("nan")},
        {"interval": 1.0, "volts_per_code": 1.0, "volts_at_zero": float("inf")},
        {"end": 1.0, "volts_per_code": 1.0},
    ],
)
def test_numbers_with_which_nothing_can_be_done_make_no_scale(told: dict[str, float]) -> None:
    assert not scale_of(told, SAMPLES, 0.0).is_usable


def test_the_number_of_samples_is_known_only_where_it_is_told() -> None:
    assert points_told({"points": 1200.0}) == 1200
    assert points_told({"points": 0.0}) is None
    assert points_told({}) is None
