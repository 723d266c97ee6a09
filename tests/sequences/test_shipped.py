"""Every shipped sequence runs dry; `python -m benchmarks.sequences` does it on every shipped amplifier."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl import library
from benchctl.runner.plan import expand
from benchctl.runner.preflight import preflight
from benchmarks.sequences import BENCHES, TOLERANCE, documents, trial

SEQUENCES = tuple(library.shipped("sequences"))
# Each sequence on one amplifier, and these so that every amplifier has its turn.
RUNS = dict.fromkeys(SEQUENCES, "hx2150") | {
    "damping_and_noise": "hx2150_bridged",  # of one rated load, so against none
    "response_and_filters": "lw1200_lowpass",
    "efficiency_map": "kx240",
    "quick_check": "cx4090",  # on 24 V
    "burst_and_continuous": "lw1200",  # into 1 ohm
    "supply_sensitivity": "dx5080",
}


def test_every_shipped_amplifier_has_a_bench() -> None:
    assert set(BENCHES) == set(library.shipped("amplifiers"))


def test_every_amplifier_has_its_turn() -> None:
    assert set(RUNS.values()) == set(BENCHES)


@pytest.mark.parametrize("amplifier", sorted(BENCHES))
@pytest.mark.parametrize("sequence", SEQUENCES)
def test_preflight_passes_every_sequence_on_every_amplifier(sequence: str, amplifier: str) -> None:
    """With nobody there to accept a warning."""
    files = documents(sequence, amplifier, short=False).load()
    checked = preflight(files, expand(files.sequence, files.amplifier, files.bench), unattended=False)
    assert checked.hazards == ()
    assert checked.warnings == ()


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
    assert ended.off < TOLERANCE, f"foreseen {ended.foreseen_s:.1f} s, taken {ended.taken_s:.1f} s"
