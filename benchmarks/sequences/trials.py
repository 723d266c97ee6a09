"""One sequence on one amplifier on one bench, dry, and what was not as promised.

What is promised: preflight accepts it, or refuses it because the bench cannot test it; it finishes, the bench is safe,
it takes as long as estimated, and no verdict is false.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.journal import Event, read_journal
from benchctl.documents.reader import load_amplifier, load_bench, load_sequence
from benchctl.errors import BenchctlError, PreflightRefused
from benchctl.launch.opened import opened_bench
from benchctl.launch.run import Documents, at_measured_pace, run_on
from benchctl.measure.budget.words import verdicts_in_words
from benchctl.quantity import render
from benchctl.runner.checks.preflight import Preflight, preflight
from benchctl.runner.plan import expand
from benchctl.simulator.true_records import TrueRecords
from benchmarks.nobody import Nobody
from benchmarks.sequences.carries import what_it_lacks
from benchmarks.sequences.truth import Held, held_against_truth

BENCHES: Mapping[str, str] = {
    "hx2150": "workshop",
    "hx2150_bridged": "heavy_bench",
    "kx240": "workshop",
    "cx4090": "coach_bench",
    "dx5080": "five_channel_bench",
    "lw1200": "heavy_bench",
    "lw1200_lowpass": "heavy_bench",
}
PlannedRun = tuple[str, str, str]  # bench (empty: the one that suits), sequence, amplifier
# Values for parameters of the sequences: hours become minutes, and a low-pass is tested below its corner.
SHORT: Mapping[str, str] = {
    **dict.fromkeys(("each", "soak", "longest", "precondition"), "1 min"),
    "warm_up": "30 s",
}
OF_AMPLIFIER: Mapping[str, Mapping[str, str]] = {
    "lw1200_lowpass": {
        "frequency": "50 Hz",
        "reference": "50 Hz",
        "low_frequency": "40 Hz",
        "lowest": "20 Hz",
        "highest": "315 Hz",
    },
}
# A bridge at a high supply voltage may draw more into 4 ohm than its fuse can carry.
OF_PAIR: Mapping[tuple[str, str], Mapping[str, str]] = {
    ("response_and_filters", "lw1200_lowpass"): {"lowest": "10 Hz", "highest": "40 kHz"},  # far into the noise
    ("supply_sensitivity", "hx2150_bridged"): {"load": "8 ohm"},
}
# The reason for accepting warnings, with a bench given by `--bench`.
ACCEPTED = "a campaign of dry runs"
# The allowed error of preflight's estimate, for steps whose length is known beforehand: all but the check of the loads
# before the first high power, which ends as soon as the supply's readings agree.
TOLERANCE = 0.12


@dataclass(frozen=True)
class Trial:
    """How one sequence went on one amplifier.

    `foreseen_s` and `taken_s` belong to the steps of known length; the steps in `late` took longer than the maximum.
    `lacks`: why the bench cannot test this amplifier, from the plate only. `held`: its figures and verdicts compared
    with the true values. `verdicts`: how many of each kind, in words.
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
    bench: str = ""
    lacks: tuple[str, ...] = ()
    held: Held = field(default_factory=Held)
    verdicts: str = ""

    @property
    def is_refused_rightly(self) -> bool:
        """Whether preflight refused an amplifier that the bench cannot test."""
        return self.exit_code == PreflightRefused.exit_code and bool(self.lacks)

    @property
    def off(self) -> float:
        """The error of the estimate as a part of the time taken."""
        return abs(self.foreseen_s - self.taken_s) / self.taken_s if self.taken_s else 0.0

    def violations(self) -> Iterator[str]:
        """What was not as promised."""
        if self.is_refused_rightly:
            return
        if self.exit_code not in {0, 1}:
            yield f"exit code {self.exit_code}: {self.reason}"
        if not self.is_safe:
            yield "the bench is not known to be safe"
        if self.off > TOLERANCE:
            yield f"foreseen {self.foreseen_s:.1f} s, taken {self.taken_s:.1f} s"
        yield from self.late
        yield from self.held.false_verdicts


def documents(sequence: str, amplifier: str, *, short: bool, bench: str = "") -> Documents:
    """The sequence with its settings, on the bench that suits the amplifier or on another."""
    declared = load_sequence(sequence, load_amplifier(amplifier)).parameters
    wanted = {**(SHORT if short else {}), **OF_AMPLIFIER.get(amplifier, {}), **OF_PAIR.get((sequence, amplifier), {})}
    if bench:
        wanted["current_limit"] = _current_limit(amplifier, bench)
    settings = {name: value for name, value in wanted.items() if name in declared}
    return Documents(sequence, bench or BENCHES[amplifier], amplifier, settings)


def _current_limit(amplifier: str, bench: str) -> str:
    """The fuse's rating, or the supply's maximum if that is lower."""
    supply = load_bench(bench).instruments.supply
    fuse_a = load_amplifier(amplifier).supply.fuse_a
    return render(fuse_a if supply is None else min(fuse_a, supply.main.current_a), "A")


def trial(sequence: str, amplifier: str, out: Path, *, short: bool = True, bench: str = "") -> Trial:
    """Run it dry, and check its journal."""
    these = documents(sequence, amplifier, short=short, bench=bench)
    lacks = what_it_lacks(load_bench(these.bench), load_amplifier(amplifier), sequence, these.settings.get("load", ""))
    try:
        files = these.load()
        checked = preflight(files, expand(files.sequence, files.amplifier, files.bench), unattended=False)
        checked.refuse_hazards(ACCEPTED if bench else "")
    except BenchctlError as refused:
        reason, code = str(refused), refused.exit_code
        return Trial(sequence, amplifier, code, reason, is_safe=True, bench=str(these.bench), lacks=lacks)
    with opened_bench(files, dry_run=True) as opened:
        assert opened.simulated is not None
        truth = TrueRecords(opened.simulated)
        checked = at_measured_pace(opened, files, checked, unattended=False, accepted=ACCEPTED)
        accepted = replace(checked, accepted=ACCEPTED)
        result = run_on(opened, files, accepted, Nobody(), out=out, settings=these.settings)
    events = read_journal(result.folder / "journal.jsonl").events
    ended, outcome = events[-1], result.outcome
    foreseen_s, taken_s = times(checked, events, outcome.unmeasured)
    return Trial(
        sequence,
        amplifier,
        outcome.exit_code,
        ended.get("reason", ""),
        is_safe=ended["event"] == "run ended" and ended["safe"] and outcome.is_safe,
        unmeasured=outcome.unmeasured,
        late=tuple(overruns(checked, events)),
        foreseen_s=foreseen_s,
        taken_s=taken_s,
        bench=str(these.bench),
        lacks=lacks,
        verdicts=verdicts_in_words(*(outcome.verdicts(verdict) for verdict in ("passes", "fails", "inconclusive"))),
        held=held_against_truth(RunFolder.open(result.folder), checked.plan, files.amplifier, truth),
    )


def trial_of(run: PlannedRun, out: Path) -> Trial:
    """One run of the campaign, with hours cut to minutes."""
    bench, sequence, amplifier = run
    return trial(sequence, amplifier, out, bench=bench)


def long_trial_of(run: PlannedRun, out: Path) -> Trial:
    """The same with hours as hours."""
    bench, sequence, amplifier = run
    return trial(sequence, amplifier, out, short=False, bench=bench)


def times(checked: Preflight, events: Sequence[Event], unmeasured: Sequence[str]) -> tuple[float, float]:
    """Estimated and taken times, s, of the steps of known length, without those that were left out or cut short."""
    cut_short = {reason.split(": ")[0] for reason in unmeasured}
    taken_s = _taken_s(events)
    known = [
        index
        for index, worst in enumerate(checked.worst_cases)
        if index in taken_s and worst.at_most_s is None and checked.plan[index].label not in cut_short
    ]
    return sum(checked.worst_cases[index].duration_s for index in known), sum(taken_s[index] for index in known)


def overruns(checked: Preflight, events: Sequence[Event]) -> Iterator[str]:
    """The steps of open length that took longer than their estimated maximum."""
    for index, seconds in _taken_s(events).items():
        at_most_s = checked.worst_cases[index].at_most_s
        if at_most_s is not None and seconds > (1.0 + TOLERANCE) * at_most_s:
            yield f"{checked.plan[index].label}: foreseen at most {at_most_s:.1f} s, taken {seconds:.1f} s"


def _taken_s(events: Sequence[Event]) -> dict[int, float]:
    """The time of each step by its place in the plan, without those that were left out."""
    began = {event["index"]: event["time_s"] for event in events if event["event"] == "step started"}
    return {
        event["index"]: event["time_s"] - began[event["index"]]
        for event in events
        if event["event"] == "step finished" and "left_out" not in event
    }
