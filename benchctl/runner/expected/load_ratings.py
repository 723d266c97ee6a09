"""What each load of a bench can take."""

from __future__ import annotations

from collections.abc import Mapping

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.bench_file.by_hand import LoadsByHand
from benchctl.documents.bench_file.instruments import RelayBank


def ratings_w(bench: Bench, amplifier: Amplifier, load_ohm: float) -> Mapping[str, float]:
    """Each of the amplifier's channels -> what its load can take continuously."""
    load = bench.load
    if isinstance(load, RelayBank | LoadsByHand):
        found = {channel: each.rated_power_w for channel, each in load.resistors_for(load_ohm).items()}
    else:
        found = {} if load is None else {load.channel: load.ratings.power_w}
    return {channel: rated_w for channel, rated_w in found.items() if channel in amplifier.channels}


def rated_loads_on(bench: Bench, amplifier: Amplifier) -> tuple[float, ...]:
    """The loads that keys can connect: those of the rating plate that the bench has, the highest resistance first."""
    rated = sorted({rating.load_ohm for rating in amplifier.rated}, reverse=True)
    load = bench.load
    if isinstance(load, RelayBank | LoadsByHand):
        rated = [ohm for ohm in rated if set(amplifier.channels) <= set(load.resistors_for(ohm))]
    return tuple(rated)
