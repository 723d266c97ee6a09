"""In a dry run the simulated bench does what a person would be asked to do, so that what comes of it is measured."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pytest

from benchctl.launch.run import Documents, Result, run
from benchctl.runner.acting.run import Run
from benchctl.runner.checks.preflight import Preflight
from tests.runner.rig import POWER_ON_LINE, Audience, Edits, sequence_text, shipped, with_inputs

HANDS = with_inputs("{by: hand}")
LEAKY = {"noise: 0.3 mV": "noise: 0.3 mV\n  crosstalk: -60 dB"}
MISMATCHED = {"noise: 0.3 mV": "noise: 0.3 mV\n  faults: {gain_mismatch: {B: -1.5 dB}}"}


class Onlooker(Audience):
    def started(self, checked: Preflight, run: Run) -> None:
        """Nothing to remember."""


@dataclass(frozen=True)
class Dry:
    result: Result
    notes: list[str]

    def values(self, name: str) -> dict[str, float]:
        """Channel -> the last figure of this name."""
        return {figure.channel: figure.value for figure in self.result.outcome.figures if figure.name == name}


def dry(folder: Path, *steps: str, bench: Edits | None = None, amplifier: Edits | None = None) -> Dry:
    """These steps at 4 ohm and 1 kHz."""
    sequence = sequence_text(POWER_ON_LINE, "set: {load: 4 ohm, frequency: 1 kHz}", *steps, "power_off")
    (folder / "sequence.yaml").write_text(sequence)
    (folder / "bench.yaml").write_text(shipped("benches", "workshop", bench))
    (folder / "unit.yaml").write_text(shipped("amplifiers", "hx2150", amplifier))
    documents = Documents(folder / "sequence.yaml", folder / "bench.yaml", folder / "unit.yaml")
    onlooker = Onlooker()
    return Dry(run(documents, onlooker, out=folder, dry_run=True), onlooker.notes)


def test_plugs_are_moved_when_a_bench_has_no_relays_for_them(tmp_path: Path) -> None:
    """-60 dB from input to input, and both channels driven alike afterwards."""
    ended = dry(
        tmp_path,
        "measure_crosstalk: {from: 1 kHz, to: 2 kHz}",
        "measure_continuous: {level: 200 mV, for: 1 s}",
        bench=HANDS,
        amplifier=LEAKY,
    )
    assert ended.result.outcome.unmeasured == ()
    assert ended.values("crosstalk") == pytest.approx({"A": 1e-3, "B": 1e-3}, rel=0.05)
    powers = ended.values("continuous_power")
    assert powers["A"] == pytest.approx(powers["B"], rel=0.02)
    request = "a person would have to act: Put the generator into input A alone and a shorting plug into B"
    assert request in ended.notes


def test_gain_controls_are_turned_to_what_is_wanted(tmp_path: Path) -> None:
    """Rated power into 4 ohm is 24.49 V: of 1 V that is a gain of 24.49, where one channel had 31.9 and one less."""
    ended = dry(tmp_path, "set_gain: {input_sensitivity: 1 V, within: 1 %}", amplifier=MISMATCHED)
    assert ended.result.outcome.error is None
    assert ended.values("gain") == pytest.approx({"A": 24.49, "B": 24.49}, rel=0.015)


def test_channels_become_alike_where_no_more_is_wanted(tmp_path: Path) -> None:
    ended = dry(tmp_path, "set_gain: {within: 0.5 %}", amplifier=MISMATCHED)
    gains = ended.values("gain")
    assert gains["B"] == pytest.approx(gains["A"], rel=0.01)
    assert gains["A"] == pytest.approx(31.9, rel=0.02)


def test_a_control_goes_no_further_than_its_end(tmp_path: Path) -> None:
    """From 30 dB up by more than the 20 dB that a control has."""
    ended = dry(tmp_path, "set_gain: {gain: 60 dB, level: 50 mV, timeout: 10 s}")
    assert "the gains were not set within 0.1667 min" in ended.notes
    assert ended.values("gain")["A"] == pytest.approx(319.0, rel=0.05)
