"""Plant faults of wiring and scale on the simulated bench, one at a time and in pairs, and see whether `bench_check`
names each; and run it on sound benches, where it must find nothing.

Each fault has words that its sentence must hold. Pairs are of faults that do not hide each other.

    python -m benchmarks.bench_check --pairs 12 --sound 100
"""

from __future__ import annotations

import argparse
import itertools
import random
import re
import sys
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from benchctl.documents.reader import load_amplifier
from benchctl.errors import PreflightRefused
from benchctl.launch.run import Documents, run
from benchctl.library import find
from benchmarks.benches.drawing import draw
from benchmarks.nobody import Nobody

BENCH, AMPLIFIER, SEQUENCE = "workshop", "hx2150", "bench_check"
REFUSED = PreflightRefused.exit_code


@dataclass(frozen=True)
class Planted:
    """A fault as a bench file has it, and words of the sentence that names it."""

    name: str
    fault: str
    words: tuple[str, ...]
    of: str = ""
    """what it is a fault of; two faults of one thing hide each other"""
    edits: Mapping[str, str] = field(default_factory=dict)
    """what else of the bench file is another, old text by new"""


def _factor(instrument: str, of: str, factor: float) -> str:
    return f"{{kind: wrong by a factor, instrument: {instrument}, of: {of}, factor: {factor}, at: 0 s}}"


def _swapped(instrument: str, one: str, other: str) -> str:
    return f"{{kind: swapped, instrument: {instrument}, between: ['{one}', '{other}'], at: 0 s}}"


# Kinds of fault that only this campaign plants.
KINDS = frozenset({"swapped", "off by", "sensor fell off", "no trigger"})
ALL = "*"  # a fault of everything hides each other one
_NOT_ZEROED = "{kind: off by, of: supply current, by: 8, at: 0 s}"
_OF_A, _OF_B, _OF_CLAMP = "output voltage of A", "output voltage of B", "supply current:"
_PLACES, _FOR_50_OHM = "changed places", "load of 50 ohm"
# A supply that senses at the amplifier's terminals, and sense leads that do not reach them.
_SENSING = {
    "driver: supply/scpi99_watchdog": "driver: supply/remote_sense",
    "main: {number: 1, voltage: 20 V, current: 120 A}": "main: {number: 1, voltage: 20 V, current: 120 A, "
    "remote_sense: yes}",
    "  seed: 2150": "  seed: 2150\n  instruments: {supply: {speaks: remote_sense}}\n"
    "  imperfections: {supply: {open_sense: 1 V}}",
}
PLANTED = (
    Planted("probe A at 1:1", _factor("oscilloscope", "output A", 20), (_OF_A, "switched to 1:1"), "A"),
    Planted("probe B at 1:200", _factor("oscilloscope", "output B", 0.1), (_OF_B, "1:200"), "B"),
    Planted("probe A at 1:2", _factor("oscilloscope", "output A", 10), (_OF_A, "1:2 "), "A"),
    Planted("supply probe at 1:1", _factor("oscilloscope", "supply voltage", 10), ("supply voltage:",), "V"),
    Planted("supply probe off", _factor("oscilloscope", "supply voltage", 0), ("supply voltage:",), "V"),
    Planted("probes swapped", _swapped("oscilloscope", "output A", "output B"), ("path of A", _PLACES), "AB"),
    Planted("inputs swapped", _swapped("generator", "A", "B"), ("path of A", _PLACES), "AB"),
    Planted("probe A reversed", _factor("oscilloscope", "output A", -1), ("polarity of A",), "A"),
    Planted("probe B off", _factor("oscilloscope", "output B", 0), (_OF_B, "nothing reaches"), "B"),
    Planted("clamp reversed", _factor("oscilloscope", "supply current", -1), (_OF_CLAMP, "way round"), "I"),
    Planted("clamp at a tenth", _factor("oscilloscope", "supply current", 0.1), (_OF_CLAMP,), "I"),
    Planted("clamp at ten times", _factor("oscilloscope", "supply current", 10), (_OF_CLAMP,), "I"),
    Planted("clamp not zeroed", _NOT_ZEROED, ("zero:", "clamp was not zeroed"), "I"),
    Planted("clamp off", _factor("oscilloscope", "supply current", 0), (_OF_CLAMP,), "I"),
    Planted("second supply", _factor("supply", "current", 0.5), (_OF_CLAMP, "second unit in parallel"), "I"),
    Planted("supply reads low", _factor("supply", "voltage", 0.9), ("does not reach", "it reads"), ALL),
    Planted("sense leads open", "", ("reads 15.", "sense lead is off or open"), ALL, _SENSING),
    Planted("generator for 50 ohm", _factor("generator", "level", 2), (_OF_A, _FOR_50_OHM), "G"),
    Planted("generator shows twice", _factor("generator", "level", 0.5), (_OF_A, _FOR_50_OHM), "G"),
    Planted("relays of A and B swapped", _swapped("load", "101", "102"), ("load of A", "another channel"), "R"),
    Planted("relays of 4 and 2 ohm swapped", _swapped("load", "101", "103"), ("load of A", "another resistor"), "R"),
    Planted("relay 104 dead", "{kind: relay stuck, relay: 104, at: 0 s}", ("104",), ALL),
    Planted("sensor fell off", "{kind: sensor fell off, at: 0 s}", ("heatsink temperature", "fell off"), "T"),
    Planted("sensors swapped", _swapped("thermometer", "heatsink", "load"), ("heatsink temperature", _PLACES), "T"),
    Planted("no trigger", "{kind: no trigger, at: 0 s}", ("trigger", "sync"), "S"),
    Planted("one channel for all", "{kind: one channel for all, channel: 1, at: 0 s}", ("records",), ALL),
    Planted("sensor of another kind", _factor("thermometer", "ambient", 3), ("heatsink temperature", "ambient"), "T"),
)


class Listening(Nobody):
    """Keeps what a person would be told."""

    def __init__(self) -> None:
        self.notes: list[str] = []

    def note(self, text: str) -> None:
        self.notes.append(text)


def told(faults: Sequence[Planted], folder: Path, *, seed: int = 2150) -> tuple[int, list[str]]:
    """Exit code and notes of the check with these faults."""
    text = find("benches", BENCH).read_text("utf-8")
    for old, new in (pair for planted in faults for pair in planted.edits.items()):
        text = text.replace(old, new)
    lines = "".join(f"\n    - {planted.fault}" for planted in faults if planted.fault)
    text = text.replace("  seed: 2150", f"  seed: {seed}" + (f"\n  faults:{lines}" if lines else ""))
    bench = folder / "bench.yaml"
    bench.write_text(text, encoding="utf-8")
    audience = Listening()
    result = run(Documents(SEQUENCE, bench, AMPLIFIER), audience, out=folder / "runs", dry_run=True)
    error = result.outcome.error
    return result.outcome.exit_code, [*audience.notes, *([] if error is None else [f"{error} {error.advice}"])]


def on_drawn_bench(seed: int, folder: Path) -> tuple[int, list[str]]:
    """Exit code and notes of the check on a sound bench and amplifier that are drawn; 3 where preflight refuses it."""
    drawn, paths = draw(seed), {}
    for name in ("bench", "amplifier"):
        paths[name] = folder / f"{name}.yaml"
        paths[name].write_text(getattr(drawn, name), encoding="utf-8")
    idle_a = load_amplifier(paths["amplifier"]).idle_current_a or 2.0
    settings = {"current_limit": f"{max(10.0, 5.0 * idle_a):.3g}A"}
    audience = Listening()
    documents = Documents(SEQUENCE, paths["bench"], paths["amplifier"], settings)
    try:
        result = run(documents, audience, out=folder / "runs", dry_run=True, accepted="a campaign of dry runs")
    except PreflightRefused as refused:
        return refused.exit_code, [drawn.words, str(refused)]
    error = result.outcome.error
    return result.outcome.exit_code, [drawn.words, *audience.notes, *([] if error is None else [str(error)])]


def missing(planted: Planted, notes: Sequence[str]) -> bool:
    """Whether no sentence names it."""
    return not any(all(word in note for word in planted.words) for note in notes)


def pairs(count: int, seed: int) -> Iterator[tuple[Planted, Planted]]:
    """Pairs of faults of different things."""
    alone = [planted for planted in PLANTED if planted.of != ALL]
    every = [pair for pair in itertools.combinations(alone, 2) if not set(pair[0].of) & set(pair[1].of)]
    yield from random.Random(seed).sample(every, min(count, len(every)))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--pairs", type=int, default=12)
    parser.add_argument("--sound", type=int, default=20)
    parser.add_argument("--seed", type=int, default=20261126)
    parser.add_argument("--only", default="", help="a pattern of the names of single faults")
    options = parser.parse_args()
    cases: list[tuple[Planted, ...]] = [(planted,) for planted in PLANTED if re.search(options.only, planted.name)]
    cases += pairs(options.pairs, options.seed)
    with tempfile.TemporaryDirectory() as place:
        wrong = sum(_fails(faults, Path(place) / str(number)) for number, faults in enumerate(cases))
        seeds = range(options.seed, options.seed + options.sound)
        codes = [_code_on_sound(seed, Path(place) / f"sound {seed}") for seed in seeds]
    refused = codes.count(REFUSED)
    wrong += sum(code not in {0, REFUSED} for code in codes)
    print(f"{len(cases)} benches with faults; {len(codes)} sound ones, {refused} refused: {wrong} not as promised")
    sys.exit(wrong > 0)


def _fails(faults: Sequence[Planted], folder: Path) -> bool:
    """Whether one of them is not named, or the check ends well in spite of them."""
    folder.mkdir()
    code, notes = told(faults, folder)
    unnamed = [planted.name for planted in faults if missing(planted, notes)]
    said = f"not named: {', '.join(unnamed)}" if unnamed else "named"
    print(f"{said:<40} exit {code}  {' + '.join(each.name for each in faults)}", flush=True)
    if unnamed:
        print("".join(f"    {note}\n" for note in notes))
    return bool(unnamed) or code == 0


def _code_on_sound(seed: int, folder: Path) -> int:
    folder.mkdir()
    code, notes = on_drawn_bench(seed, folder)
    if code != 0:
        print(f"sound bench {seed}: exit {code}\n" + "".join(f"    {note}\n" for note in notes), flush=True)
    return code


if __name__ == "__main__":
    main()
