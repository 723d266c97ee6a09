"""A dry run through the public API: the main job from its documents to its run folder."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from pathlib import Path

import pandas as pd
import pytest

from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.journal import read_journal
from benchctl.archive.tables.figures import read_figures
from benchctl.archive.tables.trend import read_trend
from benchctl.archive.verify import verify
from benchctl.launch.run import Documents, Result, run
from benchctl.measure.budget.figure import Figure
from benchctl.runner.acting.run import Run
from benchctl.runner.checks.preflight import Preflight
from benchctl.runner.plan import PlannedStep, expand
from tests.runner.rig import NO_BRIDGE, Audience, sequence_text, shipped
from tests.shared_runs import SharedRun, SharedRuns


class Onlooker(Audience):
    """Remembers the run it watches."""

    run: Run

    def started(self, checked: Preflight, run: Run) -> None:
        self.run = run


def dry_run(documents: Documents, out: Path) -> Result:
    return run(documents, Onlooker(), out=out, dry_run=True)


@pytest.fixture(scope="module")
def main_job(shared_runs: SharedRuns) -> SharedRun:
    """Bursts and continuous power into each rated load."""
    return shared_runs.of("burst_and_continuous", "hx2150")


@pytest.fixture(scope="module")
def table(main_job: SharedRun) -> pd.DataFrame:
    return read_figures(RunFolder.open(main_job.folder))


AT_4_OHM = "set: {load: 4 ohm, frequency: 1 kHz}"


def value(table: pd.DataFrame, figure: str, load_ohm: float, cycles: int | None = None) -> float:
    rows = table[(table["figure"] == figure) & (table["load_ohm"] == load_ohm) & (table["channel"] == "A")]
    if cycles is not None:
        rows = rows[rows["burst_cycles"] == cycles]
    (found,) = rows["value"]
    return float(found)


def test_the_main_job_finishes_with_its_verdicts(main_job: SharedRun) -> None:
    assert main_job.trial.exit_code in {0, 1}
    assert main_job.trial.reason == "finished"
    assert main_job.trial.unmeasured == ()


@pytest.mark.parametrize("load_ohm", [4.0, 2.0])
def test_the_shorter_the_burst_the_more_clean_power(table: pd.DataFrame, load_ohm: float) -> None:
    clean_w = [value(table, "burst_power_clean", load_ohm, cycles) for cycles in (1, 8, 20)]
    assert clean_w == sorted(clean_w, reverse=True)
    assert clean_w[-1] >= value(table, "continuous_power", load_ohm)


@pytest.mark.parametrize("load_ohm", [4.0, 2.0])
@pytest.mark.parametrize("cycles", [8, 20])
def test_at_full_drive_the_first_cycle_is_the_strongest(table: pd.DataFrame, load_ohm: float, cycles: int) -> None:
    first_w, last_w = (value(table, f"burst_power_{which}", load_ohm, cycles) for which in ("first", "last"))
    assert first_w > last_w


def test_every_load_has_its_draw_and_efficiency(table: pd.DataFrame) -> None:
    for figure in ("supply_current", "supply_voltage", "efficiency"):
        assert set(table[table["figure"] == figure]["load_ohm"].dropna()) >= {4.0, 2.0}


def test_the_journal_ends_with_every_instrument_confirmed_safe(main_job: SharedRun) -> None:
    events = read_journal(main_job.folder / "journal.jsonl").events
    safe_state = [event for event in events if event["event"] == "safe state"][-1]
    assert {part["instrument"] for part in safe_state["instruments"]} == {"generator", "supply", "load"}
    assert all(part["confirmed"] for part in safe_state["instruments"])
    assert (events[-1]["event"], events[-1]["safe"], events[-1]["reason"]) == ("run ended", True, "finished")


def test_every_step_of_the_plan_is_in_the_journal_in_order(main_job: SharedRun) -> None:
    events = read_journal(main_job.folder / "journal.jsonl").events
    files = Documents("burst_and_continuous", "workshop", "hx2150").load()
    plan = expand(files.sequence, files.amplifier, files.bench)
    for kind in ("step started", "step finished"):
        assert [event["step"] for event in events if event["event"] == kind] == [step.label for step in plan]


def test_the_documents_and_who_the_instruments_were_are_kept(main_job: SharedRun) -> None:
    inputs = main_job.folder / "inputs"
    assert (inputs / "sequence.yaml").read_text() == shipped("sequences", "burst_and_continuous")
    assert (inputs / "bench.yaml").read_text() == shipped("benches", "workshop")
    assert (inputs / "amplifier.yaml").read_text() == shipped("amplifiers", "hx2150")
    identities = json.loads((inputs / "instruments.json").read_text())
    assert set(identities) == {"generator", "oscilloscope", "load", "supply", "thermometer"}


def test_the_trend_covers_the_run_from_its_first_second_to_its_last(main_job: SharedRun) -> None:
    trend = read_trend(RunFolder.open(main_job.folder))
    ended = read_journal(main_job.folder / "journal.jsonl").events[-1]
    assert trend["time_s"].iloc[0] == 0.0
    assert trend["time_s"].iloc[-1] == pytest.approx(ended["time_s"], abs=0.5)
    assert float(trend["time_s"].diff().max()) < 0.25


def test_every_figure_can_be_computed_again(main_job: SharedRun) -> None:
    checked = verify(main_job.folder)
    assert checked.agrees
    assert checked.unused_captures == ()


# -- the same bytes each time ----------------------------------------------------------------------------------


def test_two_dry_runs_leave_the_same_bytes(shared_runs: SharedRuns, tmp_path: Path) -> None:
    """figures.csv, trend.csv, the journal and every capture; only the folder's name tells when it was made."""
    first = shared_runs.of("quick_check", "hx2150").folder
    second = dry_run(Documents("quick_check", "workshop", "hx2150"), tmp_path).folder
    names = sorted(str(path.relative_to(first)) for path in first.rglob("*") if path.is_file())
    assert names == sorted(str(path.relative_to(second)) for path in second.rglob("*") if path.is_file())
    assert {"figures.csv", "trend.csv", "journal.jsonl"} <= set(names)
    for name in names:
        assert (first / name).read_bytes() == (second / name).read_bytes(), name


def test_another_seed_is_another_bench(tmp_path: Path) -> None:
    """Each simulated instrument has errors of its own, drawn from the seed."""
    bench = tmp_path / "bench.yaml"
    bench.write_text(shipped("benches", "workshop", {"seed: 2150": "seed: 2151"}))
    sequence = written(tmp_path, "measure_idle: {for: 1 s}")
    here = dry_run(Documents(sequence, bench, "hx2150"), tmp_path / "here")
    there = dry_run(Documents(sequence, "workshop", "hx2150"), tmp_path / "there")
    assert [figure.value for figure in here.outcome.figures] != [figure.value for figure in there.outcome.figures]


# -- a technician's own documents ------------------------------------------------------------------------------


def written(folder: Path, *steps: str) -> Path:
    path = folder / "sequence.yaml"
    path.write_text(sequence_text("power_on: {voltage: 14.4 V, current_limit: 90 A}", *steps, "power_off"))
    return path


def without_simulation(text: str) -> str:
    return re.sub(r"(?ms)^simulation:.*\Z", "", text)


def test_documents_without_a_simulation_section_can_be_dry_run(tmp_path: Path) -> None:
    """Plausible physics follow from the ratings: the amplifier gives about what its plate says."""
    bench, amplifier = tmp_path / "bench.yaml", tmp_path / "amplifier.yaml"
    bench.write_text(without_simulation(shipped("benches", "workshop")))
    amplifier.write_text(without_simulation(shipped("amplifiers", "hx2150")))
    sequence = written(
        tmp_path,
        AT_4_OHM,
        "find_clean_level: {from: 100 mV}",
        "measure_continuous: {for: 1 s}",
    )
    outcome = dry_run(Documents(sequence, bench, amplifier), tmp_path).outcome
    assert outcome.error is None
    power = {figure.channel: figure.value for figure in outcome.figures if figure.name == "continuous_power"}
    assert power["A"] == pytest.approx(150.0, rel=0.25)


def test_an_oscilloscope_with_the_other_preamble_gives_the_same_figures(tmp_path: Path) -> None:
    bench = tmp_path / "bench.yaml"
    bench.write_text(
        shipped("benches", "workshop", {"driver: oscilloscope/preamble_list": "driver: oscilloscope/preamble_fields"})
    )
    sequence = written(tmp_path, AT_4_OHM, "measure_continuous: {level: 200 mV, for: 1 s}")
    of_list, of_fields = (
        figures_of(dry_run(Documents(sequence, choice, "hx2150"), tmp_path)) for choice in ("workshop", bench)
    )
    assert of_list.keys() == of_fields.keys()
    for key, figure in of_list.items():
        assert of_fields[key].value == pytest.approx(figure.value, abs=figure.expanded_uncertainty or 1e-3)


def figures_of(result: Result) -> dict[tuple[str, str], Figure]:
    return {(figure.name, figure.channel): figure for figure in result.outcome.figures}


def test_a_mono_amplifier_is_measured_at_its_one_channel(tmp_path: Path) -> None:
    amplifier = tmp_path / "amplifier.yaml"
    mono = NO_BRIDGE | {"channels: [A, B]": "channels: [A]", "offset: {A: 6 mV, B: -9 mV}": "offset: {A: 6 mV}"}
    amplifier.write_text(shipped("amplifiers", "hx2150", mono))
    sequence = written(tmp_path, AT_4_OHM, "measure_continuous: {level: 200 mV, for: 1 s}")
    outcome = dry_run(Documents(sequence, "workshop", amplifier), tmp_path).outcome
    assert outcome.unmeasured == ()
    assert {figure.channel for figure in outcome.figures if figure.name == "continuous_power"} <= {"A", "total"}


def test_hands_are_not_needed_in_a_dry_run_but_told_of(tmp_path: Path) -> None:
    bench = tmp_path / "bench.yaml"
    by_hand = {"remote_turn_on: {by: supply, output: remote, voltage: 12 V}": "remote_turn_on: {by: hand}"}
    bench.write_text(shipped("benches", "workshop", by_hand))
    onlooker = Onlooker()
    run(Documents(written(tmp_path), bench, "hx2150"), onlooker, out=tmp_path, dry_run=True)
    assert onlooker.requests == []
    assert any("Connect the remote turn-on lead" in note for note in onlooker.notes)


def test_the_observer_is_told_every_step_before_it_begins(tmp_path: Path) -> None:
    onlooker = Telltale()
    run(
        Documents(written(tmp_path, "measure_idle: {for: 1 s}"), "workshop", "hx2150"),
        onlooker,
        out=tmp_path,
        dry_run=True,
    )
    assert onlooker.heard == ["started", "1 power_on", "2 measure_idle", "figures of 2 measure_idle", "3 power_off"]


class Telltale(Onlooker):
    """Writes down what it is told, in order."""

    def __init__(self) -> None:
        super().__init__()
        self.heard: list[str] = []

    def started(self, checked: Preflight, run: Run) -> None:
        self.heard.append("started")

    def step_started(self, index: int, planned: PlannedStep) -> None:
        self.heard.append(planned.label)

    def figures(self, planned: PlannedStep, figures: Sequence[Figure]) -> None:
        self.heard.append(f"figures of {planned.label}")
