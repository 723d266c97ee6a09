"""What is fitted: records with their instants, and in each the values that one instrument saw."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from benchctl.fit.reading.tops import Tops
from benchctl.measure.uncertainty import LoadResistance

Samples = NDArray[np.float64]
Shape = Literal["burst", "steady", "rest"]

CURRENT, VOLTAGE = "supply current", "supply voltage"
METER_CURRENT, METER_VOLTAGE = "supply's own current", "supply's own voltage"


@dataclass(frozen=True)
class Scale:
    """The errors that a signal's values share, as standard uncertainties.

    Attributes:
        gain_u: of gain, of the whole chain.
        range_name: '' of a meter, which has one range here.
        range_gain_u: of gain, of one range.
        zero_u: of one range.
        record_gain_u: of gain, of one record.
        steps_u: of a mean, which the steps of the converter leave.
        step: of the converter; 0 of a meter.
    """

    signal: str
    gain_u: float
    range_name: str
    range_gain_u: float
    zero_u: float
    record_gain_u: float = 0.0
    steps_u: float = 0.0
    step: float = 0.0


@dataclass(frozen=True)
class Item:
    """Values of one signal in one record.

    Attributes:
        noise: standard uncertainty of each value, without the errors of `scale`.
        spreads: how far the samples behind each value spread, in steps of the converter; None of a meter.
    """

    signal: str
    values: Samples
    noise: Samples
    scale: Scale
    spreads: Samples | None = None


@dataclass(frozen=True)
class Instants:
    """Where a record is looked at.

    Attributes:
        nodes_s: instants from the trigger on at which the model has its steps.
        sampled: which of them an output's values belong to.
        bins: of currents and voltages, as pairs of nodes.
        after_s: edges of the bins after a burst, counted from its end; none of a steady tone.
    """

    nodes_s: Samples
    sampled: NDArray[np.int64]
    bins: NDArray[np.int64]
    after_s: Samples


NO_INSTANTS = Instants(np.zeros(1), np.zeros(0, np.int64), np.zeros((0, 2), np.int64), np.zeros(0))


@dataclass(frozen=True)
class Take:
    """One record, or the readings of one step at rest.

    Attributes:
        file: of the record.
        name: as people call it.
        level_v: RMS at the input; 0 at rest.
        supply_v: as the supply was set.
        quiet: the part of the level that plays between bursts.
        loads: channel -> its load; empty where none was connected.
        phases: channel -> phase of its sine at the trigger.
        items: signal -> its values. Of a burst, currents and voltages begin with the bin before the trigger.
        heatsink_c: when it was taken; None where nobody measured it.
        is_searched: whether its level was found by a search for where the output clips.
        tops: channel -> its tops under the tone.
    """

    file: str
    name: str
    shape: Shape
    frequency_hz: float
    level_v: float
    supply_v: float
    driven: tuple[str, ...]
    quiet: float
    cycles: int
    loads: Mapping[str, LoadResistance]
    instants: Instants
    phases: Mapping[str, float]
    items: Mapping[str, Item]
    heatsink_c: float | None
    taken_s: float
    is_searched: bool = False
    tops: Mapping[str, Tops] = field(default_factory=dict)
