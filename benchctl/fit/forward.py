"""From parameters to what each instrument would have shown, and how that moves with each parameter.

A Jacobian is one pass through the model: every parameter that reaches all records has a column of its own, and those
that reach one record each share a column, since no two of them move the same values. Errors of instruments need no
pass, for they move a reading in proportion.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from copy import copy
from dataclasses import replace

import numpy as np

from benchctl.fit.model.assembled import assembled, efficiency_of
from benchctl.fit.model.converter import charging
from benchctl.fit.model.giving import Given, given_in, nothing_given, shown_of
from benchctl.fit.model.physics import Kind, Physics
from benchctl.fit.model.rails import Course, followed, recovering_a, resting_v, settled
from benchctl.fit.model.stages import inside_v
from benchctl.fit.noise import Noise
from benchctl.fit.parameters import Parameters, Samples
from benchctl.fit.reading.items import CURRENT, METER_CURRENT, METER_VOLTAGE, VOLTAGE, Instants, Take
from benchctl.fit.showing import Rows, Showing
from benchctl.measure.signal.record import OUTPUT

STEP = 1e-6
"""Of a coordinate, for differences: so short that no corner of a clipped sine passes a sample."""

EFFICIENCY, EFFICIENCY_SPREAD = 0.9, 0.04
"""Of a converter, as is plausible before anything is measured (common practice)."""

_OPEN_OHM = 1e9


class Forward:
    """The model of one run.

    Args:
        takes: its records.
        channels: of the amplifier, in the order of the model's rows.
        kind: of its circuit.
        nominal_v: the supply voltage that headroom is stated at.
        parameters: of the fit.
        senses_terminals: whether the supply reads its voltage at the amplifier.
    """

    def __init__(
        self,
        takes: Sequence[Take],
        channels: Sequence[str],
        kind: Kind,
        nominal_v: float,
        parameters: Parameters,
        *,
        senses_terminals: bool,
    ) -> None:
        self.takes, self.channels, self.kind, self.parameters = tuple(takes), tuple(channels), kind, parameters
        self._nominal_v = nominal_v
        self._senses = senses_terminals
        self.rows = tuple(_rows(self.takes))
        self._observed = np.concatenate([rows.item.values for rows in self.rows])
        self.noise = Noise(self.rows)
        self._reaching = [place for place, each in enumerate(parameters.each) if each.reach == "all"]
        self._shared = _by_name(parameters)
        self._showing = Showing(parameters, self.rows)
        self.steps = np.full(len(parameters), STEP)

    @property
    def values(self) -> int:
        """How many values there are."""
        return len(self._observed)

    def residuals(self, coordinates: Samples, scaled: Samples) -> Samples:
        """Model less reading over its noise; `scaled`: a factor on the noise of each value. The last one is none of a
        value, but of the converter's efficiency."""
        implausible = self._implausible(self.parameters.values(coordinates))
        return np.append(self.noise.over(self._shown(coordinates) - self._observed, scaled), implausible)

    def weighing_at(self, coordinates: Samples) -> Forward:
        """The same model, with values weighed by what they share where these coordinates put them."""
        found = copy(self)
        found.noise = Noise(self.rows, self._shown(coordinates))
        return found

    def _shown(self, coordinates: Samples) -> Samples:
        truly = self._truly(coordinates[None])[0]
        return self._showing.shown(truly, self.parameters.values(coordinates))

    def jacobian(self, coordinates: Samples, scaled: Samples) -> tuple[Samples, Samples]:
        """Residuals, and how they move with each coordinate, (values + 1, parameters)."""
        moved = np.repeat(coordinates[None], 1 + len(self._reaching) + len(self._shared), axis=0)
        for row, place in enumerate(self._reaching, start=1):
            moved[row, place] += self.steps[place]
        for row, places in enumerate(self._shared.values(), start=1 + len(self._reaching)):
            moved[row, places] += STEP
        truly = self._truly(moved)
        parameters = self.parameters.values(coordinates)
        shown = self._showing.shown(truly[0], parameters)
        found = np.zeros((self.values, len(self.parameters)))
        rises = self._showing.rises(truly[0], parameters)
        for row, place in enumerate(self._reaching, start=1):
            found[:, place] = (truly[row] - truly[0]) * rises / self.steps[place]
        for row, places in enumerate(self._shared.values(), start=1 + len(self._reaching)):
            change = (truly[row] - truly[0]) * rises / STEP
            self._by_take(found, change, places)
        self._showing.columns(found, truly[0])
        implausible = self._implausible(self.parameters.values(moved))
        last = np.zeros(len(self.parameters))
        for row, place in enumerate(self._reaching, start=1):
            last[place] = (implausible[row] - implausible[0]) / self.steps[place]
        errors = np.append(self.noise.over(shown - self._observed, scaled), implausible[0])
        return errors, np.vstack([self.noise.over(found, scaled), last])

    def _implausible(self, values: Samples) -> Samples:
        """How far the converter's efficiency is from what is plausible, in standard deviations."""

        def get(name: str) -> Samples:
            return np.asarray(values[..., self.parameters.place(name)])

        return np.asarray((efficiency_of(get, self.kind, self._nominal_v) - EFFICIENCY) / EFFICIENCY_SPREAD)

    def _by_take(self, found: Samples, change: Samples, places: Sequence[int]) -> None:
        for place in places:
            take = self.parameters.each[place].take
            for rows in self.rows:
                if rows.take == take:
                    found[rows.start : rows.stop, place] = change[rows.start : rows.stop]

    def _truly(self, coordinates: Samples) -> Samples:
        """What there truly is at the place of each value, (sets, values)."""
        values = self.parameters.values(coordinates)
        found = np.empty((len(values), self.values))
        for alike in _groups(self.takes):
            of = self.physics(alike, values)
            for number, here in zip(alike, self._of_group(alike, of, values), strict=True):
                for rows in self.rows:
                    if rows.take == number:
                        found[:, rows.start : rows.stop] = here[rows.item.signal].T
        return found

    def _of_group(self, alike: Sequence[int], of: Physics, values: Samples) -> list[Mapping[str, Samples]]:
        shape = self.takes[alike[0]].shape
        flows = self._at_rest(of) if shape == "rest" else self._under_tone(alike, of)
        sets = len(values)
        inner_ohm = np.zeros(sets) if self._senses else values[:, self.parameters.place("inner_ohm")]
        supply_v = self._supplies(alike, values).reshape(len(alike), sets)
        found: list[Mapping[str, Samples]] = []
        for place in range(len(alike)):
            own = {signal: each[:, place * sets : (place + 1) * sets] for signal, each in flows.items()}
            mean_a = own[CURRENT][-1:] if shape != "burst" else own[CURRENT][:1]
            mean_v = own[VOLTAGE][-1:] if shape != "burst" else own[VOLTAGE][:1]
            own[METER_CURRENT] = mean_a
            own[METER_VOLTAGE] = mean_v if self._senses else supply_v[place] - inner_ohm * mean_a
            found.append(own)
        return found

    def _at_rest(self, of: Physics) -> dict[str, Samples]:
        rails_v = np.broadcast_to(resting_v(of, self.kind, 0.0), (self.kind.rails, len(of.supply_v)))
        flow = charging(of, self.kind, rails_v)
        outputs = {f"{OUTPUT}{name}": each[None] for name, each in zip(self.channels, of.dc_v * of.share, strict=True)}
        return {CURRENT: flow.supply_a[None], VOLTAGE: flow.terminal_v[None]} | outputs

    def _under_tone(self, alike: Sequence[int], of: Physics) -> dict[str, Samples]:
        first = self.takes[alike[0]]
        sets = len(of.supply_v) // len(alike)
        times_s = np.repeat(np.array([self.takes[number].instants.nodes_s for number in alike]).T, sets, axis=1)
        if first.shape == "burst":
            # Between bursts the tone goes on, quieter, and so does what it makes of the rails within its cycle.
            rails_v = settled(replace(of, peak_v=first.quiet * of.peak_v), self.kind, sets)
        else:
            rails_v = settled(of, self.kind, sets)
        course = followed(of, self.kind, rails_v, times_s, sets)
        slopes, given = self._given(first, of, course, times_s)
        more = shown_of(of, self.kind, slopes, given)
        current, voltage = (
            [_binned(signal, *each) + add for each, add in zip(first.instants.bins, adds, strict=True)]
            for signal, adds in zip((course.supply_a, course.terminal_v), more, strict=True)
        )
        if first.shape == "burst":
            before = charging(of, self.kind, resting_v(of, self.kind, first.quiet)[None])
            after = recovering_a(of, self.kind, course.rails_v[-1], rails_v, first.quiet, first.instants.after_s, given)
            current = [before.supply_a, *current, *after[0]]
            voltage = [before.terminal_v, *voltage, *after[1]]
        found = {CURRENT: np.array(current), VOLTAGE: np.array(voltage)}
        sampled, along = first.instants.sampled, of.along_times()
        asked_v = along.asked_v(times_s[sampled])
        rails_v = (course.rails_v + _along(given.rails_v, first.instants, len(times_s))[:, None])[sampled]
        outputs_v = inside_v(along, self.kind, asked_v, rails_v.swapaxes(0, 1)) * along.share
        return found | {f"{OUTPUT}{name}": each for name, each in zip(self.channels, outputs_v, strict=True)}

    def _given(self, first: Take, of: Physics, course: Course, times_s: Samples) -> tuple[Samples, Given]:
        """Mean slopes of the rails in each bin, and what the supply has given way by them; none under a steady tone."""
        bins = first.instants.bins
        slopes = np.array([_slope(course.rails_v.mean(axis=1), times_s, *each) for each in bins])
        if first.shape != "burst":
            return 0.0 * slopes, nothing_given(slopes)
        return slopes, given_in(of, self.kind, slopes, times_s[bins[:, 1]] - times_s[bins[:, 0]])

    def _supplies(self, alike: Sequence[int], values: Samples) -> Samples:
        names = [f"supply {self.takes[number].supply_v:g}" for number in alike]
        return np.concatenate([values[:, self.parameters.place(name)] for name in names])

    def physics(self, alike: Sequence[int], values: Samples) -> Physics:
        """Columns: all sets of the first take, then all of the next."""
        get = _Getter(self.parameters, values, alike)
        found = assembled(
            get,
            self.kind,
            self._nominal_v,
            supply_v=self._supplies(alike, values),
            load_ohm=np.array([self._load_ohm(channel, alike, get) for channel in self.channels]),
            peak_v=np.array([self._peak_v(channel, get) for channel in self.channels]),
            dc_v=np.array([self._dc_v(channel, alike, get) for channel in self.channels]),
            phase=np.array([self._phase(channel, get) for channel in self.channels]),
            angular_hz=get.by_take(lambda take: 2.0 * np.pi * take.frequency_hz, self.takes) * (1.0 + get("frequency")),
        )
        return replace(found, path_h=get("path_h"), give_s=get("give_s"), clamp_s=get("clamp_s"), third=get("third"))

    def _load_ohm(self, channel: str, alike: Sequence[int], get: _Getter) -> Samples:
        parts = []
        for place, number in enumerate(alike):
            load = self.takes[number].loads.get(channel)
            if load is None:
                parts.append(np.full(get.sets, _OPEN_OHM))
                continue
            rise_k = 0.0 if load.temperature_c is None else load.temperature_c - load.reference_c
            known_ohm = load.measured_ohm * (1.0 + load.temperature_coefficient_per_k * rise_k)
            parts.append(known_ohm * get.of(f"load {channel} {load.nominal_ohm:g}", place))
        return np.concatenate(parts) * get("load heat")

    def _peak_v(self, channel: str, get: _Getter) -> Samples:
        level_v = get.by_take(lambda take: take.level_v if channel in take.driven else 0.0, self.takes)
        drives = level_v * (1.0 + get("level gain")) + np.where(level_v > 0.0, get("level zero"), 0.0)
        return np.asarray(np.sqrt(2.0) * drives * get(f"gain {channel}"))

    def _dc_v(self, channel: str, alike: Sequence[int], get: _Getter) -> Samples:
        at_rest = self.takes[alike[0]].shape == "rest"
        return get(f"dc {channel}") if at_rest else get(f"dc {channel}") + get(f"more dc {channel}")

    def _phase(self, channel: str, get: _Getter) -> Samples:
        return get.by_take(lambda take: take.phases.get(channel, 0.0), self.takes) + get(f"phase {channel}")


class _Getter:
    """Values of parameters for the columns of a group: one that the group does not have is neutral."""

    def __init__(self, parameters: Parameters, values: Samples, alike: Sequence[int]) -> None:
        self._parameters, self._values, self._alike = parameters, values, alike
        self.sets = len(values)

    def __call__(self, name: str) -> Samples:
        return np.concatenate([self.of(name, place) for place in range(len(self._alike))])

    def of(self, name: str, place: int) -> Samples:
        """For the take at a place of the group."""
        if self._parameters.has(name):
            return self._values[:, self._parameters.place(name)]
        if self._parameters.has(name, self._alike[place]):
            return self._values[:, self._parameters.place(name, self._alike[place])]
        return np.full(self.sets, 0.0 if name.startswith("phase") else 1.0)

    def by_take(self, value: Callable[[Take], float], takes: Sequence[Take]) -> Samples:
        """A number of each take."""
        return np.repeat([value(takes[number]) for number in self._alike], self.sets)


def _binned(values: Samples, start: int, stop: int) -> Samples:
    """Mean over the steps from one node to another."""
    part = values[start : stop + 1]
    return np.asarray((part.sum(axis=0) - (part[0] + part[-1]) / 2.0) / (len(part) - 1))


def _slope(values: Samples, times_s: Samples, start: int, stop: int) -> Samples:
    """Mean from one node to another, per second."""
    return np.asarray((values[stop] - values[start]) / (times_s[stop] - times_s[start]))


def _along(edges_v: Samples, instants: Instants, nodes: int) -> Samples:
    """At all nodes, straight from edge to edge of the bins."""
    places = np.append(instants.bins[:, 0], instants.bins[-1, 1])
    here = np.clip(np.arange(nodes), places[0], places[-1])
    before = np.clip(np.searchsorted(places, here, side="right") - 1, 0, len(places) - 2)
    parts = (here - places[before]) / (places[before + 1] - places[before])
    return np.asarray(edges_v[before] + parts[:, None] * (edges_v[before + 1] - edges_v[before]))


def _rows(takes: Sequence[Take]) -> list[Rows]:
    found, start = [], 0
    for number, take in enumerate(takes):
        for item in take.items.values():
            found.append(Rows(number, item, start, take.supply_v))
            start += len(item.values)
    return found


def _groups(takes: Sequence[Take]) -> list[list[int]]:
    """Takes that go through the model together."""
    found: dict[object, list[int]] = {}
    for number, take in enumerate(takes):
        instants = take.instants
        bins = tuple(map(tuple, instants.bins.tolist()))
        after_s = tuple(np.round(instants.after_s, 9))
        key = (take.shape, len(instants.nodes_s), tuple(instants.sampled), bins, after_s, take.quiet)
        found.setdefault(key, []).append(number)
    return list(found.values())


def _by_name(parameters: Parameters) -> dict[str, list[int]]:
    found: dict[str, list[int]] = {}
    for place, each in enumerate(parameters.each):
        if each.reach == "take":
            found.setdefault(each.name, []).append(place)
    return found
