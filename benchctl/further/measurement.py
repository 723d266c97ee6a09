"""What a sequence measures that a fit can use, as one point each."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from benchctl.fit.reading.items import Take
from benchctl.quantity import render

Kind = Literal["idle", "burst", "clean", "tone"]


@dataclass(frozen=True)
class Measurement:
    """One of them, with all channels driven alike.

    `clean` is a clean level with a continuous tone at it, `tone` a continuous tone at `level_v`. What it has not of its
    own, as an idle has no load, is 0.
    """

    kind: Kind
    supply_v: float
    load_ohm: float = 0.0
    frequency_hz: float = 1000.0
    cycles: int = 0
    level_v: float = 0.0

    @property
    def words(self) -> str:
        """As people call it."""
        supply, load = render(self.supply_v, "V"), render(self.load_ohm, "ohm")
        match self.kind:
            case "idle":
                return f"idle at {supply}"
            case "burst":
                cycles = "1 cycle" if self.cycles == 1 else f"{self.cycles} cycles"
                return f"bursts of {cycles} at {render(self.frequency_hz, 'Hz')} into {load} at {supply}"
            case "clean":
                return f"clean level and 3 s of it into {load} at {supply}"
            case _:
                return f"a tone of {render(self.level_v, 'V', digits=3)} into {load} at {supply}"


def measured_in(takes: Sequence[Take], channels: Sequence[str]) -> dict[Measurement, tuple[Take, ...]]:
    """What a run has measured, each point with its records; only those with every channel driven."""
    found: dict[Measurement, list[Take]] = {}
    rests: list[Take] = []
    for take in takes:
        if take.shape == "rest":
            # A rest before a tone belongs to it.
            if take.loads:
                rests.append(take)
            else:
                found.setdefault(Measurement("idle", take.supply_v), []).append(take)
            continue
        if set(take.driven) >= set(channels) and take.loads:
            found.setdefault(_of_tone(take), []).extend([*rests, take])
        rests = []
    return {each: tuple(_first_of_each_kind(own)) for each, own in found.items()}


def _of_tone(take: Take) -> Measurement:
    load_ohm = next(iter(take.loads.values())).nominal_ohm
    if take.shape == "burst":
        return Measurement("burst", take.supply_v, load_ohm, take.frequency_hz, cycles=take.cycles)
    if take.name.startswith("continuous tone at clean level"):
        return Measurement("clean", take.supply_v, load_ohm, take.frequency_hz)
    return Measurement("tone", take.supply_v, load_ohm, take.frequency_hz, level_v=take.level_v)


def _first_of_each_kind(takes: Sequence[Take]) -> Iterator[Take]:
    """What a run repeats is done once."""
    seen: set[tuple[str, frozenset[str]]] = set()
    for take in takes:
        key = (take.name.removesuffix(" after"), frozenset(take.items))
        if key not in seen:
            seen.add(key)
            yield take
