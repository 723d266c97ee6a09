"""Shipped sequences on benches of ordinary instruments, and on those that lack or have something special."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl import library
from benchctl.archive.folder import RunFolder
from benchctl.archive.tables.figures import read_figures
from benchctl.documents.reader import load_amplifier, load_bench
from benchctl.launch.simulated.description import describe
from benchctl.runner.checks.preflight import preflight
from benchctl.runner.plan import expand
from benchmarks.sequences.carries import what_it_lacks
from benchmarks.sequences.trials import Trial, documents, trial
from tests.runner.rig import shipped
from tests.sequences.shipped import AT_POINTS, SEQUENCES
from tests.short_check import short_check

# The benches of ordinary instruments, and the amplifiers that each carries.
ORDINARY = {
    "no_thermometer": ("hx2150", "kx240"),
    "one_channel": ("cx4090",),
    "eight_bit": ("kx240",),
    "drawer": ("kx240",),
    "untidy_workshop": ("hx2150",),
}
CARRIED = [(bench, amplifier) for bench, amplifiers in ORDINARY.items() for amplifier in amplifiers]


@pytest.mark.parametrize(("bench", "amplifier"), CARRIED)
@pytest.mark.parametrize("sequence", SEQUENCES)
def test_preflight_refuses_no_sequence_on_an_ordinary_bench(sequence: str, bench: str, amplifier: str) -> None:
    files = documents(sequence, amplifier, short=False, bench=bench).load()
    checked = preflight(files, expand(files.sequence, files.amplifier, files.bench), unattended=False)
    assert [hazard for hazard in checked.hazards if not is_rightly_refused(sequence, bench, hazard)] == []
    assert what_it_lacks(files.bench, files.amplifier, sequence) == ()


def is_rightly_refused(sequence: str, bench: str, hazard: str) -> bool:
    """The drawer's generator has no second tone, and the sequence is of nothing else."""
    return (sequence, bench) == ("intermodulation", "drawer") and "cannot play two tones at once" in hazard


def test_a_bench_is_known_for_what_it_cannot_carry() -> None:
    bench, amplifier = load_bench("eight_bit"), load_amplifier("lw1200")
    lacks = " ".join(what_it_lacks(bench, amplifier, "quick_check"))
    assert "no load of 1 ohm for every output" in lacks
    assert "for full power into the heaviest rated load" in lacks


@pytest.mark.parametrize(
    ("bench", "amplifier"),
    [
        ("no_thermometer", "kx240"),
        ("one_channel", "cx4090"),
        ("eight_bit", "kx240"),
        ("drawer", "kx240"),
        ("untidy_workshop", "hx2150"),
    ],
)
def test_a_short_check_runs_dry_on_an_ordinary_bench(bench: str, amplifier: str, tmp_path: Path) -> None:
    """Nothing trips, every step has its figures, and no verdict is one that the truth denies. `python -m
    benchmarks.sequences --bench drawer` performs the whole of any sequence."""
    runs_as_promised(trial(str(short_check(tmp_path)), amplifier, tmp_path, bench=bench))


def test_bias_and_rails_are_measured_cold_and_warm(tmp_path: Path) -> None:
    """The bias is the idle current of one channel through 0.22 ohm, as the simulated amplifier has it."""
    done = trial(AT_POINTS, "hx2150", tmp_path, bench="multimeter_bench")
    assert (done.reason, done.unmeasured, list(done.violations())) == ("finished", (), [])
    (folder,) = (path for path in tmp_path.iterdir() if path.is_dir())
    shown = read_figures(RunFolder(folder))
    bias = shown[(shown["figure"] == "dc_voltage") & (shown["channel"] == "bias A")]
    true_v = 0.22 * describe(load_bench("multimeter_bench"), load_amplifier("hx2150")).amplifier.bias_current_a
    assert len(bias) == 2
    assert all(abs(bias["value"] - true_v) <= bias["expanded_uncertainty"])


def test_a_bench_without_a_multimeter_is_known_for_it() -> None:
    lacks = what_it_lacks(load_bench("workshop"), load_amplifier("hx2150"), AT_POINTS)
    assert lacks == ("a multimeter",)


def test_where_no_thermometer_tells_when_it_is_cool_the_waits_are_long_enough(tmp_path: Path) -> None:
    """A heatsink of an eighth of its mass, which cools in an eighth of the time; into one rated load."""
    light = tmp_path / "light.yaml"
    of_4_ohm = {"  - {load: 2 ohm, power: 80 W, thd_n: 1 %}\n": ""}
    edits = {"time_constant: 8 min": "time_constant: 1 min", "480 J/K": "60 J/K"} | of_4_ohm
    light.write_text(shipped("amplifiers", "kx240", edits))
    runs_as_promised(trial("rated_power", str(light), tmp_path, bench="no_thermometer"))


def runs_as_promised(ended: Trial) -> None:
    assert (ended.reason, ended.unmeasured, list(ended.violations())) == ("finished", (), [])
    assert ended.held.known["continuous_power"] > 0
    assert ended.held.missed.total() <= ended.held.known.total() / 20


POWER_ONLY = """\
benchctl: sequence 1
title: Clean continuous power into one load
parameters:
  current_limit: {unit: A, default: {from: amplifier.supply.fuse}, purpose: the current limit of the supply}
limits: {heatsink: {above: {from: amplifier.heatsink.maximum}}}
steps:
  - power_on: {voltage: {from: amplifier.supply.nominal}, current_limit: {from: current_limit}}
  - set: {load: 4 ohm, frequency: 1 kHz}
  - find_clean_level: {thd_n: 1 %, from: 200 mV, to: 2 V}
  - measure_continuous: {for: 1 s}
  - power_off
"""


def test_a_verdict_that_the_truth_denies_is_noticed(tmp_path: Path) -> None:
    """A probe that shows a tenth less than it may makes a fifth of the power."""
    sequence = tmp_path / "power.yaml"
    sequence.write_text(POWER_ONLY, encoding="utf-8")
    text = library.find("benches", "workshop").read_text(encoding="utf-8")
    bench = tmp_path / "bench.yaml"
    bench.write_text(text + "  errors: {probe A: -10 %}\n")
    ended = trial(str(sequence), "kx240", tmp_path, bench=str(bench))
    assert any("continuous_power A" in text and "fails, and the truth is" in text for text in ended.violations())
