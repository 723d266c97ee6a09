"""Faults that a repairer meets, each caught by a shipped sequence and named by the figures that changed."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from benchctl.archive.changes import Change, compared_figures
from benchctl.archive.journal.entries import FiguresEntry, entries_of
from benchctl.archive.journal.journal import read_journal
from benchctl.launch.run import Documents, Result, run
from benchmarks.nobody import Nobody
from tests.runner.rig import shipped

Runs = Callable[[str, str], tuple[Result, list[FiguresEntry]]]
# A tenth of the time, and with a quarter of the heatsink warm enough for a joint that opens at 40 degC.
SHORTER = {
    "before_and_after": {"warm_up: {unit: s, default: 5 min,": "warm_up: {unit: s, default: 30 s,"},
    "first_power_up": {"hold: {for: 57 s}": "hold: {for: 3 s}"},
}
LIGHTER = {"capacity: 900 J/K": "capacity: 225 J/K"}
# Where every figure that a fault changes or spares is measured cold, the sequence ends there: its bursts, the drive
# that warms and what follows are two thirds of its work. `python -m benchmarks.sequences` performs all of it.
WARM = "  - measure_burst: {cycles: [8], "
WARM_UP = re.compile(r"  (warm_up|other_load): .*\n")
# No fault here shows itself in a second load or at another supply voltage only.
SECOND_POINTS = re.compile(r"  # The same quiet tone.*(?=  - soak:)", re.DOTALL)
OTHER_LOAD = re.compile(r"  other_load: .*\n")


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> Runs:
    """A sequence on the HX 2150 with a fault, or with none; each pair is run once."""
    done: dict[tuple[str, str], tuple[Result, list[FiguresEntry]]] = {}

    def of(sequence: str, fault: str) -> tuple[Result, list[FiguresEntry]]:
        if (sequence, fault) not in done:
            folder = tmp_path_factory.mktemp("run")
            path = _sequence(folder, sequence, only_cold=fault in SEEN_COLD)
            documents = Documents(path, "workshop", _amplifier(folder, fault))
            result = run(documents, Nobody(), out=folder, dry_run=True)
            done[sequence, fault] = result, entries_of(read_journal(result.folder / "journal.jsonl").events)
        return done[sequence, fault]

    return of


def _sequence(folder: Path, name: str, *, only_cold: bool) -> Path:
    path = folder / f"{name}.yaml"
    text = shipped("sequences", name, SHORTER[name])
    if name == "before_and_after" and only_cold:
        cold, rest, _ = text.partition(WARM)
        assert rest
        text = WARM_UP.sub("", f"{cold}  - power_off\n")
    elif name == "before_and_after":
        text = OTHER_LOAD.sub("", SECOND_POINTS.sub("", text))
        assert "other_load" not in text
    path.write_text(text)
    return path


def _amplifier(folder: Path, fault: str) -> Path:
    text = shipped("amplifiers", "hx2150", LIGHTER)
    path = folder / "unit.yaml"
    path.write_text(text + (f"  faults: {fault}\n" if fault else ""))
    return path


def changes(runs: Runs, sequence: str, fault: str) -> list[Change]:
    _, healthy = runs(sequence, SOUND_COLD if fault in SEEN_COLD else "")
    _, faulty = runs(sequence, fault)
    return [compared for compared in compared_figures(healthy, faulty) if compared.is_change]


def named(found: list[Change]) -> set[tuple[str, str]]:
    """Figure and channel of every change."""
    return {(change.figure.name, change.figure.channel) for change in found}


AGED = "{aged_reservoir: 40 %}"
OPEN = "{open_device: {channel: B, half: upper}}"
BIAS = "{bias_too_high: 4}"
DC = "{dc_on_output: {B: 150 mV}}"
MISMATCH = "{gain_mismatch: {B: -1.5 dB}}"
JOINT = "{dry_joint: {channel: B, opens: 40 degC, closes: 32 degC}}"
SOUND_COLD = "{}"
SEEN_COLD = {BIAS, DC, MISMATCH, SOUND_COLD}


def test_a_run_has_not_changed_against_itself(runs: Runs) -> None:
    _, healthy = runs("before_and_after", "")
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
    runs: Runs, fault: str, names: set[tuple[str, str]], spares: str
) -> None:
    found = named(changes(runs, "before_and_after", fault))
    assert found >= names
    assert spares not in {name for name, _ in found}


def test_the_sound_channel_keeps_its_gain(runs: Runs) -> None:
    cold = [change for change in changes(runs, "before_and_after", MISMATCH) if change.step.startswith("6 ")]
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


def test_an_aged_reservoir_droops_sooner_and_further(runs: Runs) -> None:
    of_a = {c.figure.name: c for c in changes(runs, "before_and_after", AGED) if c.figure.channel == "A"}
    assert ratio(of_a["droop"]) > 1.0
    # A reservoir's time constant goes with its capacitance: 40 % of it.
    assert ratio(of_a["droop_time_constant"]) == pytest.approx(0.4, rel=0.2)


def test_a_first_power_up_of_a_sound_unit_passes(runs: Runs) -> None:
    result, _ = runs("first_power_up", "")
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
