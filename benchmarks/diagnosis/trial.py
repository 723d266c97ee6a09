"""One unit drawn, run sound, and run again with faults on other instruments of the same kind, and diagnosed."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml

from benchctl.documents.reader import load_amplifier
from benchctl.fit.diagnosis.diagnosing import diagnose
from benchctl.fit.diagnosis.named import Diagnosis
from benchctl.fit.examination import Examination, examine
from benchctl.launch.run import run
from benchctl.library import find
from benchmarks.diagnosis.planting import NAMES, UNTOLD, planted, sets_of_faults
from benchmarks.fits.drawing import FACTORS, RANGE_GAIN
from benchmarks.nobody import Nobody
from benchmarks.sequences.trials import ACCEPTED, documents

SEQUENCE = "before_and_after"
PAIRS = (
    ("hx2150", "workshop"),
    ("lw1200", "heavy_bench"),
    ("kx240", "workshop"),
    ("hx2150", "eight_bit"),
    ("lw1200", "heavy_bench"),
    ("kx240", "eight_bit"),
    ("hx2150", "untidy_workshop"),
    ("lw1200", "heavy_bench"),
    ("kx240", "untidy_workshop"),
)
LIGHTER = 6.0
"""Heatsinks have so many times less heat capacity, so that half a minute warms them as five do."""

AGAIN = 500_000
"""Added to a bench's seed for each further run: other errors of the same kind of instruments."""

AMBIENT_C = 17.0, 28.0
"""Air of the workshop, drawn anew for each run."""

SETS_OF_A_UNIT = 5
"""So many sets of faults are held against one sound run of a unit, and one more sound run."""

Faults = tuple[str, ...]
Job = tuple[str, str, tuple[Faults, ...], int]  # amplifier, bench, sets of faults, seed


@dataclass(frozen=True)
class Verdict:
    """How one planted fault came out: `named` first or second, `later`, said to be `untold`, or `missed`; `why` it is
    untold."""

    fault: str
    how: str
    why: str = ""


@dataclass(frozen=True)
class Trial:
    """One further run of a unit with its verdicts.

    Attributes:
        others: what was named and not planted.
        perhaps: what may have changed.
        no_fit: why nothing was fitted.
    """

    base: str
    bench: str
    faults: Faults
    seed: int
    section: dict[str, Any]
    verdicts: tuple[Verdict, ...]
    others: tuple[str, ...]
    named: tuple[str, ...]
    perhaps: tuple[str, ...]
    ended: str
    no_fit: str


def jobs(draws: int, seed: int, only: Sequence[str] = (), sound: int = 1) -> list[Job]:
    """Each unit is of the next amplifier on the next bench, takes the next sets of faults, and is run sound again."""
    return [_job(number, only, sound) for number in range(seed, seed + draws)]


def _job(number: int, only: Sequence[str], sound: int) -> Job:
    base, bench = PAIRS[number % len(PAIRS)]
    sets = sets_of_faults(load_amplifier(base))
    if only:
        return base, bench, (*((),) * sound, *(faults for faults in sets if "+".join(faults) in only)), number
    return base, bench, (*((),) * sound, *_next_sets(sets, number)), number


def _next_sets(sets: Sequence[Faults], number: int) -> tuple[Faults, ...]:
    """In an order that is drawn anew for each round through all of them."""
    first = number // len(PAIRS) * SETS_OF_A_UNIT
    return tuple(
        _shuffled(sets, place // len(sets), number)[place % len(sets)] for place in range(first, first + SETS_OF_A_UNIT)
    )


def _shuffled(sets: Sequence[Faults], time: int, number: int) -> Sequence[Faults]:
    return random.Random(f"{time} {number % len(PAIRS)}").sample(sets, len(sets))


def judged(job: Job, folder: Path) -> list[Trial]:
    """Draw a unit, run it sound and with each set of faults, and hold each diagnosis against what was planted."""
    base, bench, sets, seed = job
    content = unit(base, random.Random(f"diagnosis {base} {bench} {seed}"))
    before, _ = examined_run(content, {}, bench, seed, folder / "before")
    return [
        held(content, before, (base, bench, faults, seed), place, folder / str(place))
        for place, faults in enumerate(sets)
    ]


def held(
    content: dict[str, Any], before: Examination, drawn: tuple[str, str, Faults, int], place: int, folder: Path
) -> Trial:
    """One run with faults, held against the sound one."""
    base, bench, faults, seed = drawn
    chance = random.Random(f"{place} {drawn}")
    plants = planted(faults, load_amplifier(base), chance)
    after, ended = examined_run(content, dict(plants.section), bench, seed + AGAIN * chance.randint(1, 1000), folder)
    told = diagnose(after, before)
    expected = {(cause, plants.channels[fault]) for fault in faults for cause in NAMES[fault]}
    others = [
        f"{each.cause} {each.channel}".strip() for each in told.named if (each.cause, each.channel) not in expected
    ]
    verdicts = tuple(verdict_on(fault, plants.channels[fault], told) for fault in faults)
    names = tuple(f"{each.cause} {each.channel}: {each.sentence} ({each.times:.3g})" for each in told.named)
    section = dict(plants.section)
    return Trial(*drawn, section, verdicts, tuple(others), names, told.perhaps, ended, after.no_fit)


def unit(base: str, chance: random.Random) -> dict[str, Any]:
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


def examined_run(
    content: dict[str, Any], section: dict[str, Any], bench: str, seed: int, folder: Path
) -> tuple[Examination, str]:
    """Run a unit with its faults on a bench, dry, and examine the run; and why it ended early, '' if it did not."""
    folder.mkdir()
    simulation = content["simulation"] | ({"faults": section} if section else {})
    amplifier = folder / "amplifier.yaml"
    amplifier.write_text(yaml.safe_dump(content | {"simulation": simulation}, sort_keys=False), encoding="utf-8")
    file = _bench(bench, seed, folder)
    of_run = documents(SEQUENCE, str(amplifier), short=True, bench=str(file))
    result = run(of_run, Nobody(), out=folder / "runs", dry_run=True, accepted=ACCEPTED)
    return examine(result.folder), str(result.outcome.error or "")


def _bench(bench: str, seed: int, folder: Path) -> Path:
    """With errors and air of its own."""
    of_bench = yaml.safe_load(find("benches", bench).read_text(encoding="utf-8"))
    given = of_bench.setdefault("simulation", {})
    given["seed"] = seed
    given["ambient"] = f"{random.Random(f'air {seed}').uniform(*AMBIENT_C):.1f} degC"
    given.setdefault("imperfections", {}).setdefault("oscilloscope", {}).setdefault("range_gain", RANGE_GAIN)
    file = folder / "bench.yaml"
    file.write_text(yaml.safe_dump(of_bench, sort_keys=False), encoding="utf-8")
    return file


def verdict_on(fault: str, channel: str, told: Diagnosis) -> Verdict:
    """How one planted fault came out."""
    for place, named in enumerate(told.named):
        if named.cause in NAMES[fault] and named.channel == channel:
            return Verdict(fault, "named" if place < 2 else "later")
    for unseen in told.untold:
        if unseen.cause in UNTOLD[fault] and unseen.channel in ("", channel):
            return Verdict(fault, "untold", unseen.why)
    return Verdict(fault, "missed")
