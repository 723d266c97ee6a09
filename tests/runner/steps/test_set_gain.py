"""set_gain on the simulated bench, whose gain control a test turns instead of a hand."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest

from tests.runner.checks.test_preflight import checked
from tests.runner.measured import Measured, hazards_of, measured, true_gain, within_uncertainty
from tests.runner.rig import POWER_ON_LINE, Rig


def turning(*turns: tuple[float, float]) -> Callable[[Rig], None]:
    """A hand: at so many seconds of the run the gain of both channels becomes so many times what it is."""

    def disturb(rig: Rig) -> None:
        for at_s, factor in turns:
            rig.at(at_s, partial(rig.simulated.turn, {"A": factor, "B": factor}))

    return disturb


@pytest.fixture(scope="module")
def turned(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    """From 31.9 up to 40, which is 32 dB, in two turns."""
    step = "set_gain: {gain: 32 dB, within: 2 %}"
    return measured(tmp_path_factory.mktemp("run"), step, disturb=turning((10.0, 36.0 / 31.9), (14.0, 40.0 / 36.0)))


def test_it_waits_until_the_hand_has_brought_the_gain_there(turned: Measured) -> None:
    assert turned.outcome.error is None
    assert 14.0 < sum(turned.took_s[kind] for kind in ("power_on", "set", "set_gain")) < 17.0
    assert within_uncertainty(turned.figure("gain", "A"), true_gain(40.0))


def test_the_reading_is_shown_with_what_is_missing(turned: Measured) -> None:
    """31.74 are 30.03 dB by definition of the decibel: 2 dB short, and the generator is good to a tenth of one."""
    assert turned.told[0].startswith("A 30.0")
    assert "(-1.9" in turned.told[0]
    assert turned.notes[0] == "turn the gain of A and B to 32.00 dB; the reading is live"


def test_the_outcome_is_held_to_what_was_wanted(turned: Measured) -> None:
    """Gain is known to 1.2 %, the control to 2 %: an error of 0.5 % passes both."""
    error = turned.figure("gain_error", "A")
    assert error.value == pytest.approx(true_gain(40.0) / 10 ** (32 / 20) - 1.0, abs=0.01)
    assert error.verdict in {"passes", "inconclusive"}


def test_input_sensitivity_is_what_rated_power_takes(turned: Measured) -> None:
    """150 W into 4 ohm are 24.49 V."""
    sensitivity = turned.figure("input_sensitivity", "A")
    assert sensitivity.value == pytest.approx((150.0 * 4.0) ** 0.5 / turned.figure("gain", "A").value)


def test_every_figure_can_be_computed_again(turned: Measured) -> None:
    assert turned.verification.agrees


def test_a_sensitivity_is_wanted_as_well(tmp_path: Path) -> None:
    """24.49 V over 0.77 V are 31.8."""
    run = measured(tmp_path, "set_gain: {input_sensitivity: 770 mV, within: 2 %}")
    assert run.notes[0] == "turn the gain of A and B to 30.05 dB; the reading is live"
    assert run.expected_s("set_gain") == pytest.approx(run.took_s["set_gain"], rel=0.1)


MISMATCHED = {"noise: 0.3 mV": "noise: 0.3 mV\n  faults: {gain_mismatch: {B: -1.5 dB}}"}


def test_channels_that_nobody_matches_are_told_and_the_run_goes_on(tmp_path: Path) -> None:
    step = "set_gain: {timeout: 10 s}"
    run = measured(tmp_path, step, "measure_idle: {for: 1 s}", amplifier=MISMATCHED)
    assert any("were not set within" in note for note in run.notes)
    assert run.figure("channel_balance", "B").value == pytest.approx(10 ** (-1.5 / 20), rel=0.02)
    assert run.figures("idle_current")


def test_the_run_ends_for_a_control_that_nobody_turns_if_it_is_asked_to(tmp_path: Path) -> None:
    run = measured(tmp_path, "set_gain: {gain: 40 dB, timeout: 10 s, on_timeout: end the run}")
    assert "were not set within" in str(run.outcome.error)
    assert run.figures("gain_error")[0].verdict == "fails"


def test_an_unattended_run_refuses_it() -> None:
    step = "set_gain: {gain: 30 dB}"
    assert any("nobody is present" in hazard for hazard in hazards_of(step))
    assert hazards_of(step, unattended=False) == ()


@pytest.mark.parametrize(
    ("on_timeout", "power_w"), [("end the run", 600.0 / 16.0 / 4.0), ("go on", 1000.0 / 4.0 / 4.0)]
)
def test_preflight_reckons_from_then_on_with_the_gain_that_was_set(on_timeout: str, power_w: float) -> None:
    """At a sensitivity of 2 V, 500 mV give a quarter of the 24.5 V of 150 W into 4 ohm. At 30 dB they give 15.8 V, and
    may still do so where the run goes on without the hand having been there."""
    set_gain = f"set_gain: {{input_sensitivity: 2 V, on_timeout: {on_timeout}}}"
    tuned = "set: {load: 4 ohm, frequency: 1 kHz}"
    steps = (POWER_ON_LINE, tuned, set_gain, "set: {level: 500 mV}", "hold: {for: 1 s}")
    assert checked(*steps).worst_cases[-1].load_w == pytest.approx(power_w, rel=1e-3)
