"""One output stage driven by a sine or another wave, with its load: the current it takes from the rails and where the
power goes.

A bridged (floating) output is two equal halves; each drives half of the load against the middle. Values inside a stage
are those of one half; what it takes and gives is for both.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from benchctl.simulator.amplifier.clipping import SILENT, CycleMeans
from benchctl.simulator.amplifier.disturbance import Disturbance
from benchctl.simulator.amplifier.filters import Filter
from benchctl.simulator.amplifier.rows import mean, total
from benchctl.simulator.amplifier.transfer import HARD, Transfer
from benchctl.simulator.amplifier.wander import Wander
from benchctl.simulator.wave import Samples, Wave

LIMITS_KEPT = 64

LEAST_RAIL_V = 1e-3
"""Below this a class D stage counts as being at this rail, so that its current stays finite."""

V = TypeVar("V", float, Samples)


class StageFlows(NamedTuple):
    """Power in W."""

    stage_w: float
    """lost in the devices"""
    output_w: float
    """lost in the output resistance"""
    load_w: float


NOTHING = StageFlows(0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Filtered:
    """What the filters in front of a stage did to its tone."""

    band: Filter
    drive_v: float
    """amplitude before the filters, as voltage of one half"""
    lead_rad: float = 0.0
    """the phase shift of the filters; of a wave they are worked into it"""
    before: Wave | None = None
    """what went into the filters instead of a sine, of amplitude `drive_v`"""


@dataclass(frozen=True, slots=True)
class Losses:
    """What one half of a class D stage loses and leaks."""

    conduction_ohm: float
    """devices and coil"""
    switching_s: float
    """watts for each square volt of rail"""
    ripple_v: float = 0.0
    """residue of the carrier, RMS"""
    carrier_hz: float = 400e3
    commutation_s: float = 0.0
    """seconds that voltage and current overlap at each edge of the carrier"""
    pumps: bool = False
    """one half-bridge alone: what the rail of one half-wave gives beyond the load's need goes into the other rail"""


class Instants(NamedTuple):
    """A stage at many instants; the last two have a row for each rail that is followed."""

    inside_v: Samples
    """voltage inside one half"""
    taken_a: Samples
    """current from each rail"""
    slope_s: Samples
    """how it rises with the voltage of its rail, A/V"""


class OutputStage:
    """A class AB stage: at each instant its current comes from one rail, and the device in between drops the rest of
    the voltage.

    Args:
        amplitude_v: of the sine that one half is asked to give, or the peak of the wave.
        offset_v: dc that one half is asked to give.
        conductance_s: of the load, as one half sees it; 0 with nothing connected.
        output_ohm: output resistance of one half.
        live: False while muted.
        transfer: output voltage as a function of the voltage asked for.
        halves: 2 where the output is bridged.
        filtered: what the filters before the stage did to the tone, if there are any.
        wave: what it is asked to give instead of a sine, with a peak of 1.
    """

    def __init__(
        self,
        amplitude_v: float,
        offset_v: float,
        conductance_s: float,
        output_ohm: float,
        *,
        live: bool = True,
        transfer: Transfer = HARD,
        halves: int = 1,
        filtered: Filtered | None = None,
        wave: Wave | None = None,
    ) -> None:
        self.amplitude_v = amplitude_v if live else 0.0
        self.offset_v = offset_v if live else 0.0
        self.live = live
        self.output_ohm = output_ohm
        self.transfer = transfer
        self.halves = halves
        self.filtered = filtered
        self.wave = wave
        self.disturbance: Disturbance | None = None
        self.wander: Wander | None = None
        """only records show it: fractions of a millivolt trip no protection and heat nothing"""
        self.share = 1 / (1 + output_ohm * conductance_s)
        """volts at the terminal for a volt inside"""
        self.path_s = conductance_s * self.share
        """amperes in the output for a volt inside"""
        self.peak_v = transfer.peak_v(self.amplitude_v, self.offset_v)
        # With a limit that is never reached: by far the commonest case, so it is computed once.
        self._unclipped = self._means_under(self.peak_v / (1 - transfer.knee)) if live else SILENT
        self._clipped: dict[float, CycleMeans] = {}

    def asked_v(self, turns: Samples) -> Samples:
        """The voltage that one half is asked to give, once filters have settled; time in turns of the cycle."""
        if self.wave is not None:
            return np.asarray(self.amplitude_v * self.wave.at(turns) + self.offset_v, dtype=np.float64)
        lead_rad = self.filtered.lead_rad if self.filtered is not None else 0.0
        return np.asarray(self.amplitude_v * np.sin(2 * np.pi * turns + lead_rad) + self.offset_v, dtype=np.float64)

    def limit_v(self, headroom_v: V) -> V:
        """The voltage at which one half clips when the rails leave it `headroom_v`."""
        return headroom_v

    def means(self, headroom_v: float) -> CycleMeans:
        """Cycle means of the voltage inside one half."""
        if not self.live:
            return SILENT
        limit_v = self.limit_v(headroom_v)
        return self._unclipped if self.peak_v <= self.transfer.onset_v(limit_v) else self._clipped_at(limit_v)

    def _clipped_at(self, limit_v: float) -> CycleMeans:
        """Cached: the same limit comes again at the border of two rail steps, and where a rail repeats."""
        means = self._clipped.get(limit_v)
        if means is None:
            if len(self._clipped) >= LIMITS_KEPT:
                self._clipped.clear()
            means = self._clipped[limit_v] = self._means_under(limit_v)
        return means

    def _means_under(self, limit_v: float) -> CycleMeans:
        return self.transfer.means(self.amplitude_v, self.offset_v, limit_v, self.wave)

    def takes(self, rail_v: float, headroom_v: float) -> tuple[float, float]:  # noqa: ARG002 - class D needs it
        """Current from the lumped rails in A, and its slope with the rail in A/V."""
        means = self.means(headroom_v)
        path_s = self.halves * self.path_s
        return means.absolute_v * path_s, means.absolute_slope * path_s

    def flows(self, rail_v: float, headroom_v: float) -> StageFlows:
        """Where the power goes."""
        if not self.live:
            return NOTHING
        means = self.means(headroom_v)
        lost_w = self.halves * (rail_v * means.absolute_v - means.square_v2) * self.path_s
        return StageFlows(lost_w, *self._outside_w(means))

    @property
    def one_sided(self) -> bool:
        """Whether its current comes from one rail in one half of the cycle and from the other in the other half."""
        return self.halves == 1

    @property
    def pumps(self) -> bool:
        """Whether it returns energy to the rail that does not drive the load."""
        return False

    def headroom_v(self, asked_v: Samples, rails_v: Samples, saturation_v: float) -> Samples:
        """What the rails, one in a row, leave to one half: of two rails the one that the current comes from."""
        if len(rails_v) == 1:
            rail_v = rails_v[0]
        elif self.one_sided:
            rail_v = np.where(asked_v >= 0, rails_v[0], rails_v[1])
        else:
            rail_v = np.minimum(rails_v[0], rails_v[1])
        return np.asarray(np.maximum(rail_v - saturation_v, 0.0), dtype=np.float64)

    def at_instants(self, asked_v: Samples, rails_v: Samples, saturation_v: float) -> Instants:
        """The stage at each instant, with the rails, one in a row, as they are then."""
        limit_v = self.limit_v(self.headroom_v(asked_v, rails_v, saturation_v))
        inside_v = self.transfer.output_v(asked_v, limit_v)
        clipped = np.abs(asked_v) > self.transfer.onset_v(limit_v)
        return Instants(inside_v, *self._from_each(inside_v, clipped, rails_v))

    def _from_each(self, inside_v: Samples, clipped: NDArray[np.bool_], rails_v: Samples) -> tuple[Samples, Samples]:
        """Current from each rail, and its slope with that rail, a row for each."""
        taken_a, slope_s = self._taken(inside_v, clipped, rails_v)
        if len(rails_v) == 1:
            return taken_a[None], slope_s[None]
        parts = np.array([inside_v >= 0, inside_v < 0]) if self.one_sided else np.full((2, 1), 0.5)
        return parts * taken_a, parts * slope_s

    def instant_flows(self, now: Instants, rails_v: Samples) -> tuple[Samples, Samples, Samples]:
        """Power lost in the devices, lost in the output resistance, and in the load."""
        inside_w = self.halves * now.inside_v**2 * self.path_s
        return (
            total(rails_v * now.taken_a) - inside_w,
            inside_w * self.path_s * self.output_ohm,
            inside_w * self.share,
        )

    def _taken(self, inside_v: Samples, clipped: NDArray[np.bool_], rails_v: Samples) -> tuple[Samples, Samples]:  # noqa: ARG002
        """Current from all rails together, and its slope; both at once from a class AB stage."""
        path_s = self.halves * self.path_s
        return np.abs(inside_v) * path_s, np.asarray(clipped * path_s, dtype=np.float64)

    def peak_a(self, headroom_v: float) -> float:
        """Highest current in the output."""
        return min(self.peak_v, self.limit_v(headroom_v)) * self.path_s

    def dc_v(self, headroom_v: float) -> float:
        """Mean voltage at the load."""
        return self.halves * self.means(headroom_v).mean_v * self.share

    def _outside_w(self, means: CycleMeans) -> tuple[float, float]:
        """The power in the output resistance, and in the load."""
        current_a2 = self.halves * means.square_v2 * self.path_s**2
        return current_a2 * self.output_ohm, self.halves * means.square_v2 * self.path_s * self.share


class SwitchingStage(OutputStage):
    """A class D stage: an ideal transformer of the rail, with three losses.

    Its current warms a resistance r (devices and coil), which also takes its share of the swing; switching takes a
    current in proportion to the rails, also without a signal. The efficiency, P/(P·(1 + r/R) + switching), rises
    steeply from zero and is flat over most of the range; it is lower with a lower load resistance. Feedback keeps r out
    of the output resistance. The residue of the carrier that `waveforms` adds is left out of the powers: some tenths of
    a volt into a load are milliwatts.

    The third loss is at the edges of the carrier. There the current i of a half goes from one device to the other while
    the voltage of both rails, 2·V, rises or falls across one of them. Both overlap for a time t, in which ½·2·V·|i|·t
    is lost (the usual overlap formula, from memory: Erickson and Maksimovic, Fundamentals of Power Electronics). With
    two edges in a period 1/f a half loses 2·V·|i|·t·f: a current |i|·t·f from either rail, or 2·|i|·t·f from the
    lumped rails, which stand at V. A bridge loses it in both of its halves, which carry the same i. Without a
    signal it is nothing, for the coil's ripple is left out. Clipped tops count as if the edges were still there.
    """

    def __init__(
        self,
        amplitude_v: float,
        offset_v: float,
        conductance_s: float,
        output_ohm: float,
        losses: Losses,
        *,
        live: bool = True,
        transfer: Transfer = HARD,
        halves: int = 1,
        filtered: Filtered | None = None,
        wave: Wave | None = None,
    ) -> None:
        super().__init__(
            amplitude_v,
            offset_v,
            conductance_s,
            output_ohm,
            live=live,
            transfer=transfer,
            halves=halves,
            filtered=filtered,
            wave=wave,
        )
        self.losses = losses
        self._switching_s = halves * losses.switching_s if live else 0.0
        self._swing = 1 / (1 + losses.conduction_ohm * self.path_s)
        # Watts for each square volt inside a half: load, output resistance and conduction.
        self._power_s = halves * self.path_s / self._swing
        # Amperes from the lumped rails for each volt inside a half: what the edges lose.
        self._edges_s = halves * 2 * losses.commutation_s * losses.carrier_hz * self.path_s

    def limit_v(self, headroom_v: V) -> V:
        """The swing is lower by the voltage that the current drops in the devices."""
        return headroom_v * self._swing

    def takes(self, rail_v: float, headroom_v: float) -> tuple[float, float]:
        """Power over rail voltage, so that a higher rail gives less current; what the edges lose goes with the output
        current."""
        if rail_v <= 0:
            return 0.0, 0.0
        means = self.means(headroom_v)
        output_a = means.square_v2 * self._power_s / rail_v
        more_a = means.square_slope_v * self._swing * self._power_s / rail_v
        edges_a, more_edges_s = means.absolute_v * self._edges_s, means.absolute_slope * self._swing * self._edges_s
        return (
            output_a + self._switching_s * rail_v + edges_a,
            more_a - output_a / rail_v + self._switching_s + more_edges_s,
        )

    @property
    def one_sided(self) -> bool:
        """Taken as drawing on both rails alike, unless it pumps."""
        return self.losses.pumps

    @property
    def pumps(self) -> bool:
        return self.losses.pumps and self.live

    def _from_each(self, inside_v: Samples, clipped: NDArray[np.bool_], rails_v: Samples) -> tuple[Samples, Samples]:
        """Where it pumps, the coil's current i flows from the plus rail for a part D of the time and into the minus
        rail for the rest, with D·V+ - (1 - D)·V- the voltage before the losses of the path."""
        if not self.losses.pumps or len(rails_v) == 1:
            return super()._from_each(inside_v, clipped, rails_v)
        both_v = np.maximum(total(rails_v), LEAST_RAIL_V)
        coil_a, bridge_v = inside_v * self.path_s, inside_v / self._swing
        opposite_v = np.array([bridge_v + rails_v[1], bridge_v - rails_v[0]])
        taken_a = coil_a * opposite_v / both_v
        # A clipped output follows its rail: volt for volt inside the bridge, and with its current.
        follows = np.array([clipped & (inside_v > 0), clipped & (inside_v < 0)])
        towards = np.array([[1.0], [-1.0]])
        more_s = follows * (self._swing * self.path_s * opposite_v * towards + coil_a * towards)
        switching_s, edges_s = self._switching_s / 2, self._edges_s / 2
        rail_v = both_v / 2
        return (
            taken_a + switching_s * rail_v + np.abs(inside_v) * edges_s,
            (more_s - taken_a) / both_v + switching_s / 2 + follows * (self._swing * edges_s),
        )

    def instant_flows(self, now: Instants, rails_v: Samples) -> tuple[Samples, Samples, Samples]:
        """Conduction, switching and edges are lost in the stage."""
        path_a2 = self.halves * now.inside_v**2 * self.path_s**2
        rail_v = mean(rails_v)
        edges_w = np.abs(now.inside_v) * self._edges_s * rail_v
        lost_w = path_a2 * self.losses.conduction_ohm + self._switching_s * rail_v**2 + edges_w
        return lost_w, path_a2 * self.output_ohm, self.halves * now.inside_v**2 * self.path_s * self.share

    def _taken(self, inside_v: Samples, clipped: NDArray[np.bool_], rails_v: Samples) -> tuple[Samples, Samples]:
        """Power over rail voltage, and what the edges lose."""
        rail_v = np.maximum(mean(rails_v), LEAST_RAIL_V)
        output_a = inside_v**2 * self._power_s / rail_v
        size_v = np.abs(inside_v)
        more_s = size_v * (2 * self._swing * self._power_s) / rail_v + self._swing * self._edges_s
        return (
            output_a + self._switching_s * rail_v + size_v * self._edges_s,
            clipped * more_s - output_a / rail_v + self._switching_s,
        )

    def flows(self, rail_v: float, headroom_v: float) -> StageFlows:
        """Conduction, switching and edges are lost in the stage."""
        if not self.live:
            return NOTHING
        means = self.means(headroom_v)
        conduction_w = self.halves * means.square_v2 * self.path_s**2 * self.losses.conduction_ohm
        edges_w = means.absolute_v * self._edges_s * rail_v
        return StageFlows(conduction_w + self._switching_s * rail_v**2 + edges_w, *self._outside_w(means))
