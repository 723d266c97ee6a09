"""measure_square on the simulated bench: an output filter, coupling capacitors and a slew rate come out."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest

from benchctl.documents.reader import load_bench
from benchctl.runner.acting.run import OwnHands
from benchctl.runner.expected.capability import MOST, Capability
from tests.runner.generator_forms import driver_text
from tests.runner.measured import LOADED, Measured, hazards_of, measured, within_uncertainty
from tests.runner.rig import POWER_ON_LINE, Files, Rig, amplifier_file, rig, sequence_file, shipped

# Damping 0.4 at 50 kHz: overshoot 25.3827 %, rise time 1.4635 / w = 4.658 us; a coupling at 5 Hz tilts 1 kHz by
# 1.5708 % of the mean top (closed forms of tests/standards/test_std_square.py).
SLOW = {
    "  gain: 31.9 ": "  imperfections: {output_filter: {corner: 50 kHz, damping: 0.4}, coupling: 5 Hz}\n  gain: 31.9 "
}
SLEWING = {
    "  gain: 31.9 ": "  imperfections: {output_filter: {corner: 200 kHz, damping: 0.8}, slew: 1 V/us}\n  gain: 31.9 "
}


@pytest.fixture(scope="module")
def slow(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    step = "measure_square: {expect: {overshoot: below 10 %}}"
    return measured(tmp_path_factory.mktemp("run"), step, "measure_continuous: {level: 200 mV, for: 1 s}",
                    amplifier=SLOW, tries_wiring=True)  # fmt: skip


def test_rise_time_and_overshoot_are_those_of_the_output_filter(slow: Measured) -> None:
    for figure in slow.figures("rise_time"):
        assert figure.bound == "at most"  # the bench file gives no bandwidths
        assert figure.value == pytest.approx(1.4635 / (2.0 * math.pi * 50e3), rel=0.05)
    for figure in slow.figures("overshoot"):
        assert within_uncertainty(figure, 0.253827)
        if figure.frequency_hz == 1e3:  # at 10 kHz the top has not settled when the next edge begins
            assert figure.value == pytest.approx(0.253827, abs=0.01)
            assert figure.verdict == "fails"


def test_the_tilt_is_that_of_the_coupling(slow: Measured) -> None:
    for figure in slow.figures("tilt"):
        if figure.frequency_hz == 1e3:
            assert figure.value == pytest.approx(0.015708, abs=3e-4)


def test_the_bandwidth_gives_no_slew_rate(slow: Measured) -> None:
    assert {figure.bound for figure in slow.figures("slew_rate")} == {"at least"}


def test_the_sine_is_back_at_its_frequency_for_the_next_step(slow: Measured) -> None:
    assert slow.outcome.unmeasured == ()
    rows = slow.table[slow.table["step"].str.contains("continuous")]
    assert set(rows["frequency_hz"]) == {1e3}
    assert slow.figure("thd", "A").value < 0.02


def test_it_can_be_computed_again_and_the_time_was_foreseen(slow: Measured) -> None:
    assert slow.verification.agrees
    assert slow.expected_s("measure_square") == pytest.approx(slow.took_s["measure_square"], rel=0.5)


def test_a_slew_rate_is_told_from_a_bandwidth(tmp_path: Path) -> None:
    """1 V/us: at the large level the step of 22 V takes 17.6 us from 10 % to 90 %."""
    found = measured(tmp_path, "measure_square: {frequencies: [10 kHz]}", amplifier=SLEWING)
    for channel in "AB":
        figure = found.figure("slew_rate", channel)
        assert not figure.bound
        assert within_uncertainty(figure, 1e6)


def test_a_capacitor_beside_the_load_makes_an_output_with_a_coil_ring(tmp_path: Path) -> None:
    """2 uH, 2.2 uF, 4 ohm and 20 mohm: natural frequency 76.1 kHz, damping 0.129 (voltage divider), so that it rings at
    w sqrt(1 - z^2), 75.4 kHz, and shoots over by exp(-pi z / sqrt(1 - z^2)), 66.5 %."""
    coil = {"  gain: 31.9 ": "  imperfections: {output_inductance: 2 uH}\n  gain: 31.9 "}
    step = "measure_square: {frequencies: [1 kHz], capacitor: 2.2 uF}"
    found = measured(tmp_path, step, amplifier=coil, disturb=with_hands)
    overshoot, ringing = found.figure("overshoot_with_capacitor", "A"), found.figure("ringing_frequency", "A")
    assert overshoot.value == pytest.approx(0.665, abs=0.01)
    assert within_uncertainty(ringing, 75.4e3)
    assert found.figure("overshoot", "A").bound == "at most"
    assert [text.split(".")[0] for text in found.requests if "apacitor" in text or "Connect 2" in text] == [
        "Connect 2",
        "Take the capacitor off outputs A and B again",
    ]


def test_an_output_that_a_capacitor_makes_oscillate_is_not_driven(tmp_path: Path) -> None:
    """The hands that connect it also turn the bias up, as an oscillation would: the supply current rises."""

    def oscillating(rig: Rig) -> None:
        class Hands(OwnHands):
            def capacitor(self, capacitance_f: float | None) -> None:
                rig.simulated.settle()
                wrong = {} if capacitance_f is None else {("supply", "current"): 3.0}
                rig.simulated.physical_bench.connections.faults.wrong = wrong

        rig.run.hands = Hands()

    found = measured(tmp_path, "measure_square: {frequencies: [1 kHz], capacitor: 100 nF}", disturb=oscillating)
    assert found.outcome.unmeasured
    assert any("the output oscillates, so it is not driven" in note for note in found.notes)
    assert found.requests[-1].startswith("Take the capacitor off")


def with_hands(rig: Rig) -> None:
    """The simulated bench does what a person is asked for."""
    rig.run.hands = rig.simulated


def test_the_worst_case_counts_twice_the_power_of_the_sine_and_more_current() -> None:
    """A square wave of the same peak has twice the power, and pi / 2 times the mean current of a linear stage."""
    sine = Capability(amplifier_file(), 4.0, 14.4, MOST)
    square = Capability(amplifier_file(), 4.0, 14.4, MOST, is_square=True)
    assert square.given_w(15.0) == pytest.approx(2.0 * sine.given_w(15.0))
    assert square.supply_w(15.0) == pytest.approx(math.pi / 2.0 * sine.supply_w(15.0))
    assert square.given_w(1e4) == pytest.approx(2.0 * sine.full_w)


@pytest.mark.parametrize(("unit", "times"), [("square_v", 1.41), ("square_vpp", 2.83)])
def test_a_square_wave_whose_level_is_in_the_wrong_unit_is_not_played_at_the_full_level(
    tmp_path: Path, unit: str, times: float
) -> None:
    """The driver file sends its RMS, or Vpp, where the generator takes the level of the sine with the same peak."""
    text = driver_text("scpi99", {'SQU", "SOUR:VOLT {level_v:.6f}"': f'SQU", "SOUR:VOLT {{{unit}:.6f}}"'})
    (tmp_path / "own.yaml").write_text(text, encoding="utf-8")
    bench = tmp_path / "bench.yaml"
    bench.write_text(shipped("benches", "workshop", {"driver: generator/scpi99": "driver: ./own"}), encoding="utf-8")
    steps = (POWER_ON_LINE, LOADED, "measure_square: {frequencies: [1 kHz]}", "power_off")
    these = Files(sequence_file(*steps), load_bench(bench), amplifier_file())
    with rig(tmp_path / "run", these) as found:
        outcome = found.execute()
        levels_v = [
            float(text.split()[-1]) for role, text in found.commands() if role == "generator" and "VOLT 0" in text
        ]
    (told,) = [note for note in found.audience.notes if "not played at the full level" in note]
    seen_v, sine_v = (float(part.split(" V")[0]) for part in re.split("has a peak of |level has ", told)[1:])
    assert seen_v / sine_v == pytest.approx(times, rel=0.02)
    assert outcome.unmeasured
    assert max(levels_v) < 0.25 * times / 10.0 + 1e-3


def test_a_person_must_be_there_to_connect_a_capacitor() -> None:
    assert any("nobody is present" in hazard for hazard in hazards_of("measure_square: {capacitor: 100 nF}"))


def test_preflight_foresees_twice_the_power_of_the_sine(slow: Measured) -> None:
    """A tenth of 150 W is 15 W of a sine, and 30 W of the square wave."""
    (worst,) = [worst for planned, worst in zip(slow.checked.plan, slow.checked.worst_cases, strict=True)
                if planned.step.kind == "measure_square"]  # fmt: skip
    assert worst.load_w == pytest.approx(30.0)
