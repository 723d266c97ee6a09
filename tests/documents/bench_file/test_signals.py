"""What is wired to the oscilloscope, and what its probes make of it."""

from __future__ import annotations

import pytest

from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.bench_file.signals import CurrentClamp, DifferentialProbe
from benchctl.documents.reader import load_bench


@pytest.fixture(scope="module")
def bench() -> Bench:
    return load_bench("workshop")


def test_wired_signals_bear_the_names_of_their_traces(bench: Bench) -> None:
    wired = {name: wiring.oscilloscope for name, wiring in bench.signals.wirings()}
    assert wired == {"output A": 1, "output B": 2, "supply current": 3, "supply voltage": 4}
    assert bench.signals.trigger.is_external


def test_a_probe_turns_volts_at_the_oscilloscope_into_what_it_measures(bench: Bench) -> None:
    output, current = bench.signals.outputs["A"].probe, bench.signals.supply_current
    assert isinstance(output, DifferentialProbe)
    assert output.units_per_volt == 20.0
    assert current is not None
    assert isinstance(current.probe, CurrentClamp)
    assert current.probe.units_per_volt == pytest.approx(100.0)  # 10 mV/A
