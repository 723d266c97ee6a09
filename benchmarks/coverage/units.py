"""Units of one type are not alike: what each draws at rest differs with the tolerance of its parts.

A display that stands still in coarse steps shows one current in two or three ways, by the errors of the meter. So no
interval holds one and the same current on just 95 % of benches: where the limit of error is as large as the step, U
holds some currents on all benches and others on 85 % of them. What U promises is to hold 95 % of all that may be meant
by a reading, of which any within half a step is as likely as another (JCGM 100, F.2.2.1). That is seen where units
differ by steps.
"""

from __future__ import annotations

import random
from collections.abc import Mapping

from benchctl.documents.amplifier_file.amplifier import Amplifier

# Factors on what the file states, drawn evenly: bias is set by hand and drifts with age (common practice).
AT_REST: Mapping[str, tuple[float, float]] = {
    "bias_current_a": (0.75, 1.25),
    "switching_w": (0.75, 1.25),
    "housekeeping_w": (0.75, 1.25),
}


def unit_of(amplifier: Amplifier, seed: int) -> Amplifier:
    """One unit of the type that an amplifier file describes."""
    described = amplifier.simulation
    if described is None:
        return amplifier
    chance = random.Random(f"unit {seed}")
    drawn = {name: chance.uniform(*factors) for name, factors in AT_REST.items()}
    own = {name: stated * drawn[name] for name in drawn if (stated := getattr(described, name)) is not None}
    return amplifier.model_copy(update={"simulation": described.model_copy(update=own)})
