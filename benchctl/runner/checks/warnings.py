"""Warnings: what a careful technician would ask about. A person may accept them, with a reason.

What is clearly unsafe or impossible is a hazard and not a warning; it cannot be accepted.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from benchctl.documents.bench_file.by_hand import LoadsByHand
from benchctl.documents.bench_file.instruments import RelayBank
from benchctl.documents.sequence_file.bench_steps import PowerOff, PowerOn, RampSupply
from benchctl.quantity import render
from benchctl.runner.acting.run import Files
from benchctl.runner.checks.burdens import bears_s
from benchctl.runner.checks.vain_limits import limits_anything, vain_limits
from benchctl.runner.expected.load_ratings import ratings_w
from benchctl.runner.expected.worst_case import WorstCase
from benchctl.runner.plan import PlannedStep


def of_run(
    files: Files, plan: Sequence[PlannedStep], worst_cases: Sequence[WorstCase], *, unattended: bool
) -> Iterator[str]:
    """Every warning about the run as a whole."""
    longest_s = sum(worst.at_most_s or worst.duration_s for worst in worst_cases)
    yield from _left_on(plan)
    yield from vain_limits(files, longest_s)
    if not limits_anything(files, longest_s):
        yield from _unlimited(files, plan)
    elif unattended:
        yield from _unwatched(files)


def of_step(worst: WorstCase, files: Files) -> Iterator[str]:
    """A wirewound resistor can take some seconds above its rating; the owner must decide whether this one can."""
    if not isinstance(files.bench.load, RelayBank | LoadsByHand):
        return
    load_ohm = worst.load_ohm or 0.0
    rated_w = min(ratings_w(files.bench, files.amplifier, load_ohm).values(), default=math.inf)
    if worst.load_w > rated_w:
        borne_s = render(bears_s(worst.load_w, rated_w), "s", digits=3)
        yield (
            f"up to {render(worst.load_w, 'W')} for {render(worst.for_s, 's')} into a load of "
            f"{render(load_ohm, 'ohm')} rated {render(rated_w, 'W')}; a wirewound resistor can take that for "
            f"{borne_s}; where yours is another kind, lower the level or wire a larger one"
        )


def _left_on(plan: Sequence[PlannedStep]) -> Iterator[str]:
    switching = [planned for planned in plan if isinstance(planned.step, PowerOn | RampSupply | PowerOff)]
    if switching and isinstance(switching[-1].step, PowerOn | RampSupply):
        yield (
            f"the sequence ends with the amplifier on, since {switching[-1].label}; "
            "with 'power_off' at its end the amplifier sleeps before its supply goes"
        )


def _unlimited(files: Files, plan: Sequence[PlannedStep]) -> Iterator[str]:
    if any(isinstance(planned.step, PowerOn | RampSupply) for planned in plan):
        maximum, fuse = render(files.amplifier.heatsink.maximum_c, "degC"), render(files.amplifier.supply.fuse_a, "A")
        yield (
            f"neither sequence nor bench has a limit that can trip, so only the heatsink's maximum of {maximum} is "
            "watched; limit the current at least, for example to the amplifier's fuse: "
            f"'limits: {{supply_current: {{above: {fuse}}}}}'"
        )


def _unwatched(files: Files) -> Iterator[str]:
    """The heatsink is always watched, because the amplifier file limits it. A short shows in the current first."""
    if files.sequence.limits.supply_current is None and files.bench.limits.supply_current is None:
        supply = files.bench.instruments.supply
        gives = f", and the supply gives up to {render(supply.main.current_a, 'A')}" if supply is not None else ""
        fuse = render(files.amplifier.supply.fuse_a, "A")
        yield (
            f"nobody is present, and neither sequence nor bench limits supply_current{gives}; limit it, for example to "
            f"the amplifier's fuse: 'limits: {{supply_current: {{above: {fuse}}}}}'"
        )
