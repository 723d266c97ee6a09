"""The model of the fit, held against an integration in time by scipy that shares no code with it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from benchctl.fit.model.physics import Kind, Physics
from benchctl.fit.model.rails import followed, recovering_a, settled
from benchctl.fit.model.stages import inside_v
from tests.standards.rail_by_scipy import HX2150

Samples = NDArray[np.float64]

NOISE_V = 0.007
"""Of a sample of 12 bits of 100 V, 24.6 mV a step: step/sqrt 12."""


def physics(level_v: float) -> Physics:
    """The amplifier of the independent integration."""
    of = HX2150

    def one(value: float) -> Samples:
        return np.array([value])

    return Physics(
        supply_v=one(of.supply_v),
        path_ohm=one(of.lead_ohm),
        steady_a=one(of.small_stages_a),
        ratio=one(of.open_rail_v / of.supply_v),
        held_v=one(of.open_rail_v),
        efficiency=one(of.efficiency),
        stiffness_ohm=one(of.stiffness_ohm),
        reservoir_f=one(of.reservoir_f),
        bleed_ohm=one(of.bleeder_ohm),
        bias_a=one(2 * of.bias_a),
        saturation_v=one(of.saturation_v),
        knee=one(2e-4),
        conduction_ohm=one(0.0),
        switching_s=one(0.0),
        edges=one(0.0),
        output_ohm=one(of.output_ohm),
        load_ohm=np.array([[ohm] for ohm in of.loads_ohm]),
        peak_v=np.full((2, 1), of.gain * math.sqrt(2) * level_v),
        dc_v=np.zeros((2, 1)),
        phase=np.zeros((2, 1)),
        angular_hz=one(2 * math.pi * 1000.0),
    )


def test_a_steady_tone_has_the_rails_and_the_output_of_the_integration() -> None:
    """Rails are within a tenth of the noise; the output too, but where a step of 40 us meets the corner of a clip."""
    times_s, rails_v, output_v = HX2150.settled(0.85, 1000.0, points=25)
    of, kind = physics(0.85), Kind()
    start_v = settled(of, kind)
    course = followed(of, kind, start_v, (times_s - times_s[0])[:, None])
    assert np.abs(course.rails_v[:, :, 0].T - rails_v).max() < NOISE_V
    inside = [
        inside_v(of, kind, of.asked_v(np.array([time_s])), rails_v)[0, 0]
        for time_s, rails_v in zip(times_s - times_s[0], course.rails_v, strict=True)
    ]
    assert np.abs(np.array(inside) - output_v).max() < NOISE_V


def test_columns_near_one_another_are_followed_as_if_each_were_alone() -> None:
    """By its definition a Jacobian's set lies within a step of a millionth; 1e-5 of it is a hundredth of a percent."""
    apart = 1e-6
    of, kind = physics(0.95), Kind()
    moved = replace(of, stiffness_ohm=of.stiffness_ohm * (1.0 + apart))
    both = Physics(**{name: np.concatenate([value, getattr(moved, name)], axis=-1) for name, value in vars(of).items()})
    times_s = np.linspace(0.0, 5e-3, 126)[:, None]
    together = followed(both, kind, settled(both, kind, 2), np.repeat(times_s, 2, axis=1), 2).rails_v
    alone = [followed(each, kind, settled(each, kind), times_s).rails_v[:, :, 0] for each in (of, moved)]
    change_v = (together[:, :, 1] - together[:, :, 0], alone[1] - alone[0])
    assert np.abs(change_v[0] - change_v[1]).max() < 1e-3 * np.abs(change_v[1]).max()


def test_held_rails_recover_as_they_do_step_by_step() -> None:
    """The current after a burst in closed form, and as the mean of a cycle of the quiet tone that follows."""
    of, kind = physics(0.6), Kind(regulated=True)
    of = replace(of, stiffness_ohm=np.array([0.02]), reservoir_f=np.array([5e-3]))
    quiet = replace(of, peak_v=0.1 * of.peak_v)
    times_s = np.linspace(0.0, 1e-3, 201)[:, None]
    quiet_v = settled(quiet, kind)
    burst_v = followed(of, kind, quiet_v, times_s).rails_v[-1]
    current_a, _ = recovering_a(of, kind, burst_v, quiet_v, 0.1, np.array([0.0, 1e-3]))
    after_a = followed(quiet, kind, burst_v, times_s).supply_a[:, 0]
    mean_a = (after_a.sum() - (after_a[0] + after_a[-1]) / 2.0) / (len(after_a) - 1)
    assert abs(current_a[0, 0] / mean_a - 1.0) < 2e-3
