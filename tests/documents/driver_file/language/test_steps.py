"""The values that a setting can have, and how the program rounds to them."""

from __future__ import annotations

import pytest

from benchctl.documents.driver_file.language.steps import Steps

LADDER = Steps(is_ladder=True)
HALVES = Steps(multiple_of=0.5)
LENGTHS = Steps(values=(12e3, 120e3, 1.2e6))


@pytest.mark.parametrize(
    ("steps", "value", "down", "nearest", "up"),
    [
        (HALVES, 16.3, 16.0, 16.5, 16.5),
        (HALVES, 16.5, 16.5, 16.5, 16.5),
        (LADDER, 0.03, 0.02, 0.02, 0.05),
        (LADDER, 2e-3, 2e-3, 2e-3, 2e-3),
        (LADDER, 9.0, 5.0, 10.0, 10.0),
        (LENGTHS, 100e3, 12e3, 120e3, 120e3),
        (LENGTHS, 120e3, 120e3, 120e3, 120e3),
        (LENGTHS, 2e6, 1.2e6, 1.2e6, 1.2e6),
        (LENGTHS, 1e3, 12e3, 12e3, 12e3),
    ],
)
def test_a_value_is_rounded_to_what_can_be_set(
    steps: Steps, value: float, down: float, nearest: float, up: float
) -> None:
    assert steps.rounded(value, "down") == pytest.approx(down)
    assert steps.rounded(value) == pytest.approx(nearest)
    assert steps.rounded(value, "up") == pytest.approx(up)


def test_a_value_that_can_be_set_is_not_moved_by_the_error_of_its_binary_form() -> None:
    assert Steps(multiple_of=0.01).rounded(0.29, "down") == pytest.approx(0.29)
    assert Steps(multiple_of=0.1).rounded(0.3, "up") == pytest.approx(0.3)


@pytest.mark.parametrize(
    ("steps", "value", "half"), [(HALVES, 16.3, 0.25), (HALVES, 16.5, 0.25), (LADDER, 0.03, 0.015)]
)
def test_what_reads_back_may_differ_by_half_a_step(steps: Steps, value: float, half: float) -> None:
    assert steps.half_step(value) == pytest.approx(half)
