"""One case: a first run, the advice for one quantity, a run of the sequence that it writes, and what its fit tells."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from benchctl.documents.reader import load_amplifier, load_bench
from benchctl.fit.examination import examine
from benchctl.fit.told import Quantity
from benchctl.further.advice import Advice, advise, worst_of
from benchctl.further.measurement import Measurement
from benchctl.further.writing import sequence_text
from benchctl.launch.run import Documents, run
from benchmarks.nobody import Nobody

IDLE = Measurement("idle", 14.4)
CLEAN = Measurement("clean", 14.4, 4.0)
BURST = Measurement("burst", 14.4, 4.0, cycles=8)
LOW_LOAD = Measurement("clean", 14.4, 2.0)


@dataclass(frozen=True)
class Case:
    """What is asked for, after a run that has measured `first`."""

    amplifier: str
    bench: str
    first: tuple[Measurement, ...]
    quantity: str


CASES = (
    Case("hx2150", "workshop", (IDLE, CLEAN), "reservoir"),
    Case("hx2150", "workshop", (IDLE, BURST, CLEAN), "output_resistance"),
    Case("hx2150", "workshop", (IDLE, BURST, CLEAN, LOW_LOAD), "saturation"),
    Case("hx2150", "untidy_workshop", (IDLE, BURST, CLEAN), "reservoir"),
    Case("lw1200", "heavy_bench", (IDLE, BURST, CLEAN), "output_resistance"),
    Case("lw1200", "heavy_bench", (IDLE, CLEAN), "reservoir"),
    Case("kx240", "workshop", (IDLE, BURST, CLEAN), "reservoir"),
)


@dataclass(frozen=True)
class Outcome:
    """How it went: the advice, and the quantity as the second run tells it; None where there was no step to advise."""

    case: Case
    advice: Advice
    reached: Quantity | None

    @property
    def ratio(self) -> float | None:
        """The uncertainty that was reached over the one that was promised."""
        if self.reached is None or self.reached.untold:
            return None
        return self.reached.expanded_uncertainty / self.promised_u(self.reached.value)

    def promised_u(self, value: float) -> float:
        """U that was promised for the best step, where the quantity is `value`."""
        return self.advice.expected_u(self.advice.options[0], value)


def tried(case: Case, folder: Path) -> Outcome:
    """Both runs, in a folder."""
    amplifier, bench = load_amplifier(case.amplifier), load_bench(case.bench)
    first = _ran(sequence_text("first", case.first, (), amplifier, bench), case, folder / "first")
    advice = advise(first, examine(first), case.quantity)
    if not advice.options:
        return Outcome(case, advice, None)
    second = _ran(advice.options[0].text, case, folder / "second")
    return Outcome(case, advice, worst_of(examine(second).quantities, case.quantity))


def _ran(text: str, case: Case, folder: Path) -> Path:
    folder.mkdir(parents=True)
    path = folder / "sequence.yaml"
    path.write_text(text, encoding="utf-8")
    documents = Documents(path, case.bench, case.amplifier)
    return run(documents, Nobody(), out=folder, dry_run=True, accepted="a campaign of dry runs").folder
