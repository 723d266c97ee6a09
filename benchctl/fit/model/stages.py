"""The output stages: the voltage at each output, and what they take from the rails.

Class AB takes its output current from one rail at a time. Class D takes power: with v inside an output, r in the path,
its current from a rail V is v² (1 + r/(RL + Ro))/((RL + Ro) V). Switching takes a current in proportion to V, and the
edges of its carrier, where voltage and current overlap, one in proportion to the output current.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from benchctl.fit.model.physics import Kind, Physics, Samples

_LEAST_V = 1e-3


class Taken(NamedTuple):
    """From each rail in A, and how it rises with that rail in A/V; a row for each rail."""

    load_a: Samples
    slope_s: Samples


def mean_size(peak_v: Samples, dc_v: Samples) -> Samples:
    """Mean of |a sin + d| over a cycle: (2/pi) (sqrt(a² - d²) + d asin(d/a)), and |d| where it never crosses 0."""
    part = np.clip(dc_v / np.maximum(np.abs(peak_v), 1e-12), -1.0, 1.0)
    crossing = 2.0 / np.pi * (np.abs(peak_v) * np.sqrt(1.0 - part**2) + dc_v * np.arcsin(part))
    return np.where(np.abs(part) < 1.0, crossing, np.abs(dc_v))


def inside_v(of: Physics, kind: Kind, asked_v: Samples, rails_v: Samples) -> Samples:
    """Voltage inside each output, shape (channels, columns): clipped as the rails allow."""
    size_v, _ = _clipped(of, kind, asked_v, rails_v)
    return np.asarray(np.copysign(size_v, asked_v))


def taken(of: Physics, kind: Kind, asked_v: Samples, rails_v: Samples) -> Taken:
    """What outputs, bias and bleed take from each rail."""
    size_v, follows = _clipped(of, kind, asked_v, rails_v)
    path_s = 1.0 / (of.load_ohm + of.output_ohm)
    rails = len(rails_v)
    load_a, slope_s = _always(of, rails_v)
    if kind.switching:
        squares = Taken(size_v**2 * path_s, size_v * follows * path_s)
        return _switched(of, squares, Taken(size_v * path_s, follows * path_s), rails_v)
    each_a, each_s = kind.halves * size_v * path_s, kind.halves * follows * path_s
    if rails == 1:
        return Taken(load_a + each_a.sum(axis=0), slope_s + each_s.sum(axis=0))
    rises = asked_v >= 0.0
    sides = np.array([rises, ~rises])
    return Taken(load_a + (sides * each_a).sum(axis=1), slope_s + (sides * each_s).sum(axis=1))


def taken_in_a_cycle(of: Physics, kind: Kind, rails_v: Samples) -> Taken:
    """The same as means over a cycle of the whole sine.

    Below the onset of clipping the integrals of |v| and v² are closed forms; from there to the crest they are summed at
    Gauss-Legendre points.
    """
    limit_v, swing = _limit(of, kind, rails_v[0])
    onset_v = (1.0 - of.knee) * limit_v
    peak_v = np.maximum(of.peak_v, _LEAST_V)
    onset = np.arcsin(np.minimum(onset_v / peak_v, 1.0))
    points, weights = (each.reshape(-1, *[1] * onset.ndim) for each in (_POINTS, _WEIGHTS))
    angles = onset + (np.pi / 2.0 - onset) * points
    weights = (np.pi / 2.0 - onset) * weights
    clipped_v, follows = _bent(of, swing, limit_v, peak_v * np.sin(angles))
    path_s = 1.0 / (of.load_ohm + of.output_ohm)
    part = 2.0 / np.pi
    load_a, slope_s = _always(of, rails_v)
    size_v = part * (peak_v * (1.0 - np.cos(onset)) + (weights * clipped_v).sum(axis=0))
    more_s = part * (weights * follows).sum(axis=0)
    if kind.switching:
        below_v2 = peak_v**2 * (onset / 2.0 - np.sin(2.0 * onset) / 4.0)
        square_v2 = part * (below_v2 + (weights * clipped_v**2).sum(axis=0))
        follows_v = part * (weights * clipped_v * follows).sum(axis=0)
        squares = Taken(square_v2 * path_s, follows_v * path_s)
        return _switched(of, squares, Taken(size_v * path_s, more_s * path_s), rails_v)
    size_v = size_v + mean_size(peak_v, of.dc_v) - part * peak_v
    total_a, total_s = (kind.halves * (each * path_s).sum(axis=0) for each in (size_v, more_s))
    return Taken(load_a + total_a, slope_s + total_s)


def _always(of: Physics, rails_v: Samples) -> tuple[Samples, Samples]:
    """Bias and bleed, from each rail."""
    rails = len(rails_v)
    bleed_s = 1.0 / (rails * of.bleed_ohm)
    return of.bias_a / rails + rails_v * bleed_s, np.broadcast_to(bleed_s, rails_v.shape)


def _switched(of: Physics, squares: Taken, sizes: Taken, rails_v: Samples) -> Taken:
    """Class D.

    Args:
        squares: of each output the power v²/(RL + Ro), and v dv/dV/(RL + Ro).
        sizes: of each output the size of its current, and how that rises with the rail.
    """
    lost = 1.0 + of.conduction_ohm / (of.load_ohm + of.output_ohm)
    load_a, slope_s = _always(of, rails_v)
    rail_v = np.maximum(rails_v, _LEAST_V)
    power_a = (squares.load_a * lost).sum(axis=0) / rail_v
    more_s = (2.0 * squares.slope_s * lost).sum(axis=0) / rail_v
    edges_a, more_edges_s = (of.edges * each.sum(axis=0) for each in sizes)
    return Taken(
        load_a + power_a + of.switching_s * rail_v + edges_a,
        slope_s + more_s - power_a / rail_v + of.switching_s + more_edges_s,
    )


def _clipped(of: Physics, kind: Kind, asked_v: Samples, rails_v: Samples) -> tuple[Samples, Samples]:
    """Size inside each output, and how it rises with its rail where it is clipped."""
    rail_v = rails_v[0] if len(rails_v) == 1 else np.where(asked_v >= 0.0, rails_v[0], rails_v[1])
    limit_v, swing = _limit(of, kind, rail_v)
    return _bent(of, swing, limit_v, np.abs(asked_v))


def _limit(of: Physics, kind: Kind, rail_v: Samples) -> tuple[Samples, Samples]:
    """Where each output clips, and how that rises with the rail."""
    swing = kind.halves * np.ones_like(of.load_ohm)
    if kind.switching:
        swing = swing / (1.0 + of.conduction_ohm / (of.load_ohm + of.output_ohm))
    return np.maximum(swing * (rail_v - of.saturation_v), _LEAST_V), swing


def _bent(of: Physics, swing: Samples, limit_v: Samples, size_v: Samples) -> tuple[Samples, Samples]:
    """Straight up to the onset, from there on a tanh towards the limit; and its slope with the rail."""
    onset_v, room_v = (1.0 - of.knee) * limit_v, np.maximum(of.knee, 1e-9) * limit_v
    clips = size_v > onset_v
    if not clips.any():
        return size_v, np.zeros_like(size_v)
    bend = np.tanh(np.maximum(size_v - onset_v, 0.0) / room_v)
    return np.where(clips, onset_v + room_v * bend, size_v), np.where(clips, swing * bend, 0.0)


_LEGENDRE = np.polynomial.legendre.leggauss(10)
_POINTS, _WEIGHTS = (_LEGENDRE[0] + 1.0) / 2.0, _LEGENDRE[1] / 2.0
