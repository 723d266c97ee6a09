"""The fit of one run: from closed forms, in rounds of finer and finer weight, to what is told and how well.

Rounds: at first every noise is taken many times as large as it is, so that a start that is far off leads there by large
steps; then as it is. A rail that swings within the cycle and one that follows its means are both tried so, and the one
that comes nearer goes on alone. Where an item fits worse than chance allows, its noise is taken as large as its
misfit, so that no interval is narrower than the model deserves; an item that stands out from all others is left out,
and that is said.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.errors import MeasurementError
from benchctl.fit.forward import Forward
from benchctl.fit.model.physics import Kind
from benchctl.fit.parameters import Parameters, Samples
from benchctl.fit.plausible import parameters_for
from benchctl.fit.reading.items import Take
from benchctl.fit.reading.taking import RunTaken
from benchctl.fit.showing import Rows
from benchctl.fit.solver import ARRIVED, Solution, solve
from benchctl.fit.starts import starts

ROUNDS = ((30.0, 1.0), (4.0, 0.5))
"""Factor on every noise, and how near (in standard deviations) a round goes to its end."""

FIRST_KNEE = 0.03
ROUGH = ("knee", "steady_share", "switching_share", "give_s")
"""Where clipping is hard, each step of the knee passes corners of clipped sines. The shares of the idle current end
where nothing of it is left for the bias. How long a supply gives way means nothing where it hardly does."""

BEYOND_CHANCE = 2.0
"""Mean square of an item's residuals, over its noise, from which it counts as a misfit."""

TELLS_NOISE = 50
"""So many values of an item tell their noise by how they fit: steps of a converter that nothing averages out show less
of it between neighbours than there is."""

STANDS_OUT = 50.0
"""Mean square at which an item is left out, if it is also so many times that of the others together."""

MOST_LEFT_OUT = 3
LEFT_OUT = 1e4
"""Factor on the noise of what is left out."""


@dataclass(frozen=True)
class Misfit:
    """How an item fits: `mean_square` of its residuals over its noise, 1 for a model that is right."""

    take: Take
    signal: str
    mean_square: float
    values: int

    def is_same(self, other: Misfit) -> bool:
        """Whether both are of one item."""
        return self.take.file == other.take.file and self.signal == other.signal

    @property
    def is_beyond_chance(self) -> bool:
        """Whether chance alone hardly explains it: six standard deviations of a mean of squares over it, and double."""
        return self.mean_square > max(BEYOND_CHANCE, 1.0 + 6.0 * math.sqrt(2.0 / self.values))


@dataclass(frozen=True)
class Fitted:
    """The outcome.

    Attributes:
        parameters: and `solution`, their coordinates with covariance.
        scaled: the factor that the solution took on the noise of each value.
        misfits: of all items, the ones that were left out too.
        left_out: items that stood out from the others.
    """

    run: RunTaken
    kind: Kind
    forward: Forward
    parameters: Parameters
    solution: Solution
    scaled: Samples
    misfits: tuple[Misfit, ...]
    left_out: tuple[Misfit, ...]

    @property
    def nominal_v(self) -> float:
        """The supply voltage that rails and headroom are stated at."""
        return self.run.amplifier.supply.nominal_v

    @property
    def path_ohm(self) -> tuple[float, float]:
        """Of supply and leads, with its standard uncertainty; its coordinate is a logarithm."""
        place = self.parameters.place("path_ohm")
        value = float(self.parameters.values(self.solution.coordinates)[place])
        spread = self.parameters.each[place].spread * math.sqrt(float(self.solution.covariance[place, place]))
        return value, value * spread


def fit(run: RunTaken) -> Fitted:
    """Fit the run's records.

    Raises:
        MeasurementError: the run holds nothing that a fit can use.
    """
    if not run.takes:
        raise MeasurementError(
            "the run has no burst, no continuous tone and no idle, so there is nothing to fit",
            advice="Fit a run of 'burst_and_continuous', 'before_and_after' or 'full_report'.",
        )
    fitted = _fitted(run)
    left_out: list[Misfit] = []
    while len(left_out) < MOST_LEFT_OUT and (worst := _standing_out(fitted.misfits, left_out)) is not None:
        left_out.append(worst)
        fitted = _again(fitted, left_out)
        fitted = replace(fitted, misfits=_misfits(fitted.forward, fitted.solution.coordinates))
    return _with_shared(replace(_again(fitted, left_out), left_out=tuple(left_out)))


def _ways(kind: Kind) -> tuple[bool, ...]:
    """Whether rails follow the means of a cycle: both are tried, but not of held rails, which recover too fast."""
    return (False,) if kind.regulated else (False, True)


def kind_of(amplifier: Amplifier) -> Kind:
    """What the amplifier file says of the circuit."""
    return Kind(
        switching=amplifier.amplifier_class == "D",
        regulated=amplifier.rails == "regulated",
        halves=2 if amplifier.outputs == "floating" else 1,
    )


def _fitted(run: RunTaken) -> Fitted:
    """In rounds, and with every item."""
    amplifier, takes = run.amplifier, run.takes
    kind = kind_of(amplifier)
    started = starts(takes, amplifier.channels, kind, amplifier.supply.nominal_v)
    parameters = parameters_for(takes, amplifier.channels, kind, run.bench, started)

    def forward_of(kind: Kind) -> Forward:
        return Forward(
            takes,
            amplifier.channels,
            kind,
            amplifier.supply.nominal_v,
            parameters,
            senses_terminals=run.bench.senses_terminals,
        )

    begun = parameters.coordinates({"knee": FIRST_KNEE})
    ways = [forward_of(replace(kind, averaged=averaged)) for averaged in _ways(kind)]
    coarse, forward = min(((_in_rounds(way, begun), way) for way in ways), key=lambda each: each[0].cost)
    forward = forward.weighing_at(coarse.coordinates)
    # What fits so badly that it shows even here counts little from here on, or it would lead the others astray.
    scaled = _scaled(forward, _misfits(forward, coarse.coordinates), ())
    solution = _round(forward, coarse.coordinates, scaled)
    misfits = _misfits(forward, solution.coordinates)
    return Fitted(run, forward.kind, forward, parameters, solution, scaled, misfits, ())


def _in_rounds(forward: Forward, start: Samples) -> Solution:
    """Near the end, with every noise still taken larger than it is."""
    for factor, near in ROUNDS:
        found = _round(forward, start, np.full(forward.values, factor), near)
        start = found.coordinates
    return found


def _round(forward: Forward, start: Samples, scaled: Samples, near: float = ARRIVED) -> Solution:
    return solve(
        lambda at: forward.residuals(at, scaled),
        lambda at: forward.jacobian(at, scaled),
        start,
        near,
        rough=tuple(forward.parameters.place(name) for name in ROUGH if forward.parameters.has(name)),
    )


def _again(fitted: Fitted, left_out: Sequence[Misfit]) -> Fitted:
    """From where it is, without what stands out, and with the noise of what fits badly as large as its misfit."""
    scaled = _scaled(fitted.forward, fitted.misfits, left_out)
    if (scaled == fitted.scaled).all():
        return fitted
    solution = _round(fitted.forward, fitted.solution.coordinates, scaled)
    return replace(fitted, solution=solution, scaled=scaled)


def _with_shared(fitted: Fitted) -> Fitted:
    """With the covariance that counts what records share, though the weights do not: for an estimate with weights W
    of errors with covariance S it is (J'WJ)^-1 J'WSWJ (J'WJ)^-1."""
    solution = fitted.solution
    shared = fitted.forward.noise.beside_weights(solution.jacobian[:-1], fitted.scaled)
    covariance = solution.covariance + solution.covariance @ shared @ solution.covariance
    return replace(fitted, solution=replace(solution, covariance=covariance))


def _scaled(forward: Forward, misfits: Sequence[Misfit], left_out: Sequence[Misfit]) -> Samples:
    """A factor on the noise of each value."""
    found = np.ones(forward.values)
    for rows, misfit in zip(forward.rows, misfits, strict=True):
        out = any(misfit.is_same(other) for other in left_out)
        tells = misfit.is_beyond_chance or misfit.values >= TELLS_NOISE
        factor = LEFT_OUT if out else np.sqrt(max(misfit.mean_square, 1.0)) if tells else 1.0
        found[rows.start : rows.stop] = factor
    return found


def _misfits(forward: Forward, coordinates: Samples) -> tuple[Misfit, ...]:
    errors = forward.residuals(coordinates, np.ones(forward.values))
    return tuple(_misfit(forward, rows, errors[rows.start : rows.stop]) for rows in forward.rows)


def _misfit(forward: Forward, rows: Rows, errors: Samples) -> Misfit:
    return Misfit(forward.takes[rows.take], rows.item.signal, float(np.mean(errors**2)), len(errors))


def _standing_out(misfits: Sequence[Misfit], left_out: Sequence[Misfit]) -> Misfit | None:
    """The worst of all, if it is far worse than half of them."""
    others = [misfit for misfit in misfits if not any(misfit.is_same(other) for other in left_out)]
    worst = max(others, key=lambda misfit: misfit.mean_square)
    usual = float(np.median([misfit.mean_square for misfit in others]))
    return worst if worst.mean_square > STANDS_OUT * max(usual, 1.0) else None
