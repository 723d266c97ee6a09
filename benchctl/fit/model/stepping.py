"""All steps of the rails at once, instead of one after the other.

Each step is taken from where a guess has it begin, together with how its end moves with its begin. A chain of these
straight lines then leads from the true begin through all steps, and is the next guess (Newton's method for a whole
course; Bellen and Zennaro, J. Comput. Appl. Math. 25, 1989). Courses that lie very near one that is known need one such
chain, and no slopes of their own.

A step is exponential in the rail's own decay (exponential Rosenbrock-Euler; Hochbruck and Ostermann, Acta Numerica
2010, section 2), so that a rail that settles far within a step stays stable. What is asked for in a step is taken at
its two Gauss points.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from benchctl.fit.model.converter import charging
from benchctl.fit.model.physics import Kind, Physics, Samples
from benchctl.fit.model.stages import Taken, taken, taken_in_a_cycle

_GAUSS = (0.5 - 0.5 / np.sqrt(3.0), 0.5 + 0.5 / np.sqrt(3.0))

_CLOSE_V = 1e-7
"""A guess that moves by less is the last: the next would move by about the square of that."""

_MOST_GUESSES = 15
_BESIDE_V = 1e-5
"""For slopes: so short that hardly a corner of a clipped sine lies between."""


@dataclass(frozen=True)
class Chain:
    """Begins and ends of all steps, shape (rails, steps, columns), and how each rail's end moves with each rail's
    begin, (rails, rails, steps, columns)."""

    begins_v: Samples
    ends_v: Samples
    slopes: Samples

    def led_from(self, start_v: Samples) -> Samples:
        """The ends of all steps if the first one begins at `start_v`, shape (rails, columns)."""
        # Steps first, for the loop is what takes time.
        slopes = np.ascontiguousarray(np.moveaxis(self.slopes, 2, 0))
        found = np.moveaxis(self.ends_v - (self.slopes * self.begins_v[None]).sum(axis=1), 1, 0).copy()
        here_v = start_v
        for step, moves in enumerate(slopes):
            for rail, rail_v in enumerate(here_v):
                found[step] += moves[:, rail] * rail_v
            here_v = found[step]
        return np.moveaxis(found, 0, 1)

    def that_returns(self) -> Samples:
        """The begin from which all steps lead back to it, shape (rails, columns)."""
        rails, _, columns = self.ends_v.shape
        led_v = self.led_from(np.zeros((rails, columns)))[:, -1]
        whole = np.broadcast_to(np.eye(rails)[:, :, None], (rails, rails, columns))
        for step in range(self.ends_v.shape[1]):
            whole = np.einsum("ijc,jkc->ikc", self.slopes[:, :, step], whole)
        left = np.eye(rails) - np.moveaxis(whole, -1, 0)
        return np.asarray(np.linalg.solve(left, led_v.T[:, :, None])[:, :, 0].T)


class Steps:
    """Steps of all columns, from times to times, shape (steps, columns)."""

    def __init__(self, of: Physics, kind: Kind, from_s: Samples, to_s: Samples) -> None:
        self._of, self._kind, self._lasting_s = of.along_times(), kind, to_s - from_s
        self._asked_v = [] if kind.averaged else [self._of.asked_v(from_s + part * (to_s - from_s)) for part in _GAUSS]

    def ends_v(self, begins_v: Samples) -> Samples:
        """Where the rails are after each step."""
        of, rails = self._of, len(begins_v)
        load = self._load(begins_v)
        flow = charging(of, self._kind, begins_v)
        path_s = 1.0 / (rails * of.stiffness_ohm)
        reflected = of.input_ohm(self._kind) * path_s
        elastance = rails / of.reservoir_f
        charges_s = (flow.charge_a > 0.0) * path_s * (1.0 - reflected / (1.0 + rails * reflected))
        decay = (charges_s + load.slope_s) * elastance
        slope = (flow.charge_a - load.load_a) * elastance
        return np.asarray(begins_v - slope * np.expm1(-decay * self._lasting_s) / decay)

    def _load(self, rails_v: Samples) -> Taken:
        if self._kind.averaged:
            return taken_in_a_cycle(self._of, self._kind, rails_v)
        first, second = (taken(self._of, self._kind, asked_v, rails_v) for asked_v in self._asked_v)
        return Taken((first.load_a + second.load_a) / 2.0, (first.slope_s + second.slope_s) / 2.0)

    def chain(self, begins_v: Samples) -> Chain:
        """The steps from these begins, each with its slopes."""
        ends_v = self.ends_v(begins_v)
        slopes = np.empty((len(begins_v), *begins_v.shape))
        for rail in range(len(begins_v)):
            beside_v = begins_v.copy()
            beside_v[rail] += _BESIDE_V
            slopes[:, rail] = (self.ends_v(beside_v) - ends_v) / _BESIDE_V
        return Chain(begins_v, ends_v, slopes)

    def chain_near(self, known: Chain, sets: int) -> Chain:
        """The same of columns of which each `sets` in a row lie very near one of the known chain."""
        begins_v = np.repeat(known.begins_v, sets, axis=-1)
        return Chain(begins_v, self.ends_v(begins_v), np.repeat(known.slopes, sets, axis=-1))


def chained(steps: Steps, guess_v: Samples, start_of: Callable[[Chain], Samples]) -> Chain:
    """The chain whose steps begin where the ones before end; the first at what `start_of` a chain gives."""
    for _ in range(_MOST_GUESSES):
        chain = steps.chain(guess_v)
        start_v = start_of(chain)
        guess_v = np.concatenate([start_v[:, None], chain.led_from(start_v)[:, :-1]], axis=1)
        if not float(np.abs(guess_v - chain.begins_v).max()) > _CLOSE_V:
            break
    return chain
