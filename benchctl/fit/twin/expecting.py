"""What an amplifier should show where it is driven as a run drives it, if it is as it was fitted.

Every number of the circuit, every load and the supply is moved by its standard uncertainty, one at a time, and what the
model makes of that adds in squares. They are taken as independent: which of them the fit told together is not kept.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.amplifier_file.fitted import AmplifierFitted
from benchctl.fit.model.assembled import assembled
from benchctl.fit.model.physics import Physics, Samples
from benchctl.fit.prediction.asked import THD_LIMIT, Predicted
from benchctl.fit.prediction.drives import Steady, clean_burst, clean_steady, full_droop, steady_at
from benchctl.fit.prediction.predicting import MODEL_U, SEARCHED
from benchctl.fit.twin.known import USUAL_PATH, fitted_kind, known_numbers, told_as
from benchctl.fit.twin.refused import is_of_the_fit, of_supply, reasons
from benchctl.fit.twin.surroundings import Surroundings, Uncertain
from benchctl.measure.uncertainty import COVERAGE_FACTOR

IDLE_MOVES = 0.15
"""Part by which the idle current of a sound amplifier may differ with its temperature, as a standard uncertainty
(common practice: bias drifts by up to a half between cold and hot)."""

COMPRESSED = 0.01
"""Part that a clean level may lack of its gain, of the distortion that it has; a standard uncertainty."""


DROOP_U, LEAST_DROOP_U = 0.02, 5e-4
"""Of a predicted droop: its part that the model may be off, and what the shape of the tops may add; standard
uncertainties, set after trials on simulated amplifiers."""

NEAR_ZERO_OHM = 1e-6


@dataclass(frozen=True)
class Refused:
    """Why nothing is predicted."""

    reasons: tuple[str, ...]


class Twin:
    """The amplifier as its file's `fitted:` part has it, on a bench with a title."""

    def __init__(self, amplifier: Amplifier, fitted: AmplifierFitted, bench: str) -> None:
        self.amplifier, self.fitted = amplifier, fitted
        self.kind = fitted_kind(amplifier, fitted)
        self._numbers = known_numbers(fitted, self.kind)
        if bench != fitted.bench:  # whose leads are not those of the fitted run
            self._numbers["path_ohm"] = USUAL_PATH
        self._model_u = MODEL_U["D" if self.kind.switching else "AB"]

    def clean_tone(self, at: Surroundings) -> tuple[Predicted, ...] | Refused:
        """Power of each channel, supply current and efficiency at the highest clean level."""
        if refused := tuple(reasons(self.amplifier, self.fitted, at, bursts=False)):
            return Refused(refused)
        of = self._physics(at)
        steady, lower = clean_steady(of, self.kind, THD_LIMIT, SEARCHED)
        return self._finite(self._of_steady(steady, lower, of.supply_v if not at.sees_terminals else None))

    def tone_at(self, at: Surroundings, level_v: float) -> tuple[Predicted, ...] | Refused:
        """The supply's current under a tone of a level, V RMS at the input."""
        if refused := tuple(reasons(self.amplifier, self.fitted, at, bursts=False)):
            return Refused(refused)
        of = self._physics(at)
        level = np.full(of.supply_v.shape, math.sqrt(2.0) * level_v)
        current = steady_at(of, self.kind, level).supply_a
        return self._finite(iter([self._predicted("supply_current", "", "A", current, float(current[0]))]))

    def clean_burst(self, at: Surroundings, cycles: int, quiet: float) -> tuple[Predicted, ...] | Refused:
        """Power of each channel in the lowest cycle of a burst at its highest clean level; `quiet`: between bursts."""
        if refused := tuple(reasons(self.amplifier, self.fitted, at, bursts=True)):
            return Refused(refused)
        powers, lower = clean_burst(self._physics(at), self.kind, quiet, cycles, THD_LIMIT, SEARCHED)
        return self._finite(
            self._predicted("burst_power_clean", channel, "W", powers[row], float(lower[row, 0]), cycles=cycles)
            for row, channel in enumerate(self.amplifier.channels)
        )

    def full_droop(self, at: Surroundings, cycles: int, quiet: float) -> tuple[Predicted, ...] | Refused:
        """How far the peaks of each channel sink in a burst whose first cycle is at its highest clean level."""
        if refused := tuple(reasons(self.amplifier, self.fitted, at, bursts=True)):
            return Refused(refused)
        found, lower = full_droop(self._physics(at), self.kind, quiet, cycles, THD_LIMIT, SEARCHED)
        return self._finite(
            self._predicted(
                "droop",
                channel,
                "1",
                found[row],
                float(lower[row, 0]),
                cycles=cycles,
                model_u=DROOP_U,
                least_u=LEAST_DROOP_U,
            )
            for row, channel in enumerate(self.amplifier.channels)
        )

    def idle(self, at: Surroundings) -> tuple[Predicted, ...] | Refused:
        """The supply's current with nothing at the inputs."""
        refused = tuple(of_supply(self.fitted, at))
        if self.fitted.idle_current is None:
            refused = ("the fit does not tell the idle current",)
        if refused or self.fitted.idle_current is None:
            return Refused(refused)
        told = told_as(self.fitted.idle_current)
        moves = COVERAGE_FACTOR * IDLE_MOVES * told.value
        parts = {"parameters": COVERAGE_FACTOR * told.u, "temperature": moves}
        return (Predicted("idle_current", "", "A", told.value, math.hypot(*parts.values()), 0, parts),)

    def gains(self, at: Surroundings, *, at_clean_level: bool) -> tuple[Predicted, ...]:
        """Output over input of each driven channel that the fit tells, into the load that is there."""
        output = self._numbers["output_ohm"]
        found = []
        for channel in (each for each in at.driven if each in self.fitted.gain):
            gain = told_as(self.fitted.gain[channel])
            load_ohm = at.loads[channel].value if channel in at.loads else at.load_ohm or math.inf
            value = gain.value / (1.0 + output.value / load_ohm)
            lacks = COMPRESSED if at_clean_level else 0.0
            parts = {
                "parameters": COVERAGE_FACTOR * value * math.hypot(gain.u / gain.value, output.u / load_ohm),
                "model": COVERAGE_FACTOR * value * lacks,
            }
            found.append(Predicted("gain", channel, "1", value, math.hypot(*parts.values()), 0, parts))
        return tuple(found)

    def _of_steady(self, steady: Steady, lower: Steady, supply_v: Samples | None) -> Iterator[Predicted]:
        """`supply_v`: where it is known at the supply's output only, efficiency is reckoned from there."""
        for row, channel in enumerate(self.amplifier.channels):
            power, less = steady.power_w[row], float(lower.power_w[row, 0])
            yield self._predicted("continuous_power", channel, "W", power, less)
        yield self._predicted("supply_current", "", "A", steady.supply_a, float(lower.supply_a[0]))
        if supply_v is None:
            yield self._predicted("supply_voltage", "", "V", steady.terminal_v, float(lower.terminal_v[0]))
        efficiency, less_efficient = (
            each.power_w.sum(axis=0)
            / (each.supply_a * (each.terminal_v if supply_v is None else supply_v[: each.supply_a.size]))
            for each in (steady, lower)
        )
        yield self._predicted("efficiency", "", "1", efficiency, float(less_efficient[0]))

    def _predicted(
        self,
        name: str,
        channel: str,
        unit: str,
        values: Samples,
        lower: float,
        *,
        cycles: int = 0,
        model_u: float | None = None,
        least_u: float = 0.0,
    ) -> Predicted:
        value = float(values[0])
        relative_u = self._model_u if model_u is None else model_u
        parts: Mapping[str, float] = {
            "parameters": COVERAGE_FACTOR * float(np.linalg.norm(values[1:] - value)),
            "search": COVERAGE_FACTOR * abs(value - lower) / math.sqrt(3.0),
            "model": COVERAGE_FACTOR * math.hypot(relative_u * value, least_u),
        }
        return Predicted(name, channel, unit, value, math.hypot(*parts.values()), cycles, parts)

    def _finite(self, found: Iterator[Predicted]) -> tuple[Predicted, ...] | Refused:
        predicted = tuple(found)
        if all(math.isfinite(each.value + each.expanded_uncertainty) for each in predicted):
            return predicted
        return Refused(("the model gives no finite value there",))

    def _path(self, at: Surroundings) -> Uncertain:
        """From the supply to the amplifier: as sensed, as fitted, as the bench file says at the most, or as usual."""
        if at.senses_terminals:
            return Uncertain(NEAR_ZERO_OHM, 0.0)
        known = self._numbers["path_ohm"]
        stated = None if at.leads_ohm is None else Uncertain(at.leads_ohm / 2.0, at.leads_ohm / 4.0)
        return known if stated is None or known.u < stated.u else stated

    def _physics(self, at: Surroundings) -> Physics:
        """The first column as known, then one for each number that is moved."""
        channels = self.amplifier.channels
        numbers = self._numbers | {"supply": at.supply, "path_ohm": self._path(at)}
        if self.fitted.output_resistance is None and is_of_the_fit(self.fitted, at.load_ohm or 0.0):
            # In a load of the fit, its headroom holds what the outputs may have.
            numbers["output_ohm"] = replace(numbers["output_ohm"], u=0.0)
        numbers |= {f"load {channel}": at.loads[channel] for channel in channels}
        numbers |= {f"gain {channel}": told_as(self.fitted.gain[channel]) for channel in channels}
        columns = _moved(numbers)
        if self.kind.switching:
            # n/eta was told for the rail of the fit; efficiency stays where the rail moves.
            rail_v = columns["headroom_v"][0] + columns["saturation_v"][0]
            columns["efficiency"] = rail_v / self.amplifier.supply.nominal_v / columns["input_ratio"]
        nothing = np.zeros((len(channels), len(next(iter(columns.values())))))
        return assembled(
            columns.__getitem__,
            self.kind,
            self.amplifier.supply.nominal_v,
            supply_v=columns["supply"],
            load_ohm=np.array([columns[f"load {channel}"] for channel in channels]),
            peak_v=np.array([columns[f"gain {channel}"] for channel in channels]),
            dc_v=nothing,
            phase=nothing,
            angular_hz=np.full(nothing.shape[1], 2.0 * math.pi * (at.frequency_hz or 1e3)),
        )


def _moved(numbers: Mapping[str, Uncertain]) -> dict[str, Samples]:
    moving = [name for name, each in numbers.items() if each.u > 0.0]
    columns = {name: np.full(1 + len(moving), each.value) for name, each in numbers.items()}
    for column, name in enumerate(moving, start=1):
        columns[name][column] += numbers[name].u
    return columns
