"""One dry run of a few steps from power_on to power_off, and all that it left behind."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import pandas as pd

from benchctl.archive.folder import RunFolder
from benchctl.archive.tables.figures import read_figures
from benchctl.archive.verify import Verification, verify
from benchctl.measure.budget.figure import Figure
from benchctl.runner.checks.preflight import Preflight, preflight
from benchctl.runner.engine.execute import Outcome
from benchctl.runner.plan import PlannedStep, expand
from tests.runner.rig import POWER_ON_LINE, Edits, Event, Files, Rig, files, rig

LOADED = "set: {load: 4 ohm, frequency: 1 kHz}"


@dataclass(frozen=True)
class Measured:
    """`took_s`: kind of step -> how long it took in all. What few tests ask for is worked out when they do."""

    files: Files
    plan: tuple[PlannedStep, ...]
    folder: RunFolder
    outcome: Outcome
    took_s: Mapping[str, float]
    events: tuple[Event, ...]
    notes: tuple[str, ...]
    told: tuple[str, ...]
    requests: tuple[str, ...]
    sent: tuple[tuple[str, str], ...]

    @cached_property
    def table(self) -> pd.DataFrame:
        return read_figures(self.folder)

    @cached_property
    def verification(self) -> Verification:
        return verify(self.folder.path)

    @cached_property
    def checked(self) -> Preflight:
        return preflight(self.files, self.plan, unattended=True)

    def figures(self, name: str) -> list[Figure]:
        return [figure for figure in self.outcome.figures if figure.name == name]

    def figure(self, name: str, channel: str = "") -> Figure:
        """The only figure of this name and channel."""
        (figure,) = [figure for figure in self.figures(name) if figure.channel == channel]
        return figure

    def expected_s(self, kind: str) -> float:
        return sum(
            worst.duration_s
            for planned, worst in zip(self.checked.plan, self.checked.worst_cases, strict=True)
            if planned.step.kind == kind
        )


def measured(
    folder: Path,
    *steps: str,
    limits: Mapping[str, str] | None = None,
    bench: Edits | None = None,
    amplifier: Edits | None = None,
    power_on: str = POWER_ON_LINE,
    takes_zeros: bool = False,
    tries_wiring: bool = False,
    disturb: Callable[[Rig], None] = lambda _: None,
) -> Measured:
    """Perform these steps between power_on and power_off, the load of 4 ohm connected; `disturb` is called before."""
    these = files(power_on, LOADED, *steps, "power_off", limits=limits, bench=bench, amplifier=amplifier)
    with rig(folder, these, takes_zeros=takes_zeros, tries_wiring=tries_wiring) as bench_rig:
        disturb(bench_rig)
        outcome = bench_rig.execute()
        bench_rig.run.recorder.finish()
        events = bench_rig.events()
        return Measured(
            files=these,
            plan=bench_rig.plan,
            folder=bench_rig.run.recorder.folder,
            outcome=outcome,
            took_s=_took_s(events),
            events=events,
            notes=tuple(bench_rig.audience.notes),
            told=tuple(bench_rig.audience.told),
            requests=tuple(bench_rig.audience.requests),
            sent=tuple(bench_rig.taps.sent),
        )


def hazards_of(
    *steps: str, bench: Edits | None = None, amplifier: Edits | None = None, unattended: bool = True
) -> tuple[str, ...]:
    """What preflight has against these steps after power_on with the load of 4 ohm connected."""
    these = files(POWER_ON_LINE, LOADED, *steps, bench=bench, amplifier=amplifier)
    return look(these, unattended=unattended).hazards


def look(these: Files, *, unattended: bool = True) -> Preflight:
    """Preflight of these files."""
    return preflight(these, expand(these.sequence, these.amplifier, these.bench), unattended=unattended)


def _took_s(events: tuple[Event, ...]) -> dict[str, float]:
    took: dict[str, float] = {}
    began_s = 0.0
    for event in events:
        if event["event"] == "step started":
            began_s = event["time_s"]
        elif event["event"] == "step finished":
            kind = event["step"].split(" ")[1]
            took[kind] = took.get(kind, 0.0) + event["time_s"] - began_s
    return took


def true_gain(nominal: float = 31.9, output_ohm: float = 0.02, load_ohm: float = 4.013) -> float:
    """Volts at the load for a volt at the input, from the HX 2150's parameters: the divider of output and load."""
    return nominal * load_ohm / (load_ohm + output_ohm)


def within_uncertainty(figure: Figure, true_errors: float, factor: float = 1.0) -> bool:
    """Whether the truth lies within the figure's expanded uncertainty."""
    assert figure.expanded_uncertainty is not None
    return abs(figure.value - true_errors) <= factor * figure.expanded_uncertainty
