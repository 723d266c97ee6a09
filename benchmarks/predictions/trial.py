"""One draw: a dry run into three loads, a fit of two of them, and the third predicted beside what was true of it."""

from __future__ import annotations

import pickle
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import yaml

from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.entries import entries_of
from benchctl.archive.journal.journal import read_journal
from benchctl.fit.prediction.asked import Predicted
from benchctl.fit.prediction.beside import MEASURED_IN, beside, entries_in, examined_without, predicted_there
from benchctl.fit.reading.taking import read_run
from benchctl.launch.opened import opened_bench
from benchctl.launch.run import Documents, at_measured_pace, run_on
from benchctl.library import find
from benchctl.quantity import render
from benchctl.runner.checks.preflight import preflight
from benchctl.runner.plan import expand
from benchctl.simulator.true_records import TrueRecords
from benchmarks.coverage.campaign import truths_of
from benchmarks.fits.drawing import bench_of, drawn
from benchmarks.nobody import Nobody
from benchmarks.sequences.trials import ACCEPTED

LOADS: Mapping[str, tuple[float, float, float]] = {
    "hx2150": (8.0, 4.0, 2.0),
    "kx240": (8.0, 4.0, 2.0),
    "lw1200": (4.0, 2.0, 1.0),
}
"""Into two of them it is fitted; the last is predicted."""


BURSTS = (1, 20)


@dataclass(frozen=True)
class Task:
    """A draw around a shipped amplifier; `keep`: where its outcome is kept, so that a campaign may go on later."""

    base: str
    seed: int
    keep: Path | None = None

    @property
    def kept(self) -> Path | None:
        """The file of its outcome."""
        return None if self.keep is None else self.keep / f"{self.base}-{self.seed}"


@dataclass(frozen=True)
class Judged:
    """A predicted figure beside its true value, and the value that was measured in the load."""

    predicted: Predicted
    true_value: float
    measured: float

    @property
    def off(self) -> float:
        """The error over U."""
        return (self.predicted.value - self.true_value) / self.predicted.expanded_uncertainty

    @property
    def error(self) -> float:
        """Relative to the truth."""
        return self.predicted.value / self.true_value - 1.0


@dataclass(frozen=True)
class Outcome:
    """What one draw showed; `refused`: why nothing was predicted; `bench`: its kind."""

    judged: tuple[Judged, ...]
    refused: tuple[str, ...] = ()
    bench: str = ""


def trial(task: Task, folder: Path) -> Outcome:
    """Run it, fit it, predict; or what was kept of that.

    Raises:
        BenchctlError: the run was refused or broken.
    """
    if task.kept is not None and task.kept.exists():
        found = pickle.loads(task.kept.read_bytes())
        assert isinstance(found, Outcome)
        return found
    outcome = _trial(task, folder)
    if task.kept is not None:
        task.kept.parent.mkdir(parents=True, exist_ok=True)
        task.kept.write_bytes(pickle.dumps(outcome))
    return outcome


def _trial(task: Task, folder: Path) -> Outcome:
    folder.mkdir(parents=True, exist_ok=True)
    run, truths = _run(task, folder)
    *_, load_ohm = LOADS[task.base]
    found = examined_without(read_run(run), load_ohm)
    supply_v = found.run.amplifier.supply.nominal_v
    prediction = predicted_there(found, load_ohm, supply_v)
    each = []
    for entry in entries_in(found.run, load_ohm, supply_v):
        for one in beside(prediction, [entry]):
            true_value = truths[entry.number, one.predicted.name, one.predicted.channel]
            each.append(Judged(one.predicted, true_value, one.measured.value))
    return Outcome(tuple(each), prediction.refused, bench_of(task.seed))


Truth = Mapping[tuple[int, str, str], float]


def _run(task: Task, folder: Path) -> tuple[RunFolder, Truth]:
    draw = drawn(task.base, task.seed, folder, bench_of(task.seed))
    _with_loads(draw.bench, LOADS[task.base])
    documents = Documents(str(_sequence(task.base, folder)), str(draw.bench), str(draw.amplifier), {})
    files = documents.load()
    checked = preflight(files, expand(files.sequence, files.amplifier, files.bench), unattended=False)
    checked.refuse_hazards(ACCEPTED)
    with opened_bench(files, dry_run=True) as opened:
        assert opened.simulated is not None
        true_records = TrueRecords(opened.simulated)
        checked = at_measured_pace(opened, files, checked, unattended=False, accepted=ACCEPTED)
        result = run_on(opened, files, replace(checked, accepted=ACCEPTED), Nobody(), out=folder / "runs", settings={})
    run = RunFolder.open(result.folder)
    truths: dict[tuple[int, str, str], float] = {}
    for entry in entries_of(read_journal(run.journal).events):
        if entry.analysis in MEASURED_IN.values() and entry.figures:
            known = truths_of(entry, run, true_records)
            truths |= {(entry.number, *name): value for name, value in known.items()}
    return run, truths


def _sequence(base: str, folder: Path) -> Path:
    """burst_and_continuous into the three loads."""
    content = yaml.safe_load(find("sequences", "burst_and_continuous").read_text(encoding="utf-8"))
    sweep = next(step for step in content["steps"] if isinstance(step, dict) and "sweep" in step)
    sweep["sweep"]["load"] = [render(ohm, "ohm") for ohm in LOADS[base]]
    # Amplifiers drawn here draw more than their plate lets expect; their fuse is not what is tried.
    for step in sweep["steps"]:
        if "measure_burst" in step:
            step["measure_burst"]["cycles"] = list(BURSTS)
    content["limits"] = {name: limit for name, limit in content["limits"].items() if name == "heatsink"}
    file = folder / "three_loads.yaml"
    file.write_text(yaml.safe_dump(content, sort_keys=False), encoding="utf-8")
    return file


def _with_loads(bench: Path, loads: tuple[float, ...]) -> None:
    """Resistors that the shipped bench lacks."""
    content = yaml.safe_load(bench.read_text(encoding="utf-8"))
    resistors = content["instruments"]["load"]["resistors"]
    channels = list(dict.fromkeys(each["channel"] for each in resistors))
    alike = resistors[0]
    there = {each["nominal"] for each in resistors}
    for load_ohm in loads:
        if (nominal := render(load_ohm, "ohm")) in there:
            continue
        for number, channel in enumerate(channels):
            resistors.append(
                {
                    "nominal": nominal,
                    "channel": channel,
                    "relay": 121 + number,
                    "measured": f"{load_ohm * (1.003, 0.998)[number % 2]:.6g} ohm",
                    "uncertainty": alike["uncertainty"],
                    "temperature_coefficient": alike["temperature_coefficient"],
                    "rated_power": "600 W",
                }
            )
    bench.write_text(yaml.safe_dump(content, sort_keys=False), encoding="utf-8")
