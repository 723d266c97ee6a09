"""What the oscilloscope has too little memory, or too low a sample rate, for is refused before the run; the rest works.

Each case is also measured on the simulated bench: what is refused would have given no figure, what passes gives some.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.runner.checks.test_preflight import SET_4_OHM, checked
from tests.runner.rig import POWER_ON_LINE, Edits, files, rig

# An ordinary oscilloscope of 10 000 samples a channel, and one that samples slowly.
SMALL: Edits = {"memory: 1000000": "memory: 10000"}
SLOW: Edits = {"sample_rate: 50 MSa/s": "sample_rate: 100 kSa/s"}
TONE = "measure_continuous: {for: 1 s, level: 500 mV}"


def hazards(*steps: str, bench: Edits) -> tuple[str, ...]:
    return checked(POWER_ON_LINE, *steps, "power_off", bench=bench).hazards


def gives_figures(folder: Path, *steps: str, bench: Edits) -> bool:
    with rig(folder, files(POWER_ON_LINE, *steps, "power_off", bench=bench)) as opened:
        assert opened.execute().error is None
        return bool(opened.run.measured)


@pytest.mark.parametrize(
    ("bench", "steps", "says"),
    [
        (SMALL, (SET_4_OHM, "measure_burst: {cycles: [8], from: 500 mV}"), "a record of 510 ms with 19.61 kSa/s"),
        (SMALL, (SET_4_OHM, "measure_noise: {}"), "need more than 40 kSa/s"),
        (SMALL, ("set: {load: 4 ohm, frequency: 20 Hz}", TONE), "use a frequency of 180 Hz or more"),
        (SLOW, ("set: {load: 4 ohm, frequency: 20 kHz}", TONE), "a sample rate of 400 kSa/s (100 kSa/s now)"),
        (SLOW, ("set: {load: 4 ohm}", "measure_response: {to: 80 kHz}"), "end at a lower frequency"),
    ],
)
def test_a_record_too_coarse_for_its_figures_is_refused(
    tmp_path: Path, bench: Edits, steps: tuple[str, ...], says: str
) -> None:
    (told,) = hazards(*steps, bench=bench)
    assert says in told
    assert not gives_figures(tmp_path, *steps, bench=bench)


@pytest.mark.parametrize(
    "steps",
    [
        (SET_4_OHM, "measure_burst: {cycles: [8], every: 210 ms, from: 500 mV}"),
        ("set: {load: 4 ohm, frequency: 180 Hz}", TONE),
        (SET_4_OHM, "measure_response: {per_octave: 1}"),
        (SET_4_OHM, "measure_damping: {loads: [4 ohm, 2 ohm]}"),
    ],
)
def test_what_a_small_memory_holds_is_not_refused_and_gives_figures(tmp_path: Path, steps: tuple[str, ...]) -> None:
    assert hazards(*steps, bench=SMALL) == ()
    assert gives_figures(tmp_path, *steps, bench=SMALL)


def test_the_advice_for_bursts_is_a_repetition_that_fits() -> None:
    (told,) = hazards(SET_4_OHM, "measure_burst: {cycles: [8]}", bench=SMALL)
    (advice,) = [words for words in told.split("'") if words.startswith("every: ")]
    assert hazards(SET_4_OHM, f"measure_burst: {{cycles: [8], {advice}}}", bench=SMALL) == ()
