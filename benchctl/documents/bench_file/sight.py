"""What of an amplifier a bench can see: the outputs that have a probe, at once or one after the other, and the
temperatures that are read. What it cannot see must be said in a file, under `unwatched`."""

from __future__ import annotations

from collections import defaultdict
from itertools import zip_longest
from typing import TYPE_CHECKING

from benchctl.documents.model.limits import HEATSINK, output_of

if TYPE_CHECKING:
    from benchctl.documents.amplifier_file.amplifier import Amplifier
    from benchctl.documents.bench_file.bench import Bench

View = tuple[str, ...]
"""The outputs that are seen at once."""


def unwatched(bench: Bench, amplifier: Amplifier) -> tuple[str, ...]:
    """What the files say that nothing watches, as far as this amplifier has it: `heatsink`, `output B`."""
    said = dict.fromkeys((*amplifier.unwatched, *bench.unwatched))
    return tuple(what for what in said if output_of(what) is None or output_of(what) in amplifier.channels)


def reads_heatsink(bench: Bench, amplifier: Amplifier) -> bool:
    """Whether a sensor is on this amplifier's heatsink. One that a file says is not watched counts for nothing."""
    thermometer = bench.instruments.thermometer
    has_sensor = thermometer is not None and thermometer.channels.heatsink is not None
    return has_sensor and HEATSINK not in unwatched(bench, amplifier)


def terminal_point(bench: Bench) -> str | None:
    """The point at which the multimeter reads the amplifier's supply terminals by itself; None where there is none."""
    multimeter = bench.instruments.multimeter
    points = {} if multimeter is None else multimeter.points
    return next((name for name, point in points.items() if getattr(point, "at_terminals", False)), None)


def reads_terminals(bench: Bench) -> bool:
    """Whether a meter reads the voltage at the terminals: the multimeter, or a supply that senses there."""
    supply = bench.instruments.supply
    return terminal_point(bench) is not None or (supply is not None and supply.main.remote_sense)


def measures_terminals(bench: Bench) -> bool:
    """Whether anything on the bench measures at the amplifier's terminals."""
    has_probe = bench.instruments.oscilloscope is not None and bench.signals.supply_voltage is not None
    return has_probe or reads_terminals(bench)


def views(bench: Bench, amplifier: Amplifier) -> tuple[View, ...]:
    """The outputs that are seen at once, in each position of the probes; one position where no probe is moved."""
    not_seen = unwatched(bench, amplifier)
    by_scope_channel: dict[int, list[str]] = defaultdict(list)
    for channel, wiring in bench.signals.outputs.items():
        if channel in amplifier.channels and f"output {channel}" not in not_seen:
            by_scope_channel[wiring.oscilloscope].append(channel)
    positions = zip_longest(*by_scope_channel.values())
    return tuple(tuple(channel for channel in position if channel is not None) for position in positions)


def seen_outputs(bench: Bench, amplifier: Amplifier) -> View:
    """Every output that is seen in some position of the probes, in the amplifier's order."""
    seen = {channel for view in views(bench, amplifier) for channel in view}
    return tuple(channel for channel in amplifier.channels if channel in seen)


def unseen_outputs(bench: Bench, amplifier: Amplifier) -> View:
    """Every output that no probe sees."""
    seen = seen_outputs(bench, amplifier)
    return tuple(channel for channel in amplifier.channels if channel not in seen)


def sees_outputs_together(bench: Bench, amplifier: Amplifier) -> bool:
    """Whether two outputs or more are seen at once, and no others at another time."""
    positions = views(bench, amplifier)
    return len(positions) == 1 and len(positions[0]) > 1


def probes_are_moved(bench: Bench, amplifier: Amplifier) -> bool:
    """Whether a hand must move a probe before every output of this amplifier has been seen."""
    return len(views(bench, amplifier)) > 1
