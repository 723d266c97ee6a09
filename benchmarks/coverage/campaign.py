"""One simulated bench after the other, each with a unit of its own: a dry run, and its figures beside true values."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any
from zlib import crc32

import yaml

from benchctl.archive.captures import load_capture
from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.entries import FiguresEntry
from benchctl.archive.recorder import Recorder
from benchctl.clock import RealClock, VirtualClock
from benchctl.documents.reader import load_amplifier, load_bench, load_sequence
from benchctl.instruments.bench import Bench, open_bench
from benchctl.instruments.interlock import Interlock
from benchctl.launch.opened import Opened
from benchctl.launch.run import perform
from benchctl.launch.simulated.description import describe
from benchctl.launch.simulated.virtual_time import let_arrive
from benchctl.library import find
from benchctl.measure.budget.figure import Figure, Made, keeping_values
from benchctl.measure.budget.found_level import FOUND_LEVEL
from benchctl.measure.freedom import expanded
from benchctl.measure.uncertainty import COVERAGE_FACTOR
from benchctl.runner.acting.run import Files
from benchctl.runner.checks.preflight import preflight
from benchctl.runner.plan import expand
from benchctl.simulator.bench import SimulatedBench
from benchctl.simulator.true_records import TrueRecords
from benchmarks.coverage.true_values import (
    Truths,
    above_rest_truth,
    clean_burst_truth,
    continuous_truth,
    full_burst_truth,
    idle_truth,
)
from benchmarks.coverage.units import unit_of
from benchmarks.nobody import Nobody

SEQUENCE = Path(__file__).with_name("coverage.yaml")
IMPERFECTIONS = Path(__file__).with_name("imperfections.yaml")


# What the truth is not known of in closed form.
UNKNOWN = frozenset({"carrier_frequency"})
# 12 bits; 8 bits with 3 %; and a supply that shows steps of 0.1 A.
BENCHES = ("workshop", "eight_bit", str(Path(__file__).with_name("coarse_supply.yaml")))
# Class AB; class D, whose output carries a residue of its carrier; regulated rails with a wide knee and crossover.
AMPLIFIERS = ("hx2150", "lw1200", "kx240")


_ROUNDED = 1e-6  # of a number in a journal
_APART = 1_000_000  # more than any campaign has draws


@dataclass(frozen=True)
class Pair:
    """A bench file, shipped or by its path, that states a seed, and a shipped amplifier of 14.4 V for 4 ohm.

    `is_untidy`: the workshop has what `imperfections.yaml` says, beside the errors of its instruments.
    """

    bench: str
    amplifier: str
    is_untidy: bool = True

    def seed_of(self, number: int) -> int:
        """Another seed for each pair, so that their errors are drawn apart."""
        return number + _APART * (crc32(f"{Path(self.bench).stem} {self.amplifier}".encode()) % 1000)

    def __str__(self) -> str:
        return f"{self.amplifier} on {Path(self.bench).stem}{'' if self.is_untidy else ', tidy'}"


# Each bench with one amplifier; the class D one, which costs most, on eight bits, where its carrier is hardest to tell.
PAIRS = (Pair(BENCHES[0], "hx2150"), Pair(BENCHES[1], "lw1200"), Pair(BENCHES[2], "kx240"))


@dataclass(frozen=True)
class Judged:
    """A figure beside its true value, both in the figure's unit; `standard_uncertainty`, U / k, is None for a bound."""

    seed: int
    analysis: str
    name: str
    channel: str
    value: float
    true_value: float
    standard_uncertainty: float | None
    bound: str = ""
    coverage_factor: float = COVERAGE_FACTOR

    @property
    def error(self) -> float:
        """Value minus true value."""
        return self.value - self.true_value

    @property
    def score(self) -> float | None:
        """The error in standard uncertainties; None for a bound."""
        return self.error / self.standard_uncertainty if self.standard_uncertainty else None

    @property
    def is_covered(self) -> bool:
        """Whether the true value lies inside value +- U, or on the right side of a bound."""
        if self.score is not None:
            return abs(self.score) <= self.coverage_factor
        return self.true_value >= self.value if self.bound == "at least" else self.true_value <= self.value


def judged_figures(seed: int, pair: Pair, folder: Path) -> list[Judged]:
    """Every figure of one dry run on the bench with that seed; the run folder is made inside `folder`.

    Raises:
        RuntimeError: the run ended early, or a step gave no figures.
    """
    amplifier = unit_of(load_amplifier(pair.amplifier), pair.seed_of(seed))
    files = Files(load_sequence(SEQUENCE, amplifier), load_bench(_seeded(pair, seed, folder)), amplifier)
    with _simulated(files) as (opened, true_records):
        run_folder = RunFolder.create(folder, f"coverage {seed}", files.amplifier.title, RealClock())
        recorder = Recorder(run_folder, opened.clock)
        try:
            checked = preflight(files, expand(files.sequence, files.amplifier, files.bench), unattended=True)
            with keeping_values() as made:
                outcome = perform(files, checked, opened, recorder, Nobody())
        finally:
            recorder.finish()
    if outcome.error is not None or outcome.unmeasured:
        raise RuntimeError(f"the run with seed {seed} ended early: {outcome.error or outcome.unmeasured}")
    return [judged for entry in recorder.measured for judged in _judged(seed, entry, run_folder, true_records, made)]


def _seeded(pair: Pair, seed: int, folder: Path) -> Path:
    """A copy of the bench file with another seed and, where it is untidy, what is not ideal about it."""
    given = Path(pair.bench)
    bench = yaml.safe_load((given if given.exists() else find("benches", pair.bench)).read_text())
    simulation = bench["simulation"]
    simulation["seed"] = pair.seed_of(seed)
    if pair.is_untidy:
        simulation["imperfections"] = _merged(_imperfections(seed), simulation.get("imperfections", {}))
    file = folder / f"{given.stem}-{seed}.yaml"
    file.write_text(yaml.safe_dump(bench, sort_keys=False))
    return file


def inputs_are_alike(seed: int) -> bool:
    """Whether all inputs of the oscilloscope have one error of gain in common, or each its own: one and the other in
    turn. Nobody states how much they share, so a figure's U is for the worse of both."""
    return seed % 2 == 0


def _imperfections(seed: int) -> dict[str, Any]:
    """With what differs from bench to bench: what inputs share, and which way a gain moves while it warms up."""
    found: dict[str, Any] = yaml.safe_load(IMPERFECTIONS.read_text())
    oscilloscope = found["oscilloscope"]
    oscilloscope["shared_gain"] = "100 %" if inputs_are_alike(seed) else "0 %"
    if seed // 2 % 2:
        oscilloscope["warm_up_gain"] = f"-{oscilloscope['warm_up_gain']}"
    return found


def _merged(one: Mapping[str, Any], other: Mapping[str, Any]) -> dict[str, Any]:
    """Both; where both have the same entry, the other's."""
    parts = {key: _merged(one[key], each) for key, each in other.items() if isinstance(one.get(key), dict)}
    return {**one, **other, **parts}


@contextmanager
def _simulated(files: Files) -> Iterator[tuple[Opened, TrueRecords]]:
    """The bench of a dry run, with its true records."""
    clock = VirtualClock()
    with clock.take_part(), SimulatedBench(describe(files.bench, files.amplifier), clock.now) as simulated:
        true_records = TrueRecords(simulated)
        addresses = {role: f"TCPIP::{host}::{port}::SOCKET" for role, (host, port) in simulated.start().items()}

        def connect(interlock: Interlock) -> Bench:
            bench = open_bench(files.bench, addresses, interlock, clock.sleep, owed=simulated.owed_s, now=clock.now)
            clock.before_jumps(partial(let_arrive, bench, simulated))
            return bench

        interlock = Interlock(clock)
        with connect(interlock) as bench:
            yield Opened(bench, clock, interlock, connect), true_records


def _judged(
    seed: int, entry: FiguresEntry, folder: RunFolder, true_records: TrueRecords, made: Sequence[Made]
) -> Iterator[Judged]:
    truths = truths_of(entry, folder, true_records) if entry.figures else {}
    for figure in (_at_the_level_that_was_set(each, made) for each in entry.figures):
        if (figure.name, figure.channel) not in truths and figure.name in UNKNOWN:
            continue
        # More than 2 is for few readings, whose scatter is itself uncertain: the errors spread as much more.
        wide, factor = figure.expanded_uncertainty, min(figure.coverage_factor or COVERAGE_FACTOR, COVERAGE_FACTOR)
        yield Judged(
            seed,
            entry.analysis,
            figure.name,
            figure.channel,
            figure.value,
            truths[figure.name, figure.channel],
            None if wide is None else wide / factor,
            figure.bound,
            factor,
        )


def _at_the_level_that_was_set(figure: Figure, made: Sequence[Made]) -> Figure:
    """A figure without the doubt of the level at which distortion is the bound: its true value is that at the level
    that was set."""
    value = next((each.value for each in reversed(made) if _is_same(each.figure, figure)), None)
    doubts = [each for each in value.derivatives if each.tag.words == FOUND_LEVEL] if value is not None else []
    if value is None or not doubts or figure.bound:
        return figure
    expanded_u, factor = expanded(value - sum(value.derivatives[doubt] * doubt for doubt in doubts))
    return replace(figure, expanded_uncertainty=expanded_u, coverage_factor=factor)


def _is_same(one: Figure, kept: Figure) -> bool:
    """Whether a figure was kept as the other, whose numbers are rounded."""
    if (one.name, one.channel) != (kept.name, kept.channel) or not math.isclose(
        one.value, kept.value, rel_tol=_ROUNDED
    ):
        return False
    return math.isclose(one.expanded_uncertainty or 0.0, kept.expanded_uncertainty or 0.0, rel_tol=_ROUNDED)


def truths_of(entry: FiguresEntry, folder: RunFolder, true_records: TrueRecords) -> Truths:
    """The true values of an analysis's figures.

    Raises:
        LookupError: the true values of this analysis are not known.
    """
    taken_s = {role: load_capture(folder.path / file).taken_s for role, file in entry.captures.items()}
    records = {role: true_records.record_at(time_s) for role, time_s in taken_s.items()}
    heatsink_c = true_records.heatsink_c(entry.time_s)
    air: Truths = {("ambient_temperature", ""): true_records.ambient_c}
    low_pass_hz = entry.context.get("low_pass_hz")
    match entry.analysis:
        case "idle":
            return air | idle_truth(records["idle"], heatsink_c)
        case "continuous":
            tone = continuous_truth(records["continuous"], heatsink_c, entry.context["band_hz"], low_pass_hz)
            rest = records.get("rest")  # of a bench that sees the supply's voltage
            return air | tone | ({} if rest is None else above_rest_truth(rest, records["continuous"]))
        case "burst":
            cycles, every_s = entry.context["cycles"], entry.context["every_s"]
            clean = clean_burst_truth(records.get("clean fine", records["clean"]), cycles, low_pass_hz)
            full = full_burst_truth(
                records["full"], cycles, every_s, heatsink_c, low_pass_hz, fine=records.get("full fine")
            )
            return air | clean | full
    raise LookupError(f"nobody knows the truth of '{entry.analysis}'")
