"""Faults that are planted, each at a size that a repairer would call a fault (common practice), and pairs of them."""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.fit.diagnosis.diagnosing import FIT
from benchctl.fit.unseen import DRY_RAIL

SIZES: Mapping[str, str] = {
    "aged_reservoir": "20 to 70 % left",
    "dry_rail": "one rail with 3 to 15 % of its capacitance",
    "low_rail": "one rail with 75 to 92 % of its voltage",
    "open_device": "one half of one channel",
    "bias_too_high": "2 to 5 times",
    "dc_on_output": "100 mV to 1 V of either sign at one output",
    "gain_mismatch": "1 to 6 dB less in one channel",
    "dry_joint": "opens at 33 to 37 degC, closes 5 K below",
}

IN_FILE: Mapping[str, str] = {**{fault: fault for fault in SIZES}, "dry_rail": "weak_rail", "low_rail": "weak_rail"}
"""What an amplifier file calls each; it has one weak rail at most."""

NAMES: Mapping[str, frozenset[str]] = {
    "aged_reservoir": frozenset({"reservoir"}),
    "dry_rail": frozenset({"weak rail"}),
    "low_rail": frozenset({"weak rail"}),
    "open_device": frozenset({"half wave"}),
    "bias_too_high": frozenset({"idle"}),
    "dc_on_output": frozenset({"dc"}),
    "gain_mismatch": frozenset({"gain"}),
    "dry_joint": frozenset({"joint", "silence"}),
}
"""What a diagnosis must call each. A joint that opens before the first record leaves a channel that is silent."""

UNTOLD: Mapping[str, frozenset[str]] = {
    **NAMES,
    "aged_reservoir": frozenset({"reservoir", FIT}),
    "dry_rail": frozenset({"weak rail", DRY_RAIL}),
    "dry_joint": frozenset({"joint"}),
}
"""With one of these among what is untold, the diagnosis says that it cannot see the fault."""


@dataclass(frozen=True)
class Planted:
    """One or two faults; `channels`: fault -> channel, '' of the whole amplifier; `section`: of an amplifier file."""

    faults: tuple[str, ...]
    channels: Mapping[str, str]
    section: Mapping[str, Any]


def sets_of_faults(amplifier: Amplifier) -> list[tuple[str, ...]]:
    """Each one that such an amplifier can have, and each pair. Class D has no bias."""
    able = [fault for fault in SIZES if fault != "bias_too_high" or amplifier.amplifier_class != "D"]
    pairs = [pair for pair in combinations(able, 2) if IN_FILE[pair[0]] != IN_FILE[pair[1]]]
    return [*((one,) for one in able), *pairs]


def planted(faults: Sequence[str], amplifier: Amplifier, chance: random.Random) -> Planted:
    """These faults, at drawn sizes, in drawn channels; a pair strikes one channel or two."""
    channels: dict[str, str] = {}
    section: dict[str, Any] = {}
    for fault in faults:
        channel = chance.choice(amplifier.channels)
        section[IN_FILE[fault]] = _DRAWING[fault](channel, chance)
        channels[fault] = "" if fault in _WHOLE else channel
    return Planted(tuple(faults), channels, section)


_WHOLE = frozenset({"aged_reservoir", "dry_rail", "low_rail", "bias_too_high"})


def _aged(_channel: str, chance: random.Random) -> str:
    return f"{chance.uniform(20.0, 70.0):.1f} %"


def _dry(_channel: str, chance: random.Random) -> dict[str, str]:
    return {"rail": chance.choice(["plus", "minus"]), "capacitance": f"{chance.uniform(3.0, 15.0):.1f} %"}


def _low(_channel: str, chance: random.Random) -> dict[str, str]:
    return {"rail": chance.choice(["plus", "minus"]), "voltage": f"{chance.uniform(75.0, 92.0):.1f} %"}


def _open(channel: str, chance: random.Random) -> dict[str, str]:
    return {"channel": channel, "half": chance.choice(["upper", "lower"])}


def _bias(_channel: str, chance: random.Random) -> float:
    return round(math.exp(chance.uniform(math.log(2.0), math.log(5.0))), 2)


def _dc(channel: str, chance: random.Random) -> dict[str, str]:
    size_v = math.exp(chance.uniform(math.log(0.1), math.log(1.0)))
    return {channel: f"{chance.choice([-1.0, 1.0]) * size_v * 1e3:.0f} mV"}


def _gain(channel: str, chance: random.Random) -> dict[str, str]:
    return {channel: f"{-chance.uniform(1.0, 6.0):.2f} dB"}


def _joint(channel: str, chance: random.Random) -> dict[str, str]:
    opens_c = chance.uniform(33.0, 37.0)
    return {"channel": channel, "opens": f"{opens_c:.1f} degC", "closes": f"{opens_c - 5.0:.1f} degC"}


_DRAWING: Mapping[str, Callable[[str, random.Random], Any]] = {
    "aged_reservoir": _aged,
    "dry_rail": _dry,
    "low_rail": _low,
    "open_device": _open,
    "bias_too_high": _bias,
    "dc_on_output": _dc,
    "gain_mismatch": _gain,
    "dry_joint": _joint,
}
