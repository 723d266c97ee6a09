"""Faults that a repairer meets, each caught by a shipped sequence and named by the figures that changed."""

from __future__ import annotations

import re
from collections.abc import Callable
from itertools import takewhile
from pathlib import Path

import pytest

from benchctl.archive.changes import Change, compared_figures
from benchctl.archive.journal.entries import FiguresEntry, entries_of
from benchctl.archive.journal.journal import read_journal
from benchctl.launch.run import Documents, Result, run
from benchmarks.nobody import Nobody
from tests.runner.rig import shipped
from tests.shared_runs import SharedRuns

Runs = Callable[[str, str], tuple[Result, list[FiguresEntry]]]
# A tenth of the time.
SHORTER = {
    "before_and_after": {"warm_up: {unit: s, default: 5 min,": "warm_up: {unit: s, default: 30 s,"},
    "first_power_up": {"hold: {for: 57 s}": "hold: {for: 3 s}", "repeat: {times: 10}": "repeat: {times: 2}"},
}
AGED = "{aged_reservoir: 40 %}"
OPEN = "{open_device: {channel: B, half: upper}}"
BIAS = "{bias_too_high: 4}"
DC = "{dc_on_output: {B: 150 mV}}"
MISMATCH = "{gain_mismatch: {B: -1.5 dB}}"
JOINT = "{dry_joint: {channel: B, opens: 31 degC, closes: 28 degC}}"  # warm enough after those 30 s
# A run ends before this step where every figure that its fault changes or spares has been measured by then.
ENDS_BEFORE = {AGED: "find_clean_level", BIAS: "measure_burst", DC: "measure_burst", MISMATCH: "measure_burst"}
NOT_REACHED = re.compile(r"  (warm_up|other_load): .*\n")


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> Runs:
    """A sequence on the HX 2150 with a fault; each pair is run once."""
    done: dict[tuple[str, str], tuple[Result, list[FiguresEntry]]] = {}

    def of(sequence: str, fault: str) -> tuple[Result, list[FiguresEntry]]:
        if (sequence, fault) not in done:
            folder = tmp_path_factory.mktemp("run")
            path = _sequence(folder, sequence, ENDS_BEFORE.get(fault, ""))
            documents = Documents(path, "workshop", _amplifier(folder, fault))
            result = run(documents, Nobody(), out=folder, dry_run=True)
            done[sequence, fault] = result, _entries(result.folder)
        return done[sequence, fault]

    return of


def _sequence(folder: Path, name: str, end: str) -> Path:
    path = folder / f"{name}.yaml"
    text = shipped("sequences", name, SHORTER[name])
    if name == "before_and_after" and end:
        begin, step, _ = text.partition(f"  - {end}:")
        assert step
        text = NOT_REACHED.sub("", f"{begin}  - power_off\n")
    path.write_text(text)
    return path


def _amplifier(folder: Path, fault: str) -> Path:
    path = folder / "unit.yaml"
    path.write_text(shipped("amplifiers", "hx2150") + f"  faults: {fault}\n")
    return path


def _entries(folder: Path) -> list[FiguresEntry]:
    return entries_of(read_journal(folder / "journal.jsonl").events)


@pytest.fixture(scope="module")
def healthy(shared_runs: SharedRuns) -> list[FiguresEntry]:
    """The whole of before_and_after on a sound unit, with 30 s of warm-up as well."""
    return _entries(shared_runs.of("before_and_after", "hx2150").folder)


def changes(healthy: list[FiguresEntry], runs: Runs, fault: str) -> list[Change]:
    _, faulty = runs("before_and_after", fault)
    end = ENDS_BEFORE.get(fault, "power_off")
    as_far = list(takewhile(lambda entry: end not in entry.step, healthy))
    return [compared for compared in compared_figures(as_far, faulty) if compared.is_change]


def named(found: list[Change]) -> set[tuple[str, str]]:
    """Figure and channel of every change."""
    return {(change.figure.name, change.figure.channel) for change in found}


def test_a_run_has_not_changed_against_itself(healthy: list[FiguresEntry]) -> None:
    assert not any(compared.is_change for compared in compared_figures(healthy, healthy))


@pytest.mark.parametrize(
    ("fault", "names", "spares"),
    [
        (AGED, {("droop", "A"), ("droop", "B"), ("droop_time_constant", "A"), ("burst_power_last", "A")}, "dc_offset"),
        (OPEN, {("gain", "B"), ("channel_balance", "B")}, "output_noise"),
        (BIAS, {("idle_current", ""), ("idle_power", "")}, "channel_balance"),
        (DC, {("dc_offset", "B")}, "gain"),
        (MISMATCH, {("gain", "B"), ("channel_balance", "B")}, "dc_offset"),
        (JOINT, {("protection_output", "B"), ("protection_temperature", "")}, "burst_power_clean"),
    ],
)
def test_a_fault_is_named_by_what_changed_and_by_what_did_not(
    healthy: list[FiguresEntry], runs: Runs, fault: str, names: set[tuple[str, str]], spares: str
) -> None:
    found = named(changes(healthy, runs, fault))
    assert found >= names
    assert spares not in {name for name, _ in found}


def test_the_sound_channel_keeps_its_gain(healthy: list[FiguresEntry], runs: Runs) -> None:
    cold = [change for change in changes(healthy, runs, MISMATCH) if change.step.startswith("6 ")]
    assert cold
    assert {change.figure.channel for change in cold} == {"B"}


def test_an_amplifier_that_mutes_itself_ends_the_run_before_high_power(runs: Runs) -> None:
    """Half waves are dc at the output, so its protection mutes it; what nobody hears is not driven harder."""
    result, _ = runs("before_and_after", OPEN)
    assert "output voltage of B: the oscilloscope shows" in str(result.outcome.error)
    assert result.outcome.is_safe


def ratio(change: Change) -> float:
    """After over before."""
    assert change.before is not None
    assert change.after is not None
    return change.after.value / change.before.value


def test_an_aged_reservoir_droops_sooner_and_further(healthy: list[FiguresEntry], runs: Runs) -> None:
    of_a = {c.figure.name: c for c in changes(healthy, runs, AGED) if c.figure.channel == "A"}
    assert ratio(of_a["droop"]) > 1.0
    # A reservoir's time constant goes with its capacitance: 40 % of it.
    assert ratio(of_a["droop_time_constant"]) == pytest.approx(0.4, rel=0.2)


def test_a_first_power_up_of_a_sound_unit_passes(runs: Runs) -> None:
    result, _ = runs("first_power_up", "{}")
    assert result.outcome.exit_code == 0


@pytest.mark.parametrize(
    ("fault", "reason"),
    [(BIAS, "under a current limit of 3.2 A"), (DC, "the dc at output B is")],
)
def test_a_first_power_up_ends_before_it_does_harm(runs: Runs, fault: str, reason: str) -> None:
    result, _ = runs("first_power_up", fault)
    assert reason in str(result.outcome.error)
    assert result.outcome.is_safe


@pytest.mark.parametrize("fault", [OPEN, MISMATCH])
def test_a_first_power_up_sees_that_channels_are_not_alike(runs: Runs, fault: str) -> None:
    result, _ = runs("first_power_up", fault)
    failed = {(figure.name, figure.channel) for figure in result.outcome.figures if figure.verdict == "fails"}
    assert failed == {("channel_balance", "B")}
