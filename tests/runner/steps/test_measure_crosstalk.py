"""measure_crosstalk on a simulated bench whose relays feed the inputs one by one."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.runner.measured import Measured, hazards_of, measured, within_uncertainty
from tests.runner.rig import with_inputs

HANDS = with_inputs("{by: hand}")
LEAKY = {"noise: 0.3 mV": "noise: 0.3 mV\n  crosstalk: -60 dB"}
SHORT = "measure_crosstalk: {from: 1 kHz, to: 4 kHz}"


@pytest.fixture(scope="module")
def crosstalk(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    step = "measure_crosstalk: {from: 1 kHz, to: 20 kHz, expect: {crosstalk: below -50 dB}}"
    after = "measure_continuous: {level: 200 mV, for: 1 s}"
    return measured(tmp_path_factory.mktemp("run"), step, after, amplifier=LEAKY)


def test_what_leaks_is_told_for_either_undriven_channel_at_each_frequency(crosstalk: Measured) -> None:
    """-60 dB from input to input; the channels' loads differ by a part in two hundred of what the output drops."""
    for channel in "AB":
        figures = [figure for figure in crosstalk.figures("crosstalk") if figure.channel == channel]
        assert [figure.frequency_hz for figure in figures] == [1e3, 2e3, 4e3, 8e3, 16e3]
        assert all(within_uncertainty(figure, 1e-3) for figure in figures)
        assert {figure.verdict for figure in figures} == {"passes"}


def test_all_inputs_are_driven_again_afterwards(crosstalk: Measured) -> None:
    powers = {figure.channel: figure.value for figure in crosstalk.figures("continuous_power")}
    assert powers["A"] == pytest.approx(powers["B"], rel=0.02)


def test_every_figure_can_be_computed_again_and_the_time_was_foreseen(crosstalk: Measured) -> None:
    assert crosstalk.verification.agrees
    assert crosstalk.expected_s("measure_crosstalk") == pytest.approx(crosstalk.took_s["measure_crosstalk"], rel=0.1)


def test_what_leaks_less_than_the_noise_is_a_bound(tmp_path: Path) -> None:
    sealed = {"noise: 0.3 mV": "noise: 0.3 mV\n  crosstalk: 0 %"}
    run = measured(tmp_path, SHORT, amplifier=sealed)
    assert {figure.bound for figure in run.figures("crosstalk")} == {"at most"}
    assert all(figure.value < 1e-4 for figure in run.figures("crosstalk"))


def test_plugs_that_were_left_in_are_noticed(tmp_path: Path) -> None:
    """The simulated bench has no hands, so both inputs stay driven whatever is asked."""
    run = measured(tmp_path, SHORT, bench=HANDS)
    assert "its input is driven too" in run.outcome.unmeasured[0]
    assert run.requests[0] == "Put the generator into input A alone and a shorting plug into B"
    assert run.requests[-1] == "Put the generator into every input again"


@pytest.mark.parametrize(
    ("bench", "words"),
    [
        (
            with_inputs(""),
            "the generator feeds all inputs together; 'inputs' in the bench file says how one is driven alone",
        ),
        (HANDS, "plugs are moved by hand to drive one input alone, and nobody is present"),
        (with_inputs("{by: relay, relays: {A: 111}}"), "no relay feeds input B"),
    ],
)
def test_preflight_refuses_a_bench_that_cannot_drive_one_input_alone(bench: dict[str, str], words: str) -> None:
    assert any(words in hazard for hazard in hazards_of(SHORT, bench=bench))
