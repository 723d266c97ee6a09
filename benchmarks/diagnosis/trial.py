"""One unit drawn, run sound, and run again with faults on other instruments of the same kind, and diagnosed."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml

from benchctl.documents.reader import load_amplifier
from benchctl.fit.diagnosis.diagnosing import FIT, diagnose
from benchctl.fit.diagnosis.named import Diagnosis
from benchctl.fit.examination import Examination, examine
from benchctl.launch.run import run
from benchctl.library import find
from benchmarks.diagnosis.planting import NAMES, planted, sets_of_faults
from benchmarks.fits.drawing import FACTORS, RANGE_GAIN
from benchmarks.nobody import Nobody
from benchmarks.sequences.trials import ACCEPTED, documents

SEQUENCE = "before_and_after"
PAIRS = (
    ("hx2150", "workshop"),
    ("hx2150", "eight_bit"),
    ("kx240", "workshop"),
    ("kx240", "eight_bit"),
    ("lw1200", "heavy_bench"),
)
LIGHTER = 6.0
"""Heatsinks have so many times less heat capacity, so that half a minute warms them as five do."""

AGAIN = 500_000
"""Added to a bench's seed for each further run: other errors of the same kind of instruments."""

SETS_OF_A_UNIT = 5
"""So many sets of faults are held against one sound run of a unit."""

Faults = tuple[str, ...]
Job = tuple[str, str, tuple[Faults, ...], int]  # amplifier, bench, sets of faults, seed


@dataclass(frozen=True)
class Verdict:
    """How one planted fault came out: `named` first or second, `later`, said to be `untold`, or `missed`."""

    fault: str
    how: str


@dataclass(frozen=True)
class Trial:
    """One faulty run with its verdicts; `others`: what was named and not planted; `no_fit`: why nothing was fitted."""

    base: str
    bench: str
    faults: Faults
    seed: int
    section: dict[str, Any]
    verdicts: tuple[Verdict, ...]
    others: tuple[str, ...]
    named: tuple[str, ...]
    ended: str
    no_fit: str


def jobs(draws: int, seed: int, only: Sequence[str] = ()) -> list[Job]:
    """Each unit is of the next amplifier on the next bench, and takes the next sets of faults; none is one of them."""
    sets = [each for each in sets_of_faults() if not only or "+".join(each) in only]
    return [(*PAIRS[number % len(PAIRS)], _next_sets(sets, number), number) for number in range(seed, seed + draws)]


def _next_sets(sets: Sequence[Faults], number: int) -> tuple[Faults, ...]:
    """Every unit has its turn of all sets: a step that has no divisor in common with their number."""
    count = min(SETS_OF_A_UNIT, len(sets))
    return tuple(sets[(number * count + place) % len(sets)] for place in range(count))


def judged(job: Job, folder: Path) -> list[Trial]:
    """Draw a unit, run it sound and with each set of faults, and hold each diagnosis against what was planted."""
    base, bench, sets, seed = job
    chance = random.Random(f"diagnosis {base} {bench} {seed}")
    content = _unit(base, chance)
    before, _ = _run(content, {}, bench, seed, folder / "before")
    return [
        _held(content, before, (base, bench, faults, seed + AGAIN * place), chance, folder / str(place))
        for place, faults in enumerate(sets, start=1)
    ]


def _held(
    content: dict[str, Any],
    before: Examination,
    drawn: tuple[str, str, Faults, int],
    chance: random.Random,
    folder: Path,
) -> Trial:
    """One run with faults, held against the sound one."""
    base, bench, faults, seed = drawn
    plants = planted(faults, load_amplifier(base), chance)
    after, ended = _run(content, dict(plants.section), bench, seed, folder)
    told = diagnose(after, before)
    expected = {(cause, plants.channels[fault]) for fault in faults for cause in NAMES[fault]}
    others = [
        f"{each.cause} {each.channel}".strip() for each in told.named if (each.cause, each.channel) not in expected
    ]
    verdicts = tuple(Verdict(fault, _how(fault, plants.channels[fault], told)) for fault in faults)
    names = tuple(f"{each.cause} {each.channel}: {each.sentence} ({each.times:.3g})" for each in told.named)
    return Trial(*drawn, dict(plants.section), verdicts, tuple(others), names, ended, after.no_fit)


def _unit(base: str, chance: random.Random) -> dict[str, Any]:
    """A sound unit around the shipped one; its reservoir is as large as that of the shipped one at least nearly."""
    content: dict[str, Any] = yaml.safe_load(find("amplifiers", base).read_text(encoding="utf-8"))
    sound = load_amplifier(base).simulation
    assert sound is not None
    simulation = content["simulation"]
    simulation["gain"] = round((sound.gain or 1.0) * chance.uniform(*FACTORS["gain"]), 4)
    simulation["rail_stiffness"] = f"{(sound.rail_stiffness_ohm or 0.0) * 1e3 * chance.uniform(0.8, 1.2):.6g} mohm"
    simulation["reservoir"] = f"{(sound.reservoir_f or 0.0) * 1e3 * chance.uniform(0.8, 1.2):.6g} mF"
    capacity = float(simulation["heatsink"]["capacity"].split()[0])
    simulation["heatsink"]["capacity"] = f"{capacity / LIGHTER:.6g} J/K"
    return content


def _run(
    content: dict[str, Any], section: dict[str, Any], bench: str, seed: int, folder: Path
) -> tuple[Examination, str]:
    folder.mkdir()
    simulation = content["simulation"] | ({"faults": section} if section else {})
    amplifier = folder / "amplifier.yaml"
    amplifier.write_text(yaml.safe_dump(content | {"simulation": simulation}, sort_keys=False), encoding="utf-8")
    of_bench = yaml.safe_load(find("benches", bench).read_text(encoding="utf-8"))
    given = of_bench.setdefault("simulation", {})
    given["seed"] = seed
    given.setdefault("imperfections", {}).setdefault("oscilloscope", {}).setdefault("range_gain", RANGE_GAIN)
    file = folder / "bench.yaml"
    file.write_text(yaml.safe_dump(of_bench, sort_keys=False), encoding="utf-8")
    of_run = documents(SEQUENCE, str(amplifier), short=True, bench=str(file))
    result = run(of_run, Nobody(), out=folder / "runs", dry_run=True, accepted=ACCEPTED)
    return examine(result.folder), str(result.outcome.error or "")


def _how(fault: str, channel: str, told: Diagnosis) -> str:
    for place, named in enumerate(told.named):
        if named.cause in NAMES[fault] and named.channel == channel:
            return "named" if place < 2 else "later"
    untold = {each.cause for each in told.untold}
    is_of_fit = fault == "aged_reservoir" and FIT in untold
    return "untold" if is_of_fit or untold & NAMES[fault] else "missed"
