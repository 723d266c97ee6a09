"""measure_response on the simulated bench: the simulator's gain comes out at every frequency."""

from __future__ import annotations

import pytest

from tests.runner.measured import Measured, hazards_of, measured, true_gain, within_uncertainty

OCTAVES_HZ = [31.5, 63.0, 125.0, 250.0, 500.0, 1e3, 2e3, 4e3, 8e3, 16e3]  # ISO 266


@pytest.fixture(scope="module")
def sweep(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    step = "measure_response: {from: 20 Hz, to: 20 kHz, per_octave: 1, expect: {gain: above 29 dB}}"
    return measured(tmp_path_factory.mktemp("run"), step, "measure_continuous: {level: 200 mV, for: 1 s}")


def test_gain_is_the_amplifiers_at_every_frequency(sweep: Measured) -> None:
    gains = [figure for figure in sweep.figures("gain") if figure.channel == "A"]
    assert [figure.frequency_hz for figure in gains] == OCTAVES_HZ
    assert all(within_uncertainty(figure, true_gain()) for figure in gains)


def test_the_phase_of_an_amplifier_without_filters_is_nought(sweep: Measured) -> None:
    assert all(within_uncertainty(figure, 0.0) for figure in sweep.figures("phase"))


def test_channels_alike_balance(sweep: Measured) -> None:
    """B against A; the load of B is 3.991 ohm."""
    balance = true_gain(load_ohm=3.991) / true_gain()
    assert {figure.channel for figure in sweep.figures("channel_balance")} == {"B"}
    assert all(within_uncertainty(figure, balance) for figure in sweep.figures("channel_balance"))


def test_band_edges_beyond_the_sweep_are_bounds(sweep: Measured) -> None:
    lower, upper = sweep.figure("lower_band_edge", "A"), sweep.figure("upper_band_edge", "A")
    assert (lower.bound, lower.value) == ("at most", 31.5)
    assert (upper.bound, upper.value) == ("at least", 16e3)


def test_each_gain_has_its_own_row_and_its_own_verdict(sweep: Measured) -> None:
    rows = sweep.table[(sweep.table["figure"] == "gain") & (sweep.table["channel"] == "B")]
    assert rows["frequency_hz"].tolist() == OCTAVES_HZ
    assert set(rows["load_ohm"]) == {4.0}
    assert set(rows["verdict"]) == {"passes"}
    assert rows["capture"].nunique() == len(OCTAVES_HZ)


def test_every_figure_can_be_computed_again(sweep: Measured) -> None:
    assert sweep.verification.agrees
    assert not sweep.verification.unused_captures


def test_the_sweep_takes_the_time_foreseen(sweep: Measured) -> None:
    assert sweep.expected_s("measure_response") == pytest.approx(sweep.took_s["measure_response"], rel=0.1)


def test_the_step_after_it_works_at_the_frequency_that_was_set(sweep: Measured) -> None:
    """A tone of 16 kHz left behind would be no 1 kHz to measure."""
    assert sweep.outcome.unmeasured == ()
    rows = sweep.table[sweep.table["figure"] == "continuous_power"]
    assert set(rows["frequency_hz"]) == {1e3}


@pytest.mark.parametrize(
    ("step", "words"),
    [
        ("measure_response: {level: 8 V}", "a level of 8 V is more than the generator gives"),
        ("measure_response: {from: 1 kHz, to: 1.2 kHz}", "of 3 frequencies an octave there is 1 from 1 kHz to 1.2 kHz"),
    ],
)
def test_preflight_refuses_what_cannot_be(step: str, words: str) -> None:
    assert any(words in hazard for hazard in hazards_of(step))
