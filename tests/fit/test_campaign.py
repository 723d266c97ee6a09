"""The campaign of fits, without its dry runs: what it draws, and how it judges."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl.documents.reader import load_amplifier, load_bench
from benchmarks.fits.drawing import BENCHES_DRAWN, drawn
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
