"""One output stage driven by a sine, and what hangs on its output: what it takes from the rails and where that goes.

A bridged (floating) output is two like halves, each of which drives half of the load against the middle. Everything
inside a stage is that of one half; what it takes and gives is for both.
"""

from __future__ import annotations

from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from benchctl.simulator.clipping import SILENT, CycleMeans
from benchctl.simulator.transfer import HARD, Transfer

V = TypeVar("V", float, NDArray[np.float64])


class StageFlows(NamedTuple):
    """Power in W."""

    stage_w: float
    """lost in the devices"""
    output_w: float
    """lost in the output resistance"""
    load_w: float


NOTHING = StageFlows(0.0, 0.0, 0.0)


class Stage:
    """A class AB stage: at each instant its current comes from one rail, and the device between drops the rest.

    Args:
        amplitude_v: of the sine that is asked of one half.
        offset_v: dc asked of one half.
        conductance_s: of the load, as one half sees it; 0 with nothing connected.
        output_ohm: between the inside of one half and its terminal.
        live: False while muted.
        transfer: what comes of what is asked.
        halves: 2 where the output is bridged.
    """

    __slots__ = (
        "_unclipped",
        "amplitude_v",
        "halves",
        "live",
        "offset_v",
        "output_ohm",
        "path_s",
        "peak_v",
        "share",
        "transfer",
    )

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
    ) -> None:
        self.amplitude_v = amplitude_v if live else 0.0
        self.offset_v = offset_v if live else 0.0
        self.live = live
        self.output_ohm = output_ohm
        self.transfer = transfer
        self.halves = halves
        self.share = 1 / (1 + output_ohm * conductance_s)
        """volts at the terminal for a volt inside"""
        self.path_s = conductance_s * self.share
        """amperes in the output for a volt inside"""
        self.peak_v = self.amplitude_v + abs(self.offset_v)
        # An endless limit: what the cycle means are where nothing clips.
        self._unclipped = transfer.means(self.amplitude_v, self.offset_v, self.peak_v / (1 - transfer.knee))

    def limit_v(self, headroom_v: V) -> V:
        """Where one half clips, the rails leaving it `headroom_v`."""
        return headroom_v

    def means(self, headroom_v: float) -> CycleMeans:
        """Cycle means of the voltage inside one half."""
        if not self.live:
            return SILENT
        limit_v = self.limit_v(headroom_v)
        # The unclipped case is by far the commonest; it was worked out once.
        return self._unclipped if self.peak_v <= self.transfer.onset_v(limit_v) else self._clipped(limit_v)

    def takes(self, rail_v: float, headroom_v: float) -> tuple[float, float]:  # noqa: ARG002 - class D needs it
        """Current from the lumped rails in A, and its slope with the rail in A/V."""
        means = self.means(headroom_v)
        path_s = self.halves * self.path_s
        return means.absolute_v * path_s, means.absolute_slope * path_s

    def flows(self, rail_v: float, headroom_v: float) -> StageFlows:
        """Where what it takes goes."""
        if not self.live:
            return NOTHING
        means = self.means(headroom_v)
        path_s = self.halves * self.path_s
        lost_w = (rail_v * means.absolute_v - means.square_v2) * path_s
        return StageFlows(lost_w, *self._outside_w(means))

    def peak_a(self, headroom_v: float) -> float:
        """Highest current in the output."""
        return min(self.peak_v, self.limit_v(headroom_v)) * self.path_s

    def dc_v(self, headroom_v: float) -> float:
        """Mean voltage at the load."""
        return self.halves * self.means(headroom_v).mean_v * self.share

    def _outside_w(self, means: CycleMeans) -> tuple[float, float]:
        """In the output resistance, and in the load."""
        path_s = self.halves * self.path_s
        return means.square_v2 * path_s * self.path_s * self.output_ohm, means.square_v2 * path_s * self.share

    def _clipped(self, limit_v: float) -> CycleMeans:
        return self.transfer.means(self.amplitude_v, self.offset_v, limit_v)


class SwitchingStage(Stage):
    """A class D stage: an ideal transformer of the rail, but for two losses.

    Its current warms `conduction_ohm` (devices and coil), which also takes its share of the swing; switching takes
    `switching_s`·V² from the rails whatever it plays. The efficiency that comes of it, P/(P·(1 + r/R) + switching),
    rises steeply from nothing and is flat over most of the range, the lower the load the lower. Feedback keeps
    `conduction_ohm` out of the output resistance. The residue of the carrier that `waveforms` adds is left out of the
    powers: some tenths of a volt into a load are milliwatts.
    """

    __slots__ = ("_swing", "conduction_ohm", "switching_s")

    def __init__(
        self,
        amplitude_v: float,
        offset_v: float,
        conductance_s: float,
        output_ohm: float,
        *,
        conduction_ohm: float,
        switching_s: float,
        live: bool = True,
        transfer: Transfer = HARD,
        halves: int = 1,
    ) -> None:
        super().__init__(amplitude_v, offset_v, conductance_s, output_ohm, live=live, transfer=transfer, halves=halves)
        self.conduction_ohm = conduction_ohm
        self.switching_s = switching_s if live else 0.0
        self._swing = 1 / (1 + conduction_ohm * self.path_s)

    def limit_v(self, headroom_v: V) -> V:
        """What the current drops on its way is missing at the top."""
        return headroom_v * self._swing

    def takes(self, rail_v: float, headroom_v: float) -> tuple[float, float]:
        """Power over rail voltage: the higher the rail, the less current."""
        if rail_v <= 0:
            return 0.0, 0.0
        means = self.means(headroom_v)
        per_square_s = self._per_square_s
        output_a = means.square_v2 * per_square_s / rail_v
        slope = means.square_slope_v * self._swing * per_square_s / rail_v - output_a / rail_v + self.switching_s
        return output_a + self.switching_s * rail_v, slope

    def flows(self, rail_v: float, headroom_v: float) -> StageFlows:
        """Conduction and switching are lost in the stage."""
        if not self.live:
            return NOTHING
        means = self.means(headroom_v)
        conduction_w = self.halves * means.square_v2 * self.path_s**2 * self.conduction_ohm
        return StageFlows(conduction_w + self.switching_s * rail_v**2, *self._outside_w(means))

    @property
    def _per_square_s(self) -> float:
        """Watts for a square volt inside a half, conduction loss and output resistance included."""
        return self.halves * self.path_s * (1 + self.path_s * self.conduction_ohm)
