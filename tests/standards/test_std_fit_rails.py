"""The model of the fit, held against an integration in time by scipy that shares no code with it."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from benchctl.fit.model.physics import Kind, Physics
from benchctl.fit.model.rails import followed, settled
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
        drawn=one(1.0),
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
