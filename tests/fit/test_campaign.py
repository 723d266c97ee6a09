"""The campaign of fits, without its dry runs: what it draws, and how it judges."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from benchctl.documents.reader import load_amplifier, load_bench
from benchctl.launch.simulated.description import describe
from benchctl.quantity import parse_quantity
from benchctl.simulator.amplifier.outputs import output_of
from benchctl.simulator.amplifier.transfer import HARD
from benchctl.simulator.generator_signal import Tone
from benchmarks.fits.drawing import BENCHES_DRAWN, drawn, lost_at_edges, resistor_errors
from benchmarks.fits.judging import interval, mark_of, table_of
from benchmarks.fits.trial import Judged, Outcome


@pytest.mark.parametrize("base", ["hx2150", "lw1200", "kx240"])
def test_a_draw_is_a_pair_of_files_that_are_read_and_repeats(tmp_path: Path, base: str) -> None:
    first = drawn(base, 7, tmp_path)
    amplifier, bench = load_amplifier(first.amplifier), load_bench(first.bench)
    assert amplifier.simulation is not None
    assert amplifier.simulation.reservoir_f == pytest.approx(first.truths["reservoir", ""], rel=1e-6)
    assert bench.simulation is not None
    assert bench.simulation.seed == 7
    assert drawn(base, 7, tmp_path).truths == first.truths
    assert drawn(base, 8, tmp_path).truths != first.truths


@pytest.mark.parametrize("bench", [BENCHES_DRAWN[0], BENCHES_DRAWN[-1]])
def test_dc_and_gains_move_on_a_drawn_bench_as_far_as_the_fit_allows_for(tmp_path: Path, bench: str) -> None:
    """Dc by 0.1 mV and 1 % of itself, gain by a fiftieth of what is stated (docs/fit.md)."""
    draw = drawn("kx240", 7, tmp_path, bench)
    amplifier, drawn_bench = load_amplifier(draw.amplifier), load_bench(draw.bench)
    assert amplifier.simulation is not None
    assert drawn_bench.simulation is not None
    assert drawn_bench.instruments.oscilloscope is not None
    stated = drawn_bench.instruments.oscilloscope.accuracy.voltage.reading
    assert drawn_bench.simulation.imperfections.oscilloscope.record_gain == pytest.approx(stated / 50)
    assert {"resistor 101", "resistor 102"} <= set(drawn_bench.simulation.errors)
    assert amplifier.simulation.imperfections.dc_wander_v == {
        channel: pytest.approx(1e-4 + 0.01 * abs(draw.truths["dc", channel]), rel=1e-5) for channel in "AB"
    }


def test_one_in_twenty_load_resistors_lies_outside_its_stated_uncertainty() -> None:
    """k = 2 is 4.6 % of a normal distribution; of 4000 within 1 % (binomial)."""
    stated = [{"relay": relay, "uncertainty": "0.2 %"} for relay in range(4000)]
    errors = [parse_quantity(text, "1") for text in resistor_errors(stated, random.Random(1)).values()]
    assert sum(abs(error) > 0.002 for error in errors) / 4000 == pytest.approx(0.0455, abs=0.01)
    assert np.std(errors) == pytest.approx(0.001, rel=0.05)


@pytest.mark.parametrize("base", ["lw1200", "dx5080"])
def test_rated_power_of_class_d_loses_the_drawn_part_at_the_edges_of_its_carrier(tmp_path: Path, base: str) -> None:
    """By what the stage of the simulator loses with the drawn time and without, on a rail that the top of the sine all
    but reaches."""
    line = min(load_amplifier(base).rated, key=lambda each: each.load_ohm)
    files = drawn(base, 7, tmp_path)
    described = describe(load_bench(files.bench), load_amplifier(files.amplifier))
    with_edges = described.amplifier
    peak_v = math.sqrt(2.0 * line.power_w * line.load_ohm) * (1.0 + with_edges.output_resistance_ohm / line.load_ohm)
    lost_w = []
    for physics in (with_edges, replace(with_edges, commutation_s=0.0)):
        output = replace(output_of(physics, described.plate, "A"), gain=1.0, offset_v=0.0, transfer=HARD)
        stage = output.stage(Tone(peak_v, 1e3, 0.0), 1.0 / line.load_ohm)
        headroom_v = peak_v / output.halves / stage.limit_v(1.0)
        lost_w.append(stage.flows(headroom_v + physics.saturation_v, headroom_v * (1.0 + 1e-9)).stage_w)
    assert lost_w[0] - lost_w[1] == pytest.approx(lost_at_edges(base, 7) * line.power_w)


def test_hum_at_an_open_input_carries_dc_through_the_crossover(tmp_path: Path) -> None:
    """12 mV less a zone of 4 mV are 8 mV; under a hum of 20 mV nearly all of the 12 mV come out."""
    dc_v = {bench: drawn("kx240", 7, tmp_path, bench).truths["dc", "A"] for bench in BENCHES_DRAWN}
    assert dc_v["12 bits"] == pytest.approx(0.008)
    assert dc_v["12 bits, untidy"] == pytest.approx(0.008)
    assert 0.010 < dc_v["8 bits, untidy"] < 0.012


def test_the_interval_of_a_share_is_that_of_clopper_and_pearson() -> None:
    """In closed form where all of n are inside: from (0.005)^(1/n) to 1."""
    assert interval(12, 12) == (pytest.approx(0.005 ** (1 / 12)), 1.0)
    assert interval(0, 12) == (0.0, pytest.approx(1 - 0.005 ** (1 / 12)))


@pytest.mark.parametrize("bench", BENCHES_DRAWN)
def test_every_kind_of_bench_is_a_bench_file_with_its_bits(tmp_path: Path, bench: str) -> None:
    oscilloscope = load_bench(drawn("lw1200", 7, tmp_path, bench).bench).instruments.oscilloscope
    assert oscilloscope is not None
    assert oscilloscope.ratings.bits == int(bench.split(maxsplit=1)[0])


def test_an_uncertainty_is_marked_only_where_chance_does_not_explain_it() -> None:
    assert not mark_of(95, 100)
    assert not mark_of(50, 50)
    assert mark_of(80, 100) == "TOO NARROW"
    assert mark_of(500, 500) == "too wide"


def test_only_what_is_told_counts_in_the_table() -> None:
    each = (Judged("reservoir", True, 0.5, 0.01), Judged("rail", False, 9.0, 0.5))
    table = table_of([Outcome(1, "12 bits", each, 5.0, 2.0, (), 0, "")], "")
    columns = {str(column.header): list(column.cells) for column in table.columns}
    assert columns["told"] == ["1/1", "0/1"]
    assert columns["inside U"] == ["1 = 100.0%", "-"]
