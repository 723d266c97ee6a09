"""How often a sound bench raises an alarm, and how soon an aged clamp is seen.

    python -m benchmarks.bench_lives --lives 1 --drawn 1000 --keep lives

`--lives` makes so many whole lives of each kind on each bench, of 24 dry runs each (a second or two of the processor a
run), and judges them as `benchctl drift` does. `--drawn` takes all values of one such run and draws 24 of each about
it, as of a bench that is sound: they scatter by 2 to 25 % of what is stated.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from benchctl.archive.collection.runs import runs_in
from benchctl.archive.collection.summary import RunSummary
from benchctl.archive.drift.reading import read_run
from benchctl.archive.drift.series import series_of
from benchctl.archive.drift.value import Dated
from benchctl.measure.control.judging import FEWEST
from benchctl.report.drift.bench_life import bench_life
from benchmarks.bench_lives.living import EVERY, FIRST, RUNS, Life, live

BENCHES = ("workshop", "eight_bit", "no_thermometer")
AGES_BY = (0.0, 0.008, 0.02)
SCATTER = (0.02, 0.25)
PROMISED = 0.95


def seen_after(runs: Sequence[RunSummary]) -> int | None:
    """The number of runs after which there is an alarm that stays; None without one."""
    standing = None
    for count in range(FEWEST, len(runs) + 1):
        is_alarm = bool(bench_life(runs[:count], with_simulated=True).alarms)
        standing = (standing or count) if is_alarm else None
    return standing


def drawn_alarms(like: Sequence[Dated], seed: int) -> tuple[bool, bool]:
    """Whether a drawn sound life of all these values raises an alarm, and whether any has one value outside."""
    chance = random.Random(seed)
    scatter = {each.given.reference: chance.uniform(*SCATTER) * each.given.allowed for each in like}
    points = [
        Dated(
            FIRST + number * EVERY,
            f"run-{number}",
            replace(each.given, value=chance.gauss(each.given.value, scatter[each.given.reference])),
        )
        for number in range(RUNS)
        for each in like
    ]
    found = series_of(points)
    states = [series.present.judged.state for series in found]
    return any(series.present.is_alarm for series in found), "one outside" in states


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--lives", type=int, default=1)
    parser.add_argument("--drawn", type=int, default=1000)
    parser.add_argument("--bench", action="append", choices=BENCHES)
    parser.add_argument("--keep", type=Path)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as temporary:
        return _campaign(asked, asked.keep or Path(temporary))


def _campaign(asked: argparse.Namespace, out: Path) -> int:
    failed = False
    for bench in asked.bench or BENCHES:
        for ages_by in AGES_BY:
            for seed in range(1, asked.lives + 1):
                runs = live(Life(seed, bench, ages_by), out / f"{bench}-{1000.0 * ages_by:.0f}-{seed}")
                after = seen_after(runs_in(runs).runs)
                said = "no alarm" if after is None else f"an alarm after {after} runs"
                print(f"{bench}, clamp {100.0 * ages_by:.1f} % up over {RUNS} runs, seed {seed}: {said}", flush=True)
                failed |= ages_by == 0.0 and after is not None
        like = read_run(runs_in(runs).runs[0]).values
        told = [drawn_alarms(like, seed) for seed in range(asked.drawn)]
        alarms, outside = sum(alarm for alarm, _ in told), sum(lone for _, lone in told)
        said = f"{alarms} with an alarm, {outside} with one value outside in some series"
        print(f"{bench}, {asked.drawn} drawn sound lives of {len(like)} series: {said}", flush=True)
        failed |= alarms > (1.0 - PROMISED) * asked.drawn
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())
