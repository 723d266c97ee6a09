"""The numbers of the circuit as a `fitted:` part has them, each with its standard uncertainty; what it leaves out is
taken as is plausible of any amplifier."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import replace

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.amplifier_file.fitted import AmplifierFitted, FittedValue
from benchctl.fit.fitting import kind_of
from benchctl.fit.model.assembled import HARDEST, told_of_converter
from benchctl.fit.model.physics import Kind
from benchctl.fit.parameters import Parameter
from benchctl.fit.plausible import BIAS_MOVES, USUAL_PATH_OHM, usual
from benchctl.fit.twin.surroundings import Uncertain
from benchctl.measure.uncertainty import COVERAGE_FACTOR

UNSEEN_KNEE = 0.02
"""Part of the swing over which clipping may set in where the fit cannot tell, as a standard uncertainty; what is wider
it tells."""

USUAL_PATH = Uncertain(USUAL_PATH_OHM, 0.6 * USUAL_PATH_OHM)
"""Of leads and connectors that nobody has measured (common practice: they take up to a twentieth of the voltage)."""

_FITTED: Mapping[str, str] = {
    "headroom": "headroom_v",
    "input_ratio": "input_ratio",
    "rail_stiffness": "stiffness_ohm",
    "reservoir": "reservoir_f",
    "idle_current": "idle_a",
    "saturation": "saturation_v",
    "output_resistance": "output_ohm",
    "conduction_resistance": "conduction_ohm",
    "knee": "knee",
    "supply_path": "path_ohm",
}
"""Its key in the file -> its name in the model."""


def fitted_kind(amplifier: Amplifier, fitted: AmplifierFitted) -> Kind:
    """The circuit, and whether its rails move within a cycle."""
    kind = kind_of(amplifier)
    averaged = fitted.rails_move == "from cycle to cycle" and not kind.regulated
    return replace(kind, averaged=averaged)


def known_numbers(fitted: AmplifierFitted, kind: Kind) -> dict[str, Uncertain]:
    """All that the model needs, by its names; of the converter, n/eta."""
    numbers = {name: _plausible(each) for name, each in usual(kind).items() if name != told_of_converter(kind)}
    numbers["path_ohm"] = USUAL_PATH
    numbers["knee"] = Uncertain(HARDEST, UNSEEN_KNEE)
    numbers["bias part"] = Uncertain(1.0, BIAS_MOVES)
    return numbers | dict(_told(fitted))


def _plausible(parameter: Parameter) -> Uncertain:
    """Of a factor, its upper side."""
    spread = parameter.spread
    return Uncertain(parameter.centre, parameter.centre * math.expm1(spread) if parameter.is_ratio else spread)


def _told(fitted: AmplifierFitted) -> Iterator[tuple[str, Uncertain]]:
    for key, name in _FITTED.items():
        if (part := getattr(fitted, key)) is not None:
            yield name, told_as(part)


def told_as(part: FittedValue) -> Uncertain:
    """A value of the file."""
    value, expanded = (float(each) for _, each in part)
    return Uncertain(value, expanded / COVERAGE_FACTOR)
