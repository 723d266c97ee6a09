"""What a drive itself costs: energy that it adds at the loads over energy that it adds at the supply."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from benchctl.measure.analyses.burst_figures import full_figures
from benchctl.measure.analyses.by_step import continuous
from benchctl.measure.analyses.context import BurstContext, ContinuousContext
from benchctl.measure.budget.figure import Figure
from benchctl.measure.signal.record import Capture, Samples, Trace
from benchctl.measure.uncertainty import Accuracy, LoadResistance
from tests.measure.convolved import reach

RATE_HZ, EVERY_S, MARGIN_S, CYCLES, SUPPLY_V = 50e3, 0.5, 0.005, 10, 14.4
TIMES_S = np.arange(round(EVERY_S * RATE_HZ)) / RATE_HZ
LOADS = {"A": LoadResistance(4.0, 4.0)}
CHAINS = {name: (Accuracy(reading=0.01, fixed=0.05),) for name in ("supply current", "supply voltage", "output A")}
# An ideal bridge on 14.4 V into 4 ohm: 25.92 W of output and 2.291831 A of supply current, so pi / 4 of it arrives
# (class B; Boylestad and Nashelsky, chapter 12).
BRIDGE_W, BRIDGE_A = 25.92, 2.291831


def trace(values: Samples, full: float, unit: str, bits: int = 16) -> Trace:
    step = full / 2**bits
    codes = np.round(values / step).astype(np.int16)
    return Trace(codes, step, 0.0, unit, -(2**15), 2**15 - 1)


def record(output_v: Samples, current_a: Samples, bits: int = 16) -> Capture:
    traces = {
        "output A": trace(output_v, 200.0, "V"),
        "supply current": trace(current_a, 160.0, "A", bits),
        "supply voltage": trace(np.full(output_v.size, SUPPLY_V), 40.0, "V"),
    }
    return Capture("captures/1.npz", 0.0, 1.0 / RATE_HZ, traces, 1.0)


def tone(rms_v: float) -> Samples:
    wave: Samples = math.sqrt(2.0) * rms_v * np.sin(2.0 * math.pi * 1e3 * TIMES_S + 0.3)
    return wave


def named(figures: list[Figure], name: str) -> Figure:
    (figure,) = [figure for figure in figures if figure.name == name]
    return figure


def test_a_tone_of_an_ideal_bridge_costs_what_class_b_costs_whatever_it_idles_at() -> None:
    driven = record(tone(math.sqrt(BRIDGE_W * 4.0)), np.full(TIMES_S.size, 1.5 + BRIDGE_A))
    rest = record(np.zeros(TIMES_S.size), np.full(TIMES_S.size, 1.5))
    context = ContinuousContext(accuracy=CHAINS, frequency_hz=1e3, loads=LOADS)
    figures = continuous({"rest": rest, "continuous": driven}, {}, context)
    assert named(figures, "marginal_efficiency").value == pytest.approx(math.pi / 4.0, rel=2e-3)
    assert named(figures, "efficiency").value == pytest.approx(BRIDGE_W / SUPPLY_V / (1.5 + BRIDGE_A), rel=2e-3)
    assert named(figures, "watts_per_ampere").value == pytest.approx(BRIDGE_W / (1.5 + BRIDGE_A), rel=2e-3)


def test_one_error_of_zero_of_one_range_does_not_count_twice_and_so_not_at_all() -> None:
    """Gains of both chains and of the output, which counts as its square: limits of 1, 1 and 2 %."""
    driven = record(tone(math.sqrt(BRIDGE_W * 4.0)), np.full(TIMES_S.size, 1.5 + BRIDGE_A))
    rest = record(np.zeros(TIMES_S.size), np.full(TIMES_S.size, 1.5))
    gains = {name: (Accuracy(reading=0.01),) for name in CHAINS}
    found = [
        named(
            continuous(
                {"rest": rest, "continuous": driven},
                {},
                ContinuousContext(accuracy={**gains, "supply current": chain}, frequency_hz=1e3, loads=LOADS),
            ),
            "marginal_efficiency",
        ).expanded_uncertainty
        for chain in (CHAINS["supply current"], gains["supply current"])
    ]
    assert found[0] == pytest.approx(found[1], rel=1e-3)
    assert found[0] == pytest.approx(math.pi / 4.0 * reach(0.01, 0.01, 0.02), rel=0.02)


def burst(full_a: float, bits: int = 16, every_s: float = EVERY_S) -> list[Figure]:
    """Bursts of 28 V into 4 ohm, 20 dB less between them, and as many more amperes as long as a burst lasts."""
    times_s = TIMES_S - MARGIN_S
    in_burst = (times_s >= 0.0) & (times_s < CYCLES / 1e3)
    wave = math.sqrt(2.0) * 28.0 * np.sin(2.0 * math.pi * 1e3 * times_s) * np.where(in_burst, 1.0, 0.1)
    whole = record(wave, 5.0 + np.where(in_burst, full_a, 0.0), bits)
    part = replace(whole, start_s=-MARGIN_S).window(-MARGIN_S, every_s - MARGIN_S)
    context = BurstContext(
        accuracy=CHAINS, frequency_hz=1e3, loads=LOADS, cycles=CYCLES, every_s=every_s, low_level_ratio=0.1
    )
    return full_figures(part, context)


def test_a_burst_is_held_against_the_level_between_bursts() -> None:
    """28 V into 4 ohm are 196 W, a hundredth of it in the pause; 20.3 A more from 14.4 V are 292.3 W."""
    found = named(burst(20.3), "marginal_efficiency")
    assert found.value == pytest.approx(196.0 * 0.99 / (20.3 * SUPPLY_V), rel=2e-3)


def test_what_a_burst_adds_counts_only_where_it_can_be_told_from_nothing() -> None:
    """8 bits of 160 A are steps of 0.6 A, which may hide more than 2 A for a fiftieth of the time."""
    assert not [figure for figure in burst(2.0, bits=8) if figure.name == "marginal_efficiency"]
    assert named(burst(2.0), "marginal_efficiency").value > 1.0  # and sixteen bits tell it


def test_a_pause_too_short_to_recharge_in_gives_no_such_figure() -> None:
    assert not [figure for figure in burst(20.0, every_s=0.1) if figure.name == "marginal_efficiency"]
