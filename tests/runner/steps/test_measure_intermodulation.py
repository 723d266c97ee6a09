"""measure_intermodulation on the simulated bench: a bent characteristic has the distortion of its angle sums."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from tests.runner.measured import Measured, measured

# y = x + 0.04 x^2 + 0.012 x^3 at a peak of 10 V: tones of 8 and 2 V, or of 5 and 5 V.
BENT = {"  gain: 31.9 ": "  imperfections: {bend: {at: 10 V, second: 4 %, third: 1.2 %}}\n  gain: 31.9 "}
# A generator and an oscilloscope whose own distortion does not count.
PURE = {
    "ratings: {level: 7 V, frequency: 1 MHz}": "ratings: {level: 7 V, frequency: 1 MHz, distortion: 0.001 %}",
    "voltage: {reading: 0.5 %, range: 0.1 %}": "voltage: {reading: 0.5 %, range: 0.1 %, linearity: 0.001 %}",
}
# 10 V of peak at the nominal gain of 31.62; the true one is 31.9.
LEVEL = "223.6 mV"


@pytest.fixture(scope="module")
def bent(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    return measured(
        tmp_path_factory.mktemp("run"),
        f"measure_intermodulation: {{level: {LEVEL}, expect: {{modulation_distortion_rss: below 1 %}}}}",
        f"measure_intermodulation: {{method: difference, level: {LEVEL}}}",
        "measure_continuous: {level: 200 mV, for: 1 s}",
        amplifier=BENT,
        bench=PURE,
    )


def test_modulation_distortion_is_that_of_the_polynomial(bent: Measured) -> None:
    """d2 = 2 a2 A1 / (1 + 3/2 a3 A1^2 + 3/4 a3 A2^2), d3 = 3/2 a3 A1^2 over the same; A of the true peak."""
    low, high = (part * math.sqrt(2.0) * 0.2236 * 31.9 / 10.0 for part in (0.8, 0.2))
    carrier = 1.0 + 1.5 * 0.012 * low**2 + 0.75 * 0.012 * high**2
    second, third = 2.0 * 0.04 * low / carrier, 1.5 * 0.012 * low**2 / carrier
    for channel in "AB":
        assert bent.figure("modulation_distortion_2", channel).value == pytest.approx(second, rel=0.01)
        assert bent.figure("modulation_distortion_3", channel).value == pytest.approx(third, rel=0.02)
        rss = bent.figure("modulation_distortion_rss", channel)
        assert rss.value == pytest.approx(math.hypot(second, third) / math.sqrt(2.0), rel=0.01)
        assert rss.verdict == "fails"


def test_difference_frequency_distortion_is_that_of_the_polynomial(bent: Measured) -> None:
    """d2 = a2 A / 2 over 1 + 9/4 a3 A^2, with both tones of A; d3 = 3/4 a3 A^2 over the same."""
    tone = 0.5 * math.sqrt(2.0) * 0.2236 * 31.9 / 10.0
    carrier = 1.0 + 2.25 * 0.012 * tone**2
    assert bent.figure("difference_distortion_2", "A").value == pytest.approx(0.04 * tone / 2.0 / carrier, rel=0.01)
    assert bent.figure("difference_distortion_3", "A").value == pytest.approx(
        0.75 * 0.012 * tone**2 / carrier, rel=0.02
    )


def test_what_the_bench_may_make_by_itself_leaves_a_bound(tmp_path: Path) -> None:
    """0.1 % of the generator and 0.1 % of the range of the oscilloscope: up to four times that of the sine's."""
    run = measured(tmp_path, f"measure_intermodulation: {{level: {LEVEL}}}", amplifier=BENT)
    figure = run.figure("modulation_distortion_3", "A")
    assert figure.bound == "at most"
    assert "generator and oscilloscope may have much of it" in figure.bound_reason
    assert figure.value > 0.0116 + 4 * 0.001  # 3/2 a3 A1^2, A1 = 0.8 of the peak, and what the generator alone makes


def test_the_definition_is_on_record_with_the_figures(bent: Measured) -> None:
    assert any("added arithmetically, over the output at the higher tone" in note for note in bent.notes)
    assert any("over the sum of both tones" in note for note in bent.notes)


def test_the_figures_hold_at_no_single_frequency_and_the_sine_is_back(bent: Measured) -> None:
    rows = bent.table[bent.table["figure"] == "modulation_distortion_2"]
    assert rows["frequency_hz"].isna().all()
    assert bent.outcome.unmeasured == ()
    assert bent.figure("output_rms", "A").value == pytest.approx(0.2 * 31.9, rel=0.02)
    assert bent.verification.agrees
