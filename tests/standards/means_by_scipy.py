"""Rails that follow the means of a cycle, integrated in time by scipy, with means by quadrature: shares no code with
the fit's model."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import quad, solve_ivp

from benchctl.fit.model.physics import Physics

Samples = NDArray[np.float64]


def rails_by_means(of: Physics, start_v: float, times_s: Samples) -> Samples:
    """dV/dt of both rails as one: charge, less bias, bleed and the mean size of both output currents."""

    def change(_time_s: float, rail_v: Samples) -> list[float]:
        v = float(rail_v[0])
        lumped_ohm = of.stiffness_ohm[0] + of.path_ohm[0] * of.ratio[0] ** 2 / of.efficiency[0]
        charge_a = (of.ratio[0] * (of.supply_v[0] - of.path_ohm[0] * of.steady_a[0]) - v) / lumped_ohm
        load_a = sum(
            mean_size(float(of.peak_v[row, 0]), v - float(of.saturation_v[0]))
            / float(of.load_ohm[row, 0] + of.output_ohm[0])
            for row in range(2)
        )
        return [float((charge_a - of.bias_a[0] - v / of.bleed_ohm[0] - load_a) / of.reservoir_f[0])]

    found = solve_ivp(change, (0.0, float(times_s[-1])), [start_v], t_eval=times_s, max_step=5e-4, rtol=1e-7)
    return np.asarray(found.y[0])


def mean_size(peak_v: float, limit_v: float) -> float:
    """Mean of |clip(a sin)| by quadrature over a quarter of a cycle."""
    corner = math.asin(min(limit_v / peak_v, 1.0))
    whole, _ = quad(lambda angle: min(peak_v * math.sin(angle), limit_v), 0.0, math.pi / 2, points=[corner])
    return 2.0 / math.pi * whole
