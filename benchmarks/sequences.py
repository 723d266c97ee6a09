"""Every shipped sequence on every shipped amplifier, dry: `python -m benchmarks.sequences`.

What each promises: preflight lets it pass, it finishes, the bench is safe, and it takes as long as was foreseen.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from pathlib import Path

import click
from rich.console import Console
from rich.progress import track
from rich.table import Table

from benchctl import library
from benchctl.archive.journal.journal import Event, read_journal
from benchctl.documents.reader import load_amplifier, load_sequence
from benchctl.errors import BenchctlError
from benchctl.launch.run import Documents, run
from benchctl.runner.checks.preflight import Preflight, preflight
from benchctl.runner.plan import expand
from benchmarks.nobody import Nobody

BENCHES: Mapping[str, str] = {
    "hx2150": "workshop",
    "hx2150_bridged": "heavy_bench",
    "kx240": "workshop",
    "cx4090": "coach_bench",
    "dx5080": "five_channel_bench",
    "lw1200": "heavy_bench",
    "lw1200_lowpass": "heavy_bench",
}
# Of the parameters that a sequence has: hours become minutes, and a low-pass is tested below its corner.
SHORT: Mapping[str, str] = {"each": "2 min", "soak": "2 min", "longest": "2 min", "precondition": "2 min"}
OF_AMPLIFIER: Mapping[str, Mapping[str, str]] = {
    "lw1200_lowpass": {
        "frequency": "50 Hz",
        "reference": "50 Hz",
        "low_frequency": "40 Hz",
        "lowest": "20 Hz",
        "highest": "315 Hz",
    },
}
# A bridge at a high supply voltage may draw more into 4 ohm than its fuse bears.
OF_PAIR: Mapping[tuple[str, str], Mapping[str, str]] = {
    ("response_and_filters", "lw1200_lowpass"): {"lowest": "10 Hz", "highest": "40 kHz"},  # far into the noise
    ("supply_sensitivity", "hx2150_bridged"): {"load": "8 ohm"},
}
# What preflight's estimate is held to, for the steps whose length is known beforehand.
TOLERANCE = 0.1


@dataclass(frozen=True)
class Trial:
    """How one sequence went on one amplifier.

    `foreseen_s` and `taken_s` are of the steps whose length was known; `late` took longer than at most.
    """

    sequence: str
    amplifier: str
    exit_code: int
    reason: str
    is_safe: bool
    unmeasured: tuple[str, ...] = ()
    late: tuple[str, ...] = ()
    foreseen_s: float = 0.0
    taken_s: float = 0.0

    @property
    def off(self) -> float:
        """By what part of the time taken the estimate was wrong."""
        return abs(self.foreseen_s - self.taken_s) / self.taken_s if self.taken_s else 0.0

    def violations(self) -> Iterator[str]:
        """What was not as promised."""
        if self.exit_code not in {0, 1}:
            yield f"exit code {self.exit_code}: {self.reason}"
        if not self.is_safe:
            yield "the bench is not known to be safe"
        if self.off > TOLERANCE:
            yield f"foreseen {self.foreseen_s:.1f} s, taken {self.taken_s:.1f} s"
        yield from self.late


def documents(sequence: str, amplifier: str, *, short: bool) -> Documents:
    """The sequence with the settings that it has parameters for."""
    declared = load_sequence(sequence, load_amplifier(amplifier)).parameters
    wanted = {**(SHORT if short else {}), **OF_AMPLIFIER.get(amplifier, {}), **OF_PAIR.get((sequence, amplifier), {})}
    settings = {name: value for name, value in wanted.items() if name in declared}
    return Documents(sequence, BENCHES[amplifier], amplifier, settings)


def trial(sequence: str, amplifier: str, out: Path, *, short: bool = True) -> Trial:
    """Run it dry, and look at its journal."""
    try:
        these = documents(sequence, amplifier, short=short)
        files = these.load()
        checked = preflight(files, expand(files.sequence, files.amplifier, files.bench), unattended=False)
        result = run(these, Nobody(), out=out, dry_run=True)
    except BenchctlError as refused:
        return Trial(sequence, amplifier, refused.exit_code, str(refused), is_safe=True)
    events = read_journal(result.folder / "journal.jsonl").events
    ended, outcome = events[-1], result.outcome
    foreseen_s, taken_s = times(checked, events, outcome.unmeasured)
    late = tuple(overruns(checked, events))
    is_safe = ended["event"] == "run ended" and ended["safe"] and outcome.is_safe
    reason = ended.get("reason", "")
    return Trial(sequence, amplifier, outcome.exit_code, reason, is_safe, outcome.unmeasured, late, foreseen_s, taken_s)


def times(checked: Preflight, events: Sequence[Event], unmeasured: Sequence[str]) -> tuple[float, float]:
    """Foreseen and taken, s, of the steps whose length is known, without those that were left out or cut short."""
    cut_short = {reason.split(": ")[0] for reason in unmeasured}
    taken_s = _taken_s(events)
    known = [
        index
        for index, worst in enumerate(checked.worst_cases)
        if index in taken_s and worst.at_most_s is None and checked.plan[index].label not in cut_short
    ]
    return sum(checked.worst_cases[index].duration_s for index in known), sum(taken_s[index] for index in known)


def overruns(checked: Preflight, events: Sequence[Event]) -> Iterator[str]:
    """The open steps that took longer than was foreseen at most."""
    for index, seconds in _taken_s(events).items():
        at_most_s = checked.worst_cases[index].at_most_s
        if at_most_s is not None and seconds > (1.0 + TOLERANCE) * at_most_s:
            yield f"{checked.plan[index].label}: foreseen at most {at_most_s:.1f} s, taken {seconds:.1f} s"


def _taken_s(events: Sequence[Event]) -> dict[int, float]:
    """Of each step by its place in the plan, without those that were left out."""
    began = {event["index"]: event["time_s"] for event in events if event["event"] == "step started"}
    return {
        event["index"]: event["time_s"] - began[event["index"]]
        for event in events
        if event["event"] == "step finished" and "left_out" not in event
    }


@click.command()
@click.option("--sequence", "sequences", multiple=True, help="Only this one; may be given again.")
@click.option("--amplifier", "amplifiers", multiple=True, help="Only this one; may be given again.")
@click.option("--long", "is_long", is_flag=True, help="Hours stay hours.")
def main(sequences: Sequence[str], amplifiers: Sequence[str], is_long: bool) -> None:
    """Run every shipped sequence on every shipped amplifier in virtual time, and tell what was not as promised."""
    console = Console()
    pairs = list(product(sequences or library.shipped("sequences"), amplifiers or BENCHES))
    with tempfile.TemporaryDirectory() as scratch:
        done = [trial(*pair, Path(scratch), short=not is_long) for pair in track(pairs, "running dry", console=console)]
    console.print(_table(done))
    wrong = sum(any(each.violations()) for each in done)
    console.print(f"{len(done)} runs, {wrong} not as promised")
    sys.exit(1 if wrong else 0)


def _table(done: Sequence[Trial]) -> Table:
    table = Table("sequence", "amplifier", "exit", "foreseen", "taken", "not as promised; steps without figures")
    for each in done:
        remarks = [*each.violations(), *each.unmeasured]
        spans = (f"{seconds:.1f} s" for seconds in (each.foreseen_s, each.taken_s))
        table.add_row(each.sequence, each.amplifier, str(each.exit_code), *spans, "\n".join(remarks))
    return table


if __name__ == "__main__":
    main()
