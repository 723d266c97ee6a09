"""Every shipped sequence runs dry; `python -m benchmarks.sequences` does it on every shipped amplifier."""

from __future__ import annotations

import itertools
from functools import cache
from pathlib import Path

import pytest

from benchctl import library
from benchctl.documents.sequence_file.step_form import HOLDERS
from benchctl.documents.sequence_file.steps import KINDS
from benchctl.runner.checks.preflight import preflight
from benchctl.runner.plan import expand
from benchmarks.sequences.trials import BENCHES, Trial, documents, trial
from tests.runner.rig import shipped
from tests.sequences.shipped import AT_POINTS, SEQUENCES
from tests.shared_runs import SharedRuns

# Each sequence on one amplifier, which for most is the one with one channel and one rated load: what differs with the
# number of channels is in those on two channels and five, and every amplifier has its turn.
RUNS = dict.fromkeys(SEQUENCES, "hx2150_bridged") | {
    "before_and_after": "hx2150",  # with crosstalk and balance
    "burst_and_continuous": "hx2150",
    "quick_check": "hx2150",
    "by_hand": "hx2150",
    "first_power_up": "hx2150",
    "input_impedance": "dx5080",  # five channels
    "response_and_filters": "lw1200_lowpass",
    "low_level": "lw1200",
    "intermodulation": "kx240",
    "bench_check": "cx4090",
    "set_gains": "cx4090",  # four controls, on 24 V
}

# The suite leaves out what is done again and again; `python -m benchmarks.sequences` performs all of it.
SHORTER = {
    "first_power_up": {"repeat: {times: 10}": "repeat: {times: 2}"},
    "power_bandwidth": {"[1 kHz, 20 Hz, 40 Hz, 100 Hz, 10 kHz, 20 kHz]": "[1 kHz, 20 Hz, 20 kHz]"},
}
# At 20 Hz records fill the whole memory: with a fifth of it the sequence does all the same.
BENCH_EDITS = {"power_bandwidth": {"memory: 1000000": "memory: 200000"}}

# A sequence and an amplifier that it is not for, and what preflight says then.
REFUSED = {
    (name, "lw1200_lowpass"): "the amplifier's low-pass of 80 Hz"
    for name in ("power_bandwidth", "signal_checks", "intermodulation")
}


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


@cache
def steps_of(sequence: str, amplifier: str) -> set[str]:
    files = documents(sequence, amplifier, short=True).load()
    return {planned.step.kind for planned in expand(files.sequence, files.amplifier, files.bench)}


def test_every_kind_of_step_is_performed_with_a_shipped_sequence() -> None:
    """Those that hold others are written out in a plan, and stand in the files."""
    every = (*RUNS.items(), (AT_POINTS, "hx2150"))
    performed = {kind for sequence, amplifier in every for kind in steps_of(sequence, amplifier)}
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


def test_before_and_after_switches_an_amplifier_on_anew_that_a_lower_supply_voltage_may_have_switched_off() -> None:
    files = documents("before_and_after", "hx2150", short=True).load()
    kinds = [planned.step.kind for planned in expand(files.sequence, files.amplifier, files.bench)]
    assert kinds[-8:-3] == ["measure_continuous", "power_off", "power_on", "set", "soak"]


@pytest.mark.parametrize("sequence", SEQUENCES)
def test_a_sequence_says_what_it_finds_out(sequence: str) -> None:
    assert len(documents(sequence, "hx2150", short=False).load().sequence.purpose) > 60


@pytest.mark.parametrize(("sequence", "amplifier"), sorted(RUNS.items()))
def test_a_sequence_runs_dry_and_takes_as_long_as_foreseen(
    shared_runs: SharedRuns, tmp_path: Path, sequence: str, amplifier: str
) -> None:
    """It finishes, verdicts and all; the journal ends confirmed safe; steps of known length take what was foreseen."""
    ended = shorter(sequence, amplifier, tmp_path) if sequence in SHORTER else shared_runs.of(sequence, amplifier).trial
    assert ended.exit_code in {0, 1}, ended.reason
    assert ended.reason == "finished"
    assert ended.unmeasured == ()
    assert ended.is_safe
    assert list(ended.violations()) == []


def shorter(sequence: str, amplifier: str, folder: Path) -> Trial:
    """On the bench that suits the amplifier."""
    bench, path = folder / "bench.yaml", folder / "shorter.yaml"
    bench.write_text(shipped("benches", BENCHES[amplifier], BENCH_EDITS.get(sequence)), encoding="utf-8")
    path.write_text(shipped("sequences", sequence, SHORTER[sequence]), encoding="utf-8")
    return trial(str(path), amplifier, folder, bench=str(bench))
