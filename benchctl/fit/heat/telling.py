"""Thermal resistance to the air, heat capacity and lag: as quantities with their uncertainty, or untold with a reason.

Heat is what the supply gives, less what its leads and the loads take. Loss to the air, capacity, lags and the warmth at
the beginning are fitted, and an error of the heat in each of some parts of the run. In a long run every error that the
bench file states stays as it is stated, and counts in U with all of it: a course of temperature could seem to tell some
of them, but only if a heatsink lost its heat exactly in proportion. In a short run little of the heat is lost. There
these errors are fitted too: beside a loss that is hardly told, one that stays where it is would pull all the rest.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.entries import FiguresEntry, context_of
from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.errors import ArchiveError, MeasurementError
from benchctl.fit.heat.course import rises
from benchctl.fit.heat.taken import MARGINAL, MARGINAL_U, HeatTaken, heat_taken
from benchctl.fit.parameters import Parameter, Parameters
from benchctl.fit.plausible import USUAL_PATH_OHM
from benchctl.fit.reading.taking import RunTaken
from benchctl.fit.solver import Solution, solve
from benchctl.fit.told import Quantity
from benchctl.measure.uncertainty import Accuracy

Samples = NDArray[np.float64]

LEAST_SPAN = 0.5
"""Of the time constant: a shorter run does not tell how it ends, and claims too much (seen in trials)."""

MOST_RELATIVE_U = 0.125
"""A standard uncertainty beyond it is called untold."""

MOST_OFF = 0.02
"""Root mean square of what the model leaves, over the warming: with more, it is another course than the model's."""

LEAST_WARMING_K = 3.0
MOST_BURSTS = 0.1
"""Of the heat: so much at most may come from bursts whose power into the loads no figure holds."""

PLAUSIBLE = 1.0
"""Standard deviation of the loss to the air, as a part of what the amplifier file says, and of the logarithm of the
capacity, before anything is measured (common practice). The course goes evenly with the loss, and not with the
resistance to the air: so U is true of a run that hardly tells it, too."""

USUAL_DEVICES_S, USUAL_SENSOR_S, LAG_PLAUSIBLE = 4.0, 1.0, 1.0
"""Lags of the devices' side and of a sensor that is clamped on, with the standard deviation of their logarithms (common
practice)."""

START_K = 5.0
"""Standard deviation of what a heatsink may be warmer than the air at the beginning (common practice)."""

UNREAD_AIR_K = 3.0
"""By how much air that nobody measured may be off the first reading of a heatsink, and move in a run; a standard
uncertainty (common practice)."""

LAG_U = 0.03
"""Of the lag: devices' side and sensor may be more than one mass each; a standard uncertainty (common practice)."""

FIRST_STATED = "offset_k"
"""Parameters from here on are errors of instruments."""

HEAT_OF, LATE_IN, PARTS = "heat of part", "late in part", 20
"""Each part of a run has an error of its own of its heat, and of the times of the sensor's readings: a thermometer is
read less often than the trend has rows, so that a reading may be older than its row, for some time by the same."""

PART_U = 0.005
"""Of the heat of a part: from one to another the power into the loads between figures, and the loss to the air, may
differ by so much from what the model says; a standard uncertainty, set after trials on simulated amplifiers."""

_STEP = 1e-3
_NAMES = (
    ("heatsink_resistance", "thermal resistance from heatsink to air", "K/W"),
    ("heatsink_capacity", "heat capacity of heatsink and devices", "J/K"),
    ("heatsink_lag", "lag of devices' side and sensor, together", "s"),
)

HEAT = tuple(name for name, _, _ in _NAMES)
"""Names of what the course of the temperature tells."""


def heat_quantities(folder: RunFolder, run: RunTaken, path: tuple[float, float] | None) -> tuple[Quantity, ...]:
    """All three; `path`: resistance of the supply's leads with its standard uncertainty, where the fit tells it."""
    try:
        taken = heat_taken(folder, run.amplifier, run.entries, run.events)
        return told_of(taken, run.amplifier, _accuracies(run.entries), path or _usual_path(run))
    except (MeasurementError, ArchiveError) as error:
        return _untold(str(error))


def told_of(
    taken: HeatTaken, amplifier: Amplifier, accuracies: Mapping[str, Sequence[Accuracy]], path: tuple[float, float]
) -> tuple[Quantity, ...]:
    """All three; `accuracies`: of the readings, by name."""
    try:
        return tuple(_Telling(taken, amplifier, accuracies, path).all())
    except MeasurementError as error:
        return _untold(str(error))


def _untold(reason: str) -> tuple[Quantity, ...]:
    return tuple(Quantity(name, words, unit, math.nan, math.nan, untold=reason) for name, words, unit in _NAMES)


def _usual_path(run: RunTaken) -> tuple[float, float]:
    if run.bench.senses_terminals:
        return 0.0, 0.0
    return USUAL_PATH_OHM, USUAL_PATH_OHM


def _accuracies(entries: Sequence[FiguresEntry]) -> Mapping[str, Sequence[Accuracy]]:
    """Of the readings, by the first analysis that holds them."""
    for entry in entries:
        found = getattr(context_of(entry), "readings_accuracy", {})
        if found:
            return dict(found)
    raise MeasurementError("the run does not say how far its readings may be off")


class _Model:
    """What the sensor should show, over its noise, for sets of parameters."""

    def __init__(self, taken: HeatTaken, parameters: Parameters, fitted: int, noise_k: float) -> None:
        self._taken, self._parameters, self._fitted, self._noise_k = taken, parameters, fitted, noise_k
        first_c = float(np.median(taken.shown_c[:5]))
        self._air_c = np.full(len(taken.ends_s), first_c) if taken.air_c is None else taken.air_c
        self._parts_w = {f"{HEAT_OF} {part}": of_joule_w for part, (_, of_joule_w) in enumerate(_parts(taken))}

    def residuals(self, fitted: Samples) -> Samples:
        """With instruments that have no error."""
        return np.asarray(self._residuals(self._whole(fitted)[None])[:, 0])

    def jacobian(self, fitted: Samples) -> tuple[Samples, Samples]:
        """Residuals, and their slopes along what is fitted."""
        errors, slopes = self.slopes(fitted)
        return errors, slopes[:, : self._fitted]

    def slopes(self, fitted: Samples) -> tuple[Samples, Samples]:
        """Residuals, and their slopes along all parameters by differences; all sets in one pass."""
        count = len(self._parameters)
        sets = np.concatenate([np.zeros((1, count)), _STEP * np.eye(count)]) + self._whole(fitted)
        found = self._residuals(sets)
        return found[:, 0], (found[:, 1:] - found[:, :1]) / _STEP

    def _whole(self, fitted: Samples) -> Samples:
        return np.concatenate([fitted, np.zeros(len(self._parameters) - self._fitted)])

    def _residuals(self, sets: Samples) -> Samples:
        of = dict(zip((each.name for each in self._parameters.each), self._parameters.values(sets).T, strict=True))
        steps_s = np.full(len(self._taken.ends_s), self._taken.step_s)
        lags_s = (of["devices_s"], of["sensor_s"])
        shown_k = rises(steps_s, self.heat_w(of), of["w_per_k"], of["j_per_k"], lags_s, of["start_k"])
        shown_c = (1.0 + of["sensor gain"]) * (shown_k + self._air_c[:, None]) + of["offset_k"]
        ends_s = np.concatenate([self._taken.ends_s[:1] - self._taken.step_s, self._taken.ends_s])
        first_c = (1.0 + of["sensor gain"]) * (of["start_k"] + self._air_c[0]) + of["offset_k"]
        course_c = np.concatenate([first_c[None], shown_c])
        found_c = _between(self._taken.times_s, self._late_s(of), ends_s, course_c)
        return np.asarray((found_c - self._taken.shown_c[:, None]) / self._noise_k)

    def _late_s(self, of: Mapping[str, Samples]) -> Samples:
        """Of each reading of the sensor, for each set."""
        return np.concatenate([np.tile(of[f"{LATE_IN} {part}"], (count, 1)) for part, count in _readings(self._taken)])

    def heat_w(self, of: Mapping[str, Samples]) -> Samples:
        """In each step, for each set."""
        taken = self._taken
        gain = 1.0 + of["current gain"] + of["voltage gain"]
        input_w = gain * taken.input_w[:, None] + of["current zero"] * taken.supply_v[:, None]
        input_w = input_w + of["figured current"] * taken.figured_w[:, None]
        for name, of_joule_w in self._parts_w.items():
            input_w = input_w + of[name] * of_joule_w[:, None]
        outputs_w = (1.0 + of["outputs gain"]) * taken.outputs_w[:, None] + of["bursts"] * taken.bursts_w[:, None]
        return np.asarray(input_w - of["path_ohm"] * taken.squared_a2[:, None] - outputs_w)


def _between(times_s: Samples, late_s: Samples, ends_s: Samples, course: Samples) -> Samples:
    """The course at times between the ends of its steps, which are late by so much; (times, sets)."""
    place = np.clip(np.searchsorted(ends_s, times_s), 1, len(ends_s) - 1)
    part = (times_s[:, None] - late_s - ends_s[place - 1, None]) / (ends_s[place] - ends_s[place - 1])[:, None]
    return np.asarray(course[place - 1] * (1.0 - part) + course[place] * part)


def _readings(taken: HeatTaken) -> Iterator[tuple[int, int]]:
    """Parts of the run, each with its count of the sensor's readings."""
    return ((part, len(own)) for part, own in enumerate(np.array_split(taken.times_s, PARTS)))


def _parts(taken: HeatTaken) -> Iterator[tuple[float, Samples]]:
    """Of each part of the run: standard uncertainty of its heat in joules, and how that is spread, in watts for one.
    A part is longer where there is less heat, and where the readings of the supply can have missed less of it."""
    heat_j = taken.step_s * np.maximum(taken.input_w - taken.outputs_w, 0.0)
    doubt = heat_j / max(float(heat_j.sum()), 1e-9) + taken.missed_j2 / max(float(taken.missed_j2.sum()), 1e-9)
    part_of = np.minimum((PARTS * np.cumsum(doubt) / max(float(doubt.sum()), 1e-9)).astype(int), PARTS - 1)
    for part in np.unique(part_of):
        own = part_of == part
        spread = np.where(own, doubt, 0.0)
        missed_j = math.sqrt(float(taken.missed_j2[own].sum()))
        u_j = max(math.hypot(missed_j, PART_U * float(heat_j[own].sum())), 1e-9)
        yield u_j, spread / max(float(spread.sum()), 1e-9) / taken.step_s


class _Telling:
    def __init__(
        self,
        taken: HeatTaken,
        amplifier: Amplifier,
        accuracies: Mapping[str, Sequence[Accuracy]],
        path: tuple[float, float],
    ) -> None:
        self._taken = taken
        self._amplifier = amplifier
        self._parameters = Parameters(list(_parameters(taken, amplifier, accuracies, path)))
        self._noise_k = _noise_k(taken, accuracies)
        # So many come first and are fitted; those after them are errors of instruments that stay as they are stated.
        self._fitted_count = self._parameters.place(FIRST_STATED) if self._is_long() else len(self._parameters)

    def _is_long(self) -> bool:
        return self._taken.live_s >= LEAST_SPAN * self._amplifier.heatsink.time_constant_s

    def all(self) -> Iterator[Quantity]:
        self._refuse()
        values, u = self._solved()
        reasons = {"heatsink_resistance": self._too_short(values, u)}
        for value, own_u, (name, words, unit) in zip(values.tolist(), u.tolist(), _NAMES, strict=True):
            reason = reasons.get(name, "")
            if not reason and math.isnan(value):
                reason = "the temperature does not show that the heatsink loses heat"
            if not reason and own_u > MOST_RELATIVE_U:
                reason = f"the warming of this run tells it to {200.0 * own_u:.0f} % only"
            yield Quantity(name, words, unit, value, 2.0 * own_u * value, untold=reason)

    def _too_short(self, values: Samples, relative_u: Samples) -> str:
        """Why the run does not tell the end of the warming; '' where it does. The longest constant that the fit leaves
        possible counts where it tells one, and that of the amplifier file, whichever is longer."""
        is_told = float(relative_u[0]) <= MOST_RELATIVE_U
        fitted_s = float(values[0] * values[1] * (1.0 + 2.0 * np.hypot(*relative_u[:2]))) if is_told else 0.0
        constant_s = max(fitted_s, self._amplifier.heatsink.time_constant_s)
        if self._taken.live_s >= LEAST_SPAN * constant_s:
            return ""
        return (
            f"the run lasted {self._taken.live_s:.0f} s, and the heatsink's time constant may be {constant_s:.0f} s: "
            "less than half of it does not tell where the warming ends"
        )

    def _refuse(self) -> None:
        taken = self._taken
        warming_k = float(np.ptp(taken.shown_c))
        if warming_k < LEAST_WARMING_K:
            raise MeasurementError(f"the heatsink warmed by {warming_k:.1f} K only")
        heat_w = float((taken.input_w - taken.outputs_w).sum())
        if float(taken.bursts_w.sum()) > MOST_BURSTS * heat_w:
            raise MeasurementError("much of the heat came from bursts, whose power into the loads no figure holds")

    def _solved(self) -> tuple[Samples, Samples]:
        """Resistance, capacity and lag, and their relative standard uncertainties; noise is taken as large as what the
        model leaves, and wider where errors that follow each other are alike."""
        first = self._fitted(np.zeros(self._fitted_count), self._noise_k)
        self._refuse_misfit(first)
        errors = first.residuals
        alike = min(max(float(errors[1:] @ errors[:-1]) / max(float(errors @ errors), 1e-12), 0.0), 0.999)
        wider = max(float(np.mean(errors**2)), 1.0) * (1.0 + alike) / (1.0 - alike)
        noise_k = self._noise_k * math.sqrt(wider)
        found = self._fitted(first.coordinates, noise_k)
        if not found.has_converged:
            raise MeasurementError("the fit of the heatsink's temperature has not converged")
        return self._of_interest(found.coordinates, self._covariance(found.coordinates, noise_k))

    def _covariance(self, coordinates: Samples, noise_k: float) -> Samples:
        """Of what is fitted. In a short run, as if the loss were at least that of the amplifier file: one that comes
        out too small, or none, would hide how much a difference of the two sensors changes the rest."""
        place = coordinates.copy()
        place[0] = place[0] if self._is_long() else max(place[0], 0.0)
        _, slopes = self._model(noise_k).slopes(place)
        own, stated = np.split(slopes, [self._fitted_count], axis=1)
        covariance = np.linalg.inv(own.T @ own + np.eye(self._fitted_count))
        moved = covariance @ own.T @ stated
        return np.asarray(covariance + moved @ moved.T)

    def _of_interest(self, coordinates: Samples, covariance: Samples) -> tuple[Samples, Samples]:
        """Resistance, capacity and lag, and their relative standard uncertainties."""
        whole = np.concatenate([coordinates, np.zeros(len(self._parameters) - self._fitted_count)])
        w_per_k, j_per_k, devices_s, sensor_s = self._parameters.values(whole)[:4]
        lag_s = devices_s + sensor_s
        slopes = np.zeros((len(_NAMES), self._fitted_count))
        slopes[0, 0] = self._parameters.each[0].spread / w_per_k
        slopes[1, 1] = PLAUSIBLE
        slopes[2, 2:4] = LAG_PLAUSIBLE * np.array([devices_s, sensor_s]) / lag_s
        u = np.sqrt(np.einsum("ij,jk,ik->i", slopes, covariance, slopes))
        u[2] = math.hypot(u[2], LAG_U, self._taken.late_s / lag_s)
        k_per_w = 1.0 / w_per_k if w_per_k > 0.0 else math.nan
        return np.array([k_per_w, j_per_k, lag_s]), u

    def _model(self, noise_k: float) -> _Model:
        return _Model(self._taken, self._parameters, self._fitted_count, noise_k)

    def _fitted(self, start: Samples, noise_k: float) -> Solution:
        model = self._model(noise_k)
        return solve(model.residuals, model.jacobian, start)

    def _refuse_misfit(self, found: Solution) -> None:
        off_k = math.sqrt(float(np.mean(found.residuals**2))) * self._noise_k
        warming_k = float(np.ptp(self._taken.shown_c))
        if off_k > 3.0 * self._noise_k and off_k > MOST_OFF * warming_k:
            raise MeasurementError(
                f"the heatsink's temperature does not follow the heat: it is {off_k:.2g} K off one mass that loses its "
                "heat to the air"
            )


def _parameters(
    taken: HeatTaken,
    amplifier: Amplifier,
    accuracies: Mapping[str, Sequence[Accuracy]],
    path: tuple[float, float],
) -> Iterator[Parameter]:
    k_per_w = amplifier.heatsink_k_per_w
    yield Parameter("w_per_k", 1.0 / k_per_w, PLAUSIBLE / k_per_w)
    yield Parameter("j_per_k", amplifier.heatsink.time_constant_s / k_per_w, PLAUSIBLE, is_ratio=True)
    yield Parameter("devices_s", USUAL_DEVICES_S, LAG_PLAUSIBLE, is_ratio=True)
    yield Parameter("sensor_s", USUAL_SENSOR_S, LAG_PLAUSIBLE, is_ratio=True)
    yield Parameter("start_k", 0.0, START_K)
    yield Parameter("bursts", MARGINAL, MARGINAL_U)
    for part, (u_j, _) in enumerate(_parts(taken)):
        yield Parameter(f"{HEAT_OF} {part}", 0.0, u_j)
    for part, _ in _readings(taken):
        yield Parameter(f"{LATE_IN} {part}", 0.0, max(taken.late_s, 1e-9))
    yield Parameter(FIRST_STATED, 0.0, _offset_u(taken, accuracies))
    yield Parameter("sensor gain", 0.0, _gain_u(accuracies, "heatsink"))
    yield Parameter("current gain", 0.0, _gain_u(accuracies, "supply_current"))
    yield Parameter("current zero", 0.0, _zero_u(accuracies, "supply_current"))
    live_v = float(taken.supply_v.max())
    voltage_u = math.hypot(_gain_u(accuracies, "supply_voltage"), _zero_u(accuracies, "supply_voltage") / live_v)
    yield Parameter("voltage gain", 0.0, voltage_u)
    yield Parameter("outputs gain", 0.0, max(taken.outputs_u, 1e-9))
    yield Parameter("figured current", 0.0, max(taken.figured_u, 1e-9))
    yield Parameter("path_ohm", path[0], max(path[1], 1e-9))


def _offset_u(taken: HeatTaken, accuracies: Mapping[str, Sequence[Accuracy]]) -> float:
    """Of the heatsink's sensor against the one in the air."""
    if taken.air_c is None:
        return UNREAD_AIR_K
    return math.hypot(_zero_u(accuracies, "heatsink"), _zero_u(accuracies, "ambient"))


def _gain_u(accuracies: Mapping[str, Sequence[Accuracy]], reading: str) -> float:
    return max(math.sqrt(sum(each.reading**2 for each in accuracies.get(reading, ())) / 3.0), 1e-9)


def _zero_u(accuracies: Mapping[str, Sequence[Accuracy]], reading: str) -> float:
    return max(math.sqrt(sum(each.zero_limit() ** 2 for each in accuracies.get(reading, ())) / 3.0), 1e-9)


def _noise_k(taken: HeatTaken, accuracies: Mapping[str, Sequence[Accuracy]]) -> float:
    """Of one reading of the sensor: its scatter, or what its steps leave."""
    differences = np.abs(np.diff(taken.shown_c))
    scatter_k = float(np.median(np.abs(np.diff(taken.shown_c, n=2)))) / 0.6745 / math.sqrt(6.0)
    moved = differences[differences > 1e-9]
    shown_k = float(moved.min()) if len(moved) else 0.0
    step_k = max(max((each.resolution for each in accuracies.get("heatsink", ())), default=0.0), shown_k)
    return max(scatter_k, step_k / math.sqrt(12.0), 1e-3)
