"""What warms a fuse is the root mean square of the current."""

from __future__ import annotations

import math

import pytest

from benchctl.runner.expected.fuse_load import FuseLoad, fuse_loads, rms_over_mean
from benchctl.runner.expected.supply_draw import Bursts
from tests.runner.rig import amplifier_file


def test_bursts_warm_it_as_their_root_mean_square_does() -> None:
    """100 A for 20 ms and 10 A for 480 ms: sqrt((100^2 x 20 + 10^2 x 480) / 500) = 22.271 A; the mean is 13.6 A."""
    train, burst = fuse_loads(100.0, 10.0, [(Bursts(duty=0.04, low_level_ratio=0.1, burst_s=0.02), 60.0)])
    assert train.rms_a == pytest.approx(22.271, abs=5e-4)
    assert train.for_s == 60.0
    assert burst == FuseLoad(100.0, 0.02, is_part=True)


def test_a_steady_tone_is_one_load() -> None:
    assert fuse_loads(50.0, 0.0, [(None, 5.0)]) == (FuseLoad(50.0, 5.0),)


@pytest.mark.parametrize(("edits", "ratio"), [({}, 1.110721), ({"class: AB": "class: D"}, 1.224745)])
def test_a_bass_tone_warms_it_more_than_its_mean_does(edits: dict[str, str], ratio: float) -> None:
    """|sin|: pi / (2 sqrt 2); sin^2: sqrt(3 / 8) over 1 / 2 (both closed forms)."""
    amplifier = amplifier_file(edits)
    assert rms_over_mean(amplifier, 20.0) == pytest.approx(ratio, abs=1e-6)
    assert rms_over_mean(amplifier, 1000.0) == 1.0
    assert math.isclose(rms_over_mean(amplifier, None), 1.0)
