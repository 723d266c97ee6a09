"""What is not ideal about a simulated workshop."""

from __future__ import annotations

from benchctl.documents.bench_file.imperfections import Imperfections
from benchctl.documents.bench_file.simulation import BenchSimulation
from tests.documents.conftest import ProblemsOf


def test_a_simulated_workshop_is_ideal_unless_its_file_says_otherwise(bench_text: str, problems_of: ProblemsOf) -> None:
    assert BenchSimulation().imperfections == Imperfections()
    told = problems_of(bench_text.replace("seed: 2150", "seed: 2150\n  imperfections: {mians: {}}"), "bench")
    assert [fault.split(": ", 1)[1] for fault in told] == ["unknown key 'mians'; did you mean 'mains'?"]
