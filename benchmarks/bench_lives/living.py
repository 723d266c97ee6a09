"""One life of a bench as dry runs: each run's instruments are a little off where they were the time before."""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.reader import load_bench
from benchctl.launch.run import Documents, run
from benchctl.library import find
from benchmarks.nobody import Nobody

HERE = Path(__file__).parent
FIRST, EVERY = datetime(2026, 1, 5, 8, tzinfo=UTC), timedelta(days=14)
RUNS = 24
CLAMP = "probe supply current"
# From one day to the next an instrument in one room is off by so much of what is stated, RMS (common practice).
DAY_TO_DAY = 0.05


@dataclass(frozen=True)
class Life:
    """`ages_by`: how much the clamp's gain rises over the whole life; nothing on a sound bench."""

    seed: int
    bench: str = "workshop"
    ages_by: float = 0.0


def stated_gains(bench: Bench) -> Mapping[str, float]:
    """Limit of error of the gain of whatever two instruments see, by the name that the simulator knows it by."""
    oscilloscope, supply = bench.instruments.oscilloscope, bench.instruments.supply
    assert oscilloscope is not None
    assert supply is not None
    gains = {
        f"oscilloscope {wiring.oscilloscope}": oscilloscope.accuracy.voltage.reading
        for _, wiring in bench.signals.wirings()
    }
    probes = {
        f"probe {name.removeprefix('output ')}": wiring.probe.accuracy for name, wiring in bench.signals.wirings()
    }
    of_supply = {"voltage": supply.accuracy.voltage.reading, "current": supply.accuracy.current.reading}
    return {**gains, **probes, **{f"supply main {what}": stated for what, stated in of_supply.items()}}


def live(life: Life, out: Path) -> Path:
    """Make the runs; returns the folder that they are in. Their names have the days on which they are meant to be."""
    out.mkdir(parents=True)
    text, runs = find("benches", life.bench).read_text("utf-8"), out / "runs"
    stated = stated_gains(load_bench(life.bench))
    chance = random.Random(f"{life.seed}/{life.bench}")
    true = {name: chance.uniform(-0.5, 0.5) * limit for name, limit in stated.items()}
    for number in range(RUNS):
        now = {name: error + chance.gauss(0.0, DAY_TO_DAY) * stated[name] for name, error in true.items()}
        now[CLAMP] += life.ages_by * number / (RUNS - 1)
        (out / "bench.yaml").write_text(_with_errors(text, now), encoding="utf-8")
        documents = Documents(HERE / "check.yaml", out / "bench.yaml", "hx2150")
        made = run(documents, Nobody(), out=runs, dry_run=True, accepted="a life of a bench")
        day = FIRST + number * EVERY
        made.folder.rename(runs / f"{day:%Y%m%d-%H%M%S}-{made.folder.name.split('-', 2)[2]}")
    return runs


def _with_errors(bench: str, errors: Mapping[str, float]) -> str:
    lines = "".join(f"    {name}: {100.0 * error:.6f} %\n" for name, error in errors.items())
    before, simulation, after = bench.partition("\nsimulation:\n")
    return f"{before}{simulation}  errors:\n{lines}{after}"
