"""Every shipped sequence runs dry; `python -m benchmarks.sequences` does it on every shipped amplifier."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from pathlib import Path

import pytest

from benchctl import library
from benchctl.archive.folder import RunFolder
from benchctl.archive.tables.figures import read_figures
from benchctl.documents.reader import load_amplifier, load_bench, load_sequence
from benchctl.documents.sequence_file.step_form import HOLDERS
from benchctl.documents.sequence_file.steps import KINDS
from benchctl.launch.simulated import describe
from benchctl.runner.checks.preflight import preflight
from benchctl.runner.plan import expand
from benchmarks.sequences.carries import what_it_lacks
from benchmarks.sequences.trials import BENCHES, Trial, documents, trial

# Those that bridge outputs need a bench that is wired for it; tests/launch/test_bridged.py runs them.
# The one that needs a multimeter is run below, on the bench that has one.
AT_POINTS = "bias_and_rails"
SEQUENCES = tuple(
    name for name in library.shipped("sequences") if load_sequence(name).bridged is None and name != AT_POINTS
)
# Each sequence on one amplifier, and these so that every amplifier has its turn; the longest on one channel.
RUNS = dict.fromkeys(SEQUENCES, "hx2150") | {
    "damping_and_noise": "hx2150_bridged",  # of one rated load, so against none
    "response_and_filters": "lw1200_lowpass",
    "efficiency_map": "kx240",
    "quick_check": "dx5080",  # five channels
    "burst_and_continuous": "lw1200",  # into 1 ohm
    "supply_sensitivity": "lw1200",
    "power_bandwidth": "lw1200",
    "set_gains": "cx4090",  # four controls, on 24 V
}

# A sequence and an amplifier that it is not for, and what preflight says then.
REFUSED = {("power_bandwidth", "lw1200_lowpass"): "the amplifier's low-pass of 80 Hz"}


def test_every_shipped_amplifier_has_a_bench() -> None:
    assert set(BENCHES) == set(library.shipped("amplifiers"))


def test_every_amplifier_has_its_turn() -> None:
    assert set(RUNS.values()) == set(BENCHES)


@pytest.mark.parametrize(
    ("sequence", "amplifier"),
    [pair for pair in itertools.product(SEQUENCES, sorted(BENCHES)) if pair not in REFUSED],
)
def test_preflight_passes_every_sequence_on_every_amplifier(sequence: str, amplifier: str) -> None:
    """With nobody there to accept a warning."""
    files = documents(sequence, amplifier, short=False).load()
    checked = preflight(files, expand(files.sequence, files.amplifier, files.bench), unattended=False)
    assert checked.hazards == ()
    assert checked.warnings == ()


@pytest.mark.parametrize(("sequence", "amplifier"), REFUSED)
def test_preflight_refuses_what_an_amplifier_is_not_made_for(sequence: str, amplifier: str) -> None:
    files = documents(sequence, amplifier, short=False).load()
    checked = preflight(files, expand(files.sequence, files.amplifier, files.bench), unattended=False)
    assert checked.hazards
    assert all(REFUSED[sequence, amplifier] in hazard for hazard in checked.hazards)


def steps_of(sequence: str, amplifier: str) -> set[str]:
    files = documents(sequence, amplifier, short=True).load()
    return {planned.step.kind for planned in expand(files.sequence, files.amplifier, files.bench)}


def test_every_kind_of_step_stands_in_a_sequence() -> None:
    """Those that hold others are written out in a plan, and stand in the files."""
    every = (*SEQUENCES, AT_POINTS)
    performed = {kind for sequence in every for amplifier in BENCHES for kind in steps_of(sequence, amplifier)}
    assert performed == set(KINDS) - set(HOLDERS)
    for holder in HOLDERS:
        assert any(f"- {holder}:" in library.find("sequences", name).read_text(encoding="utf-8") for name in SEQUENCES)


@pytest.mark.parametrize(
    ("amplifier", "sequences"),
    [
        ("hx2150", {"before_and_after", "damping_and_noise", "full_report", "response_and_filters"}),  # by relays
        ("cx4090", {"before_and_after", "full_report", "response_and_filters"}),  # by hand, so not unattended
        ("dx5080", set()),  # all inputs together
        ("lw1200", set()),  # one channel
    ],
)
def test_crosstalk_is_measured_where_each_input_can_be_driven_alone(amplifier: str, sequences: set[str]) -> None:
    assert {name for name in SEQUENCES if "measure_crosstalk" in steps_of(name, amplifier)} == sequences


@pytest.mark.parametrize("sequence", SEQUENCES)
def test_a_sequence_says_what_it_finds_out(sequence: str) -> None:
    assert len(documents(sequence, "hx2150", short=False).load().sequence.purpose) > 60


@pytest.mark.parametrize(("sequence", "amplifier"), sorted(RUNS.items()))
def test_a_sequence_runs_dry_and_takes_as_long_as_foreseen(sequence: str, amplifier: str, tmp_path: Path) -> None:
    """It finishes, verdicts and all; the journal ends confirmed safe; steps of known length take what was foreseen."""
    ended = trial(sequence, amplifier, tmp_path)
    assert ended.exit_code in {0, 1}, ended.reason
    assert ended.reason == "finished"
    assert ended.unmeasured == ()
    assert ended.is_safe
    assert list(ended.violations()) == []


# The benches of ordinary instruments, and the amplifiers that each carries.
ORDINARY = {
    "no_thermometer": ("hx2150", "kx240"),
    "one_channel": ("cx4090",),
    "eight_bit": ("kx240",),
    "drawer": ("kx240",),
}
CARRIED = [(bench, amplifier) for bench, amplifiers in ORDINARY.items() for amplifier in amplifiers]


@pytest.mark.parametrize(("bench", "amplifier"), CARRIED)
@pytest.mark.parametrize("sequence", SEQUENCES)
def test_preflight_refuses_no_sequence_on_an_ordinary_bench(sequence: str, bench: str, amplifier: str) -> None:
    files = documents(sequence, amplifier, short=False, bench=bench).load()
    checked = preflight(files, expand(files.sequence, files.amplifier, files.bench), unattended=False)
    assert checked.hazards == ()
    assert what_it_lacks(files.bench, files.amplifier, sequence) == ()


def test_a_bench_is_known_for_what_it_cannot_carry() -> None:
    bench, amplifier = load_bench("eight_bit"), load_amplifier("lw1200")
    lacks = " ".join(what_it_lacks(bench, amplifier, "quick_check"))
    assert "no load of 1 ohm for every output" in lacks
    assert "for full power into the heaviest rated load" in lacks


@pytest.mark.parametrize(
    ("bench", "sequence", "amplifier"),
    [
        ("no_thermometer", "quick_check", "kx240"),
        ("one_channel", "quick_check", "cx4090"),
        ("eight_bit", "quick_check", "kx240"),
        ("drawer", "quick_check", "kx240"),
    ],
)
def test_a_sequence_runs_dry_on_an_ordinary_bench(bench: str, sequence: str, amplifier: str, tmp_path: Path) -> None:
    """Nothing trips, every step has its figures, and no verdict is one that the truth denies."""
    runs_as_promised(trial(sequence, amplifier, tmp_path, bench=bench))


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
    """A heatsink of an eighth of its mass, which cools in an eighth of the time."""
    text = library.find("amplifiers", "kx240").read_text(encoding="utf-8")
    light = tmp_path / "light.yaml"
    light.write_text(edited(text, {"time_constant: 8 min": "time_constant: 1 min", "480 J/K": "60 J/K"}))
    runs_as_promised(trial("rated_power", str(light), tmp_path, bench="no_thermometer"))


def edited(text: str, edits: Mapping[str, str]) -> str:
    for old, new in edits.items():
        assert old in text
        text = text.replace(old, new)
    return text


def runs_as_promised(ended: Trial) -> None:
    assert (ended.reason, ended.unmeasured, list(ended.violations())) == ("finished", (), [])
    assert ended.held.known["continuous_power"] > 0
    assert ended.held.missed.total() <= ended.held.known.total() / 20


def test_a_verdict_that_the_truth_denies_is_noticed(tmp_path: Path) -> None:
    """A probe that shows a tenth less than it may makes a fifth of the power."""
    text = library.find("benches", "workshop").read_text(encoding="utf-8")
    bench = tmp_path / "bench.yaml"
    bench.write_text(text + "  errors: {probe A: -10 %}\n")
    ended = trial("quick_check", "kx240", tmp_path, bench=str(bench))
    assert any("continuous_power A" in text and "fails, and the truth is" in text for text in ended.violations())
