"""An amplifier that goes into protection is noticed in every step that drives it; the run goes on or ends as asked."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from benchctl.measure.signal.record import Capture, Trace
from benchctl.runner.acting.protection import broken_off
from tests.runner.measured import Measured, measured, within_uncertainty

# It mutes at 36 degC; 40 % of rated power take it there in a minute.
EARLY = {"temperature: 95 degC, restart: 75 degC": "temperature: 36 degC, restart: 25 degC"}


@pytest.fixture(scope="module")
def steady(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    return measured(
        tmp_path_factory.mktemp("run"),
        "measure_continuous: {for: 5 min, level: 500 mV}",
        "measure_idle: {for: 1 s}",
        amplifier=EARLY,
    )


def test_a_steady_tone_that_is_cut_off_is_noticed_at_once(steady: Measured) -> None:
    assert within_uncertainty(steady.figure("protection_temperature"), 36.0)
    assert steady.figure("protection_time").value == pytest.approx(steady.took_s["measure_continuous"], abs=1.0)
    # 0.5 V times the true gain into 4.013 ohm.
    assert within_uncertainty(steady.figure("protection_power", "A"), (0.5 * 31.74) ** 2 / 4.013, factor=1.5)


def test_the_supply_current_has_fallen_by_then(steady: Measured) -> None:
    assert steady.figure("protection_supply_current").value < 1.0
    assert steady.figure("protection_supply_voltage").value == pytest.approx(14.4, abs=0.05)


def test_the_step_gives_no_other_figures_and_the_run_goes_on(steady: Measured) -> None:
    assert not steady.figures("continuous_power")
    assert "fell silent at output A and B" in steady.outcome.unmeasured[0]
    assert steady.figures("idle_current")
    assert steady.verification.agrees


@pytest.fixture(scope="module")
def soaked(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    return measured(tmp_path_factory.mktemp("soaked"), "soak: {for: 10 min, level: 40 % rated}", amplifier=EARLY)


@pytest.mark.parametrize(
    "step",
    [
        "find_clean_level: {from: 500 mV}",
        "measure_burst: {cycles: [20], from: 500 mV, every: 100 ms}",
    ],
)
def test_a_search_that_is_cut_off_is_told_so_and_not_taken_for_a_clean_one(
    step: str, soaked: Measured, tmp_path: Path
) -> None:
    """The heatsink is a tenth of a kelvin from its limit when the search begins."""
    until_s = soaked.figure("protection_time").value
    run = measured(tmp_path, f"soak: {{for: {until_s - 1.5:.1f} s, level: 40 % rated}}", step, amplifier=EARLY)
    assert run.figures("protection_temperature")
    assert "fell silent" in run.outcome.unmeasured[0]


def test_a_run_ends_with_the_silence_if_the_sequence_asks_for_it(tmp_path: Path) -> None:
    step = "measure_continuous: {for: 5 min, level: 500 mV, on_protection: end the run}"
    run = measured(tmp_path, step, "measure_idle: {for: 1 s}", amplifier=EARLY)
    assert "fell silent" in str(run.outcome.error)
    assert not run.figures("idle_current")
    assert run.outcome.is_safe


# Half-bridges on small reservoirs; 46 V on a rail mute it, where the open rail is 41 V.
PUMPED = {
    "class: AB": "class: D",
    "  bias_current: 110 mA                # per channel, from rail to rail\n": (
        "  switching: 4 W\n  ripple: 100 mV\n  imperfections: {pumps: yes}\n"
    ),
    "reservoir: 30 mF": "reservoir: 10 mF",
    "low_voltage: 9.5 V}": "low_voltage: 9.5 V, rail: 46 V, retry: 1 s}",
}


def test_an_amplifier_that_pumps_up_its_rails_until_it_mutes_is_not_said_to_clip(tmp_path: Path) -> None:
    search = "find_clean_level: {thd_n: 1 %, from: 10 mV, to: 2 V}"
    low, high = "set: {frequency: 20 Hz}", "set: {frequency: 1 kHz}"
    run = measured(tmp_path, low, search, high, search, amplifier=PUMPED, bench={"memory: 1000000": "memory: 200000"})
    (told,) = run.outcome.unmeasured
    assert told.startswith("4 find_clean_level: the amplifier fell silent at output A and B while driven with ")
    assert "V, which is not clipping; a low tone may have pumped up its rails: measure them while it plays" in told
    (found,) = [event for event in run.events if event["event"] == "clean level"]
    assert found["frequency_hz"] == 1e3


def tone_of(loud: Sequence[float]) -> Capture:
    """Cycles of 100 Hz at 10 kSa/s, of these amplitudes."""
    volts = np.concatenate([volt * np.sin(2 * np.pi * np.arange(100) / 100) for volt in loud])
    codes = np.round(volts * 1000).astype(np.int16)
    return Capture("a.npz", 0.0, 1e-4, {"output A": Trace(codes, 1e-3, 0.0, "V", -32000, 32000)}, 0.0)


@pytest.mark.parametrize(
    ("loud", "broken"),
    [
        ([10.0, 10.0, 10.0, 0.0], ["A"]),
        ([0.0, 0.0, 10.0], ["A"]),
        ([10.0, 8.0, 7.0], []),
        ([0.01, 0.0], []),
        ([9.0], []),
    ],
)
def test_a_steady_tone_that_stops_or_begins_within_a_record_is_noticed(loud: list[float], broken: list[str]) -> None:
    assert broken_off(tone_of(loud), 100.0, least_v=1.0) == broken
