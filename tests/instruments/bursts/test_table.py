"""A burst and its rest as samples."""

from __future__ import annotations

import numpy as np
import pytest

from benchctl.documents.driver_file.generator import SampleTable
from benchctl.instruments.bursts.burst import Burst
from benchctl.instruments.bursts.table import is_fine_enough, points_of, samples_of, written

BURST = Burst(frequency_hz=1000.0, cycles=8, level_v=0.5, low_level_v=0.05, every_s=0.25)


def test_a_burst_is_at_full_scale_and_its_rest_as_much_lower_as_asked() -> None:
    samples = samples_of(BURST, 8000)  # 32 a cycle
    assert np.max(samples[:256]) == pytest.approx(1.0)
    assert np.max(np.abs(samples[256:])) == pytest.approx(0.1)
    assert samples[0] == 0.0
    assert samples[1] > 0.0


def test_it_has_enough_samples_for_its_sine_and_no_more_than_fit() -> None:
    assert points_of(1000.0, 0.25, most=16_384) == 8000
    assert points_of(10_000.0, 0.25, most=16_384) == 16_384
    assert points_of(10_000.0, 0.25, most=1e6, highest_rate_hz=40_000.0) == 10_000


def test_below_eight_samples_a_cycle_it_is_no_sine() -> None:
    assert is_fine_enough(16_384, 8000.0, 0.25)
    assert not is_fine_enough(16_384, 9000.0, 0.25)


@pytest.mark.parametrize(
    ("table", "sent"),
    [
        (SampleTable(type="text"), "0.000000,1.000000,-1.000000,0.500000"),
        (SampleTable(type="text", lowest=0, highest=255), "127.500000,255.000000,0.000000,191.250000"),
        (SampleTable(type="int16", lowest=-32767, highest=32767), "#18\x00\x00\x7f\xff\x80\x01\x40\x00"),
        (
            SampleTable(type="int16", lowest=-32767, highest=32767, order="low_first"),
            "#18\x00\x00\xff\x7f\x01\x80\x00\x40",
        ),
        (SampleTable(type="uint16", lowest=0, highest=16383), "#18\x20\x00\x3f\xff\x00\x00\x2f\xff"),
        (SampleTable(type="float32"), "#216\x00\x00\x00\x00\x3f\x80\x00\x00\xbf\x80\x00\x00\x3f\x00\x00\x00"),
    ],
)
def test_samples_are_written_as_the_generator_takes_them(table: SampleTable, sent: str) -> None:
    """Blocks after IEEE 488.2 7.7.6; 32-bit floats after IEEE 754. 8191.5 rounds to even."""
    assert written(np.array([0.0, 1.0, -1.0, 0.5]), table) == sent
