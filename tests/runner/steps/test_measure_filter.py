"""measure_filter on the simulated bench: corner, slope and order of the filters in the simulator's parameters."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.runner.measured import Measured, measured, within_uncertainty


def with_filters(*filters: str) -> dict[str, str]:
    """An HX 2150 with these filters in front of its output stages."""
    noise = "noise: 0.3 mV"
    return {noise: f"{noise}\n  filters: [{', '.join(filters)}]"}


@pytest.fixture(scope="module")
def subwoofer(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    """A low-pass of 80 Hz and 24 dB/octave at both outputs, and at B a subsonic filter of 30 Hz and 12 dB/octave."""
    filters = with_filters(
        "{kind: low-pass, corner: 80 Hz, slope: 24 dB/octave}",
        "{kind: high-pass, corner: 25 Hz, slope: 12 dB/octave, channels: [B]}",
    )
    step = (
        "measure_filter: {from: 6 Hz, to: 800 Hz, per_octave: 4,"
        " expect: {low_pass_slope: above 20 dB/octave, low_pass_order: above 3}}"
    )
    return measured(tmp_path_factory.mktemp("run"), step, amplifier=filters)


def test_the_corner_is_the_filters(subwoofer: Measured) -> None:
    """3 dB down at the corner of a Butterworth filter of any order, by definition."""
    assert within_uncertainty(subwoofer.figure("low_pass_corner", "A"), 80.0)
    assert subwoofer.figure("low_pass_corner", "A").verdict == ""


def test_the_slope_of_a_fourth_order_filter_is_24_db_per_octave(subwoofer: Measured) -> None:
    """24.07 dB from one octave above the corner to two, by the closed form 10 lg (1 + r^8)."""
    slope = subwoofer.figure("low_pass_slope", "A")
    assert slope.unit == "dB/octave"
    assert slope.value == pytest.approx(24.07, abs=0.2)
    assert slope.verdict == "passes"


def test_the_order_is_told_where_it_is_certain(subwoofer: Measured) -> None:
    assert subwoofer.figure("low_pass_order", "A").value == 4.0
    assert subwoofer.figure("low_pass_order", "B").value == 4.0
    assert subwoofer.figure("high_pass_order", "B").value == 2.0


def test_a_filter_that_one_channel_alone_has_is_told_for_that_channel(subwoofer: Measured) -> None:
    """The low-pass takes a little of the band that the high-pass leaves, so the corner moves by some per cent."""
    assert {figure.channel for figure in subwoofer.figures("high_pass_corner")} == {"B"}
    assert subwoofer.figure("high_pass_corner", "B").value == pytest.approx(25.0, rel=0.05)


def test_every_figure_can_be_computed_again_and_the_time_was_foreseen(subwoofer: Measured) -> None:
    assert subwoofer.verification.agrees
    assert subwoofer.expected_s("measure_filter") == pytest.approx(subwoofer.took_s["measure_filter"], rel=0.1)


def test_an_amplifier_without_filters_is_told_to_have_none(tmp_path: Path) -> None:
    run = measured(tmp_path, "measure_filter: {from: 100 Hz, to: 1 kHz, per_octave: 3}")
    assert "no filter shows" in run.outcome.unmeasured[0]
