"""The `faults:` of a bench file's `simulation:` section."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.bench_file.faults import ClockJump, LateAnswer, LinkFault, OutputStuck, SupplyDrift

WELL_WRITTEN = [
    "{instrument: supply, kind: no answer, at: 12 s, times: 3}",
    "{instrument: oscilloscope, kind: reset in mid-block, exchange: 40}",
    "{instrument: thermometer, kind: garbage, probability: 1 %, for: 2 s}",
    "{instrument: supply, kind: late answer, at: 12 s, by: 500 ms}",
    "{instrument: supply, kind: output stuck, output: remote, at: 5 s}",
    "{instrument: generator, kind: output stuck, at: 5 s}",
    "{kind: relay stuck, relay: 101, at: 1 s}",
    "{kind: sensor open, sensor: ambient, at: 1 s}",
    "{kind: supply drift, by: -3 V, at: 1 s}",
    "{kind: clock jump, by: -5 s, at: 1 s}",
    "{kind: wrong by a factor, instrument: supply, of: current, factor: 0.5, at: 1 s}",
    "{kind: one channel for all, channel: 2, at: 1 s}",
    "{kind: sensor stuck, sensor: ambient, at: 1 s}",
]


def with_faults(bench_text: str, *faults: str) -> str:
    return bench_text + "  faults:\n" + "".join(f"    - {fault}\n" for fault in faults)


def test_every_kind_of_fault_can_be_written_in_a_line(document_of: Callable[..., Bench], bench_text: str) -> None:
    bench = document_of(with_faults(bench_text, *WELL_WRITTEN), "bench")
    assert bench.simulation is not None
    faults = bench.simulation.faults
    assert len(faults) == len(WELL_WRITTEN)
    assert faults[0] == LinkFault(kind="no answer", instrument="supply", at_s=12.0, times=3)
    assert isinstance(faults[3], LateAnswer)
    assert faults[3].by_s == pytest.approx(0.5)
    assert isinstance(faults[4], OutputStuck)
    assert isinstance(faults[8], SupplyDrift)
    assert (faults[8].by_v, faults[8].over_s) == (-3.0, 10.0)
    assert isinstance(faults[9], ClockJump)


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        ("{instrument: supply, kind: no anser, at: 1 s}", "did you mean 'no answer'?"),
        ("{instrument: scope, kind: garbage, at: 1 s}", "unknown value 'scope'"),
        ("{instrument: supply, kind: garbage}", "give 'at', 'exchange' or 'probability'"),
        ("{instrument: supply, kind: garbage, at: 1 s, exchange: 4}", "a fault begins in one way"),
        ("{instrument: supply, kind: garbage, at: 1 s, for: 1 s, times: 4}", "give one of the two"),
        ("{instrument: supply, kind: garbage, exchange: 0}", "from 1"),
        ("{instrument: supply, kind: garbage, probability: 101 %}", "at most 100 %"),
        ("{instrument: supply, kind: output stuck, output: mian, at: 1 s}", "there are main, remote"),
        ("{kind: relay stuck, relay: 99, at: 1 s}", "there are 101, 102, 103, 104"),
        ("{kind: sensor open, sensor: junction, at: 1 s}", "there are heatsink, ambient, load"),
        ("{kind: supply drift, by: 3 s, at: 1 s}", "3 s"),
        ("{kind: clock jump, by: 40 h, at: 1 s}", "at most"),
        ("{kind: sensor stuck, sensor: junction, at: 1 s}", "there are heatsink, ambient, load"),
        ("{kind: wrong by a factor, instrument: supply, of: level, factor: 2, at: 1 s}", "there are current, voltage"),
        ("{kind: wrong by a factor, instrument: oscilloscope, of: output Z, factor: 2, at: 1 s}", "there are output A"),
        ("{kind: wrong by a factor, instrument: thermometer, of: supply, factor: 2, at: 1 s}", "there are heatsink"),
        ("{kind: wrong by a factor, instrument: generator, of: level, factor: -1, at: 1 s}", "has no sign"),
        ("{kind: wrong by a factor, instrument: load, of: level, factor: 2, at: 1 s}", "unknown value 'load'"),
    ],
)
def test_a_fault_that_cannot_be_meant_is_refused_where_it_stands(
    problems_of: Callable[..., list[str]], bench_text: str, fault: str, words: str
) -> None:
    """One problem, on the line of the fault."""
    text = with_faults(bench_text, WELL_WRITTEN[0], fault)
    (problem,) = problems_of(text, "bench")
    assert problem.startswith(f"{len(text.splitlines())}:")
    assert words in problem


def test_a_fault_of_an_instrument_that_the_bench_lacks_is_refused(
    problems_of: Callable[..., list[str]], bench_text: str
) -> None:
    without = bench_text[: bench_text.index("  thermometer:")] + bench_text[bench_text.index("signals:") :]
    (problem,) = problems_of(with_faults(without, "{kind: sensor open, at: 1 s}"), "bench")
    assert "there is no thermometer under 'instruments'" in problem
